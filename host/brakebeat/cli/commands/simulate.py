"""``brakebeat simulate``: write the recording of an invented athlete on an invented rig, and the truth."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from typing import Any, Literal

from brakebeat.cli.simulate_options import (
    PLAN_OPTIONS,
    RIG_OPTIONS,
    SENSOR_OPTIONS,
    add_options,
    given,
    option_of,
)
from brakebeat.errors import InputError
from brakebeat.wording import counted

# Strap on the drum before a mass falls.
_FALL_M = 1.2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """All options of the command."""
    add_options(parser)


def run(args: argparse.Namespace) -> int:
    """Simulate and write; 0 on success."""
    if args.list_cases:
        return _list_cases()
    if args.out is None:
        raise InputError("--out FILE is missing: say where the recording goes")
    if args.truth is not None and os.path.abspath(args.truth) == os.path.abspath(args.out):  # noqa: PTH100
        raise InputError(f"--truth {args.truth}: is the recording itself (--out); give it a name of its own")
    try:
        sensed = _sensed(args)
    except InputError as error:
        raise InputError(_naming_the_option(str(error))) from error
    _write(args, sensed)
    _report(args, sensed)
    return 0


def _list_cases() -> int:
    from brakebeat.simulate import hard_cases

    for name, case in hard_cases().items():
        print(f"{name:26s} {case.right}")
    return 0


def _sensed(args: argparse.Namespace) -> Any:
    from brakebeat.simulate import Athlete, Settings, Wheel, default_sensed, hard_cases

    if not 0 <= args.seed < 2**63:
        raise InputError(f"--seed: {args.seed} is outside 0 to 2^63 - 1")
    sensor = _sensor(args)
    plan, rig = given(args, PLAN_OPTIONS), given(args, RIG_OPTIONS)
    settings = Settings(**{k: v for k, v in rig.items() if k in Settings.__dataclass_fields__})
    wheel = Wheel(**{k: v for k, v in rig.items() if k in Wheel.__dataclass_fields__})
    if args.spin is not None or args.fall is not None or args.pulls:
        return _to_calibrate_with(args, plan, wheel, sensor, settings)
    if args.case is not None:
        if plan or rig:
            used = ", ".join(sorted(option_of(name) for name in [*plan, *rig]))
            raise InputError(f"--case {args.case}: brings its own plan and rig; leave out {used}")
        cases = hard_cases(sensor)
        if args.case not in cases:
            raise InputError(f"--case: there is no {args.case!r}; --list-cases shows what there is")
        return cases[args.case].sensed(args.seed)
    athlete = Athlete(**({"fatigue_per_rep": args.fatigue} if args.fatigue is not None else {}))
    plan.pop("fatigue", None)
    if "start_idle_s" in plan:
        plan["idle_s"] = plan.pop("start_idle_s")
    return default_sensed(args.seed, wheel=wheel, athlete=athlete, sensor=sensor, settings=settings, **plan)


def _to_calibrate_with(
    args: argparse.Namespace, plan: dict[str, Any], wheel: Any, sensor: Any, settings: Any
) -> Any:
    """The motion that one of --spin, --fall and --pulls asks for."""
    from brakebeat.simulate import sense_fully, spin_down
    from brakebeat.simulate.calibrating import falling_mass, slow_pulls

    option = "--spin" if args.spin is not None else "--fall" if args.fall is not None else "--pulls"
    try:
        if option == "--spin":
            motion = spin_down(wheel, args.spin)
        elif option == "--fall":
            motion = falling_mass(wheel, args.fall, _FALL_M)
        else:
            motion = slow_pulls(wheel, args.pulls, pause_s=3.0)
    except InputError as error:
        raise InputError(f"{option}: {error}") from error
    if plan or args.case is not None:
        used = ", ".join(sorted(option_of(name) for name in plan)) or "--case"
        raise InputError(f"{option}: nobody trains on this recording; leave out {used}")
    return sense_fully(motion, sensor, args.seed, settings)


def _sensor(args: argparse.Namespace) -> Any:
    from brakebeat.simulate import preset

    kind: Literal["magnets", "encoder"] = "magnets" if args.encoder is None else "encoder"
    pulses = args.encoder if args.encoder is not None else args.magnets
    if args.two_halls and args.encoder is not None:
        raise InputError("--two-halls: an encoder gives the sense anyhow; leave one of the two out")
    return preset(args.preset, pulses, kind, gives_sense=args.two_halls, **given(args, SENSOR_OPTIONS))


def _naming_the_option(message: str) -> str:
    """An error about a field as one about the option that set it."""
    name = re.match(r"(\w+):", message)
    return message if name is None else message.replace(name[1], option_of(name[1]), 1)


def _write(args: argparse.Namespace, sensed: Any) -> None:
    try:
        _write_files(args, sensed)
    except InputError as error:
        raise InputError(str(error).replace("ticks_wrap", "--wrap")) from error


def _write_files(args: argparse.Namespace, sensed: Any) -> None:
    from brakebeat.formats.atomic import atomic_write
    from brakebeat.formats.recording import write_recording

    recording = sensed.recording
    if not len(recording.t_us):
        raise InputError("no edge was recorded: lower --missed or let the set be longer")
    header = dict(recording.header)
    if args.with_zero and sensed.truth["zero_index"] is not None:
        header["zero_index"] = str(sensed.truth["zero_index"])
    if args.truth is None:
        write_recording(args.out, recording.t_us, recording.step, header)
        return
    # Both or neither: the truth takes its place only once the recording is written.
    with atomic_write(args.truth) as stream:
        stream.write(json.dumps(sensed.truth, indent=1, allow_nan=False).encode() + b"\n")
        write_recording(args.out, recording.t_us, recording.step, header)


def _report(args: argparse.Namespace, sensed: Any) -> None:
    truth = sensed.truth
    if args.json:
        summary = {
            "schema": 1,
            "out": args.out,
            "truth": args.truth,
            "seed": args.seed,
            "pulses": truth["pulses"],
            "reps": len(truth["reps"]),
            "incomplete": truth["incomplete"],
            "late": [rep["index"] for rep in truth["reps"] if rep["brake_timing"] == "late"],
            "recorded": truth["recorded"],
            "zero_index": truth["zero_index"],
        }
        json.dump(summary, sys.stdout)
        print()
        return
    seconds = (truth["clock"]["end_us"] - truth["clock"]["start_us"]) / 1e6
    print(
        f"{args.out}: {counted(len(truth['reps']), 'rep')}, {counted(truth['pulses'], 'edge')}, {seconds:.1f} s "
        f"(seed {args.seed})"
    )
    if args.truth is not None:
        print(f"{args.truth}: what really happened")
