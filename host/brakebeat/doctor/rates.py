"""How often the doctor is right on simulated wheels: each fault in many seeds, and sound wheels for false alarms.

``python -m brakebeat.doctor.rates [--seeds N] [--json]``. Seeds draw the wheel's friction, how fast it is spun, how
many magnets it has (4 to 8 where a case does not say) and where they sit (within 2°).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from brakebeat.doctor.examine import examine
from brakebeat.doctor.findings import Checkup
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.simulate import Sensed, Wheel, preset, sense_fully, spin_down
from brakebeat.simulate.sensor import DEGREE_RAD


@dataclass(frozen=True)
class Case:
    """A fault: ``make`` gives the recording and the number of the magnet that is ill (from 1; 0: none);
    ``found`` says whether the doctor saw it."""

    make: Callable[[int], tuple[Recording, int]]
    found: Callable[[Checkup, int], bool]


def spun(seed: int, pulses: int | None = None, encoder: bool = False, **sensor: Any) -> Sensed:
    """A hand-spun wheel of this seed, with ``pulses`` edges a turn (None: drawn)."""
    rng = np.random.default_rng([seed, 51])
    wheel = Wheel(
        friction_torque_nm=rng.uniform(0.05, 0.2),
        friction_viscous_nm_s=rng.uniform(0.0005, 0.003),
        friction_drag_nm_s2=float(rng.choice([0.0, 3e-5])),
    )
    drawn = int(rng.integers(4, 9))
    motion = spin_down(wheel, rng.uniform(18, 32), push_s=rng.uniform(0.8, 2.5))
    values = ({} if encoder else {"placement_rad": 2.0 * DEGREE_RAD}) | sensor
    made = preset("clean", pulses or drawn, "encoder" if encoder else "magnets", **values)
    return sense_fully(motion, made, seed)


def _plain(**sensor: Any) -> Callable[[int], tuple[Recording, int]]:
    return lambda seed: (spun(seed, **sensor).recording, 0)


def _ill(seed: int, missed: float, pulses: int | None = None) -> tuple[Recording, int]:
    """One magnet, drawn, gives no edge with a probability; its number counts from the first edge that came."""
    made = spun(seed, pulses)
    rng = np.random.default_rng([seed, 52])
    ill = int(rng.integers(0, made.recording.rig.pulses_per_rev))
    mark = made.edges.mark[made.stamps.source]
    kept = (mark != ill) | (rng.random(len(mark)) >= missed)
    first, sense = int(mark[kept][0]), int(made.edges.sense[0])
    number = (sense * (ill - first)) % made.recording.rig.pulses_per_rev + 1
    recording = made.recording
    return Recording(recording.t_us[kept], recording.step[kept], recording.header), number


def _other_count(seed: int) -> tuple[Recording, int]:
    return _told(seed, lambda magnets: magnets + (1 if seed % 2 else -1)), 0


def _twice_the_count(seed: int) -> tuple[Recording, int]:
    return _told(seed, lambda magnets: 2 * magnets), 0


def _told(seed: int, count: Callable[[int], int]) -> Recording:
    """A sound wheel with another ``pulses_per_rev`` in the header."""
    recording = spun(seed).recording
    header = recording.header | {"pulses_per_rev": str(count(recording.rig.pulses_per_rev))}
    return Recording(recording.t_us, recording.step, header)


def _with_table(seed: int, moved_rad: float) -> tuple[Recording, int]:
    made = spun(seed)
    table = np.array(made.truth["magnet_offsets_by_id_rad"])
    table[seed % len(table)] += moved_rad
    table = np.roll(table - table.mean(), seed)
    header = made.recording.header | {"magnet_offsets_rad": str(table.tolist())}
    return Recording(made.recording.t_us, made.recording.step, header), 0


def _says(check: str, *levels: str) -> Callable[[Checkup, int], bool]:
    return lambda checkup, _: checkup.level(check) in levels


def _names_magnet(checkup: Checkup, number: int) -> bool:
    """The ill one and no other; its number only where the doctor is sure which came first."""
    named = [f.figures for f in checkup.findings if f.check == "magnets" and f.level == "mend"]
    return len(named) == 1 and (named[0].get("magnet") == number or named[0].get("magnet_sure") is False)


def _counts_or_names(checkup: Checkup, number: int) -> bool:
    """Two edges a turn where there should be three are as good a finding as the dead magnet's number."""
    return checkup.level("edges_per_turn") == "mend" or _names_magnet(checkup, number)


def all_good(checkup: Checkup, _: int) -> bool:
    """No finding but good ones (even spacing may leave the count open)."""
    return all(finding.level in ("good", "unknown") for finding in checkup.findings)


CASES: dict[str, Case] = {
    "sound": Case(_plain(), all_good),
    "sound, 0.5° of placement": Case(_plain(placement_rad=0.5 * DEGREE_RAD), all_good),
    "sound, with its table": Case(lambda seed: _with_table(seed, 0.0), all_good),
    "sound, one magnet": Case(_plain(pulses=1), all_good),
    "sound, two magnets": Case(_plain(pulses=2), all_good),
    "sound, three magnets": Case(_plain(pulses=3), all_good),
    "sound, an encoder of 96": Case(_plain(pulses=96, encoder=True), all_good),
    "a magnet gives no edge": Case(lambda seed: _ill(seed, 1.0), _names_magnet),
    "a magnet misses 3 of 10": Case(lambda seed: _ill(seed, 0.3), _names_magnet),
    "every magnet misses 3 of 100": Case(_plain(missed=0.03), _says("magnets", "look", "mend")),
    "wrong pulses_per_rev": Case(_other_count, _says("edges_per_turn", "mend")),
    "twice the pulses_per_rev": Case(_twice_the_count, _says("edges_per_turn", "mend")),
    "5 % bounce": Case(_plain(bounced=0.05), _says("bounce", "look", "mend")),
    "30 % bounce": Case(_plain(bounced=0.3), _says("bounce", "mend")),
    "2 stray edges a second": Case(_plain(spurious_per_s=2.0), _says("noise", "mend")),
    "one magnet, 2 stray edges a second": Case(
        _plain(pulses=1, spurious_per_s=2.0), lambda checkup, _: not checkup.sound
    ),
    "two magnets, one gives no edge": Case(
        lambda seed: _ill(seed, 1.0, 2), _says("edges_per_turn", "look", "mend")
    ),
    "three magnets, one gives no edge": Case(lambda seed: _ill(seed, 1.0, 3), _counts_or_names),
    "an encoder, 5 % of edges missed": Case(
        _plain(pulses=96, encoder=True, missed=0.05), lambda checkup, _: not checkup.sound
    ),
    "150 us of jitter": Case(_plain(jitter_us=150.0), _says("jitter", "mend")),
    "60 us of jitter": Case(_plain(jitter_us=60.0), _says("jitter", "look")),
    "a magnet moved by 3°": Case(
        lambda seed: _with_table(seed, 3.0 * DEGREE_RAD), _says("magnet_table", "mend")
    ),
}


def rates(names: Sequence[str], seeds: range) -> dict[str, list[int]]:
    """For each case the seeds on which the doctor was wrong."""
    wrong: dict[str, list[int]] = {}
    for name in names:
        wrong[name] = []
        for seed in seeds:
            recording, number = CASES[name].make(seed)
            try:
                right = CASES[name].found(examine(recording), number)
            except InputError:
                # Taken for a set, which it never is here.
                right = False
            if not right:
                wrong[name].append(seed)
    return wrong


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line for each case; 0 always, since this measures."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.doctor.rates", description=__doc__)
    parser.add_argument("--seeds", type=int, default=40, metavar="N", help="wheels of each case (40)")
    parser.add_argument("--seed-from", type=int, default=0, metavar="N", help="the first seed (0)")
    parser.add_argument("--only", nargs="+", choices=list(CASES), metavar="CASE", default=list(CASES))
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    args = parser.parse_args(arguments)
    seeds = range(args.seed_from, args.seed_from + args.seeds)
    wrong = rates(args.only, seeds)
    if args.json:
        print(json.dumps({"schema": 1, "seeds": args.seeds, "wrong": wrong}))
        return 0
    for name, missed in wrong.items():
        print(f"{name:32} right {args.seeds - len(missed):4} of {args.seeds}   wrong on {missed[:12]}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
