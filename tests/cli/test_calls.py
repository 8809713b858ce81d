"""Calls that are none: each is told beside the usage of the very command, with what may have been meant."""

import os
import resource
import subprocess
import sys

import pytest

from brakebeat.cli import COMMANDS, main


def _refused(capsys, call: str) -> tuple[str, str]:
    """The usage's first line, and what was said."""
    with pytest.raises(SystemExit) as ended:
        main(call.split())
    assert ended.value.code == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    lines = streams.err.splitlines()
    return lines[0], lines[-1]


@pytest.mark.parametrize(
    ("call", "usage", "said"),
    [
        ("chekc set.csv", "", "no such command: chekc; did you mean check? `brakebeat --help` lists them"),
        ("xyzzy", "", "no such command: xyzzy; `brakebeat --help` lists them"),
        (
            "watch --vitrual set.csv",
            "watch ",
            "unknown: --vitrual set.csv; did you mean --virtual?",
        ),
        ("watch --vitrual=set.csv", "watch ", "unknown: --vitrual=set.csv; did you mean --virtual?"),
        ("rig new --xyzzy", "rig new ", "unknown: --xyzzy"),
        ("calibrate strap set.csv --puled 0.3", "calibrate strap ", "did you mean --pulled?"),
        ("replay one.csv two.csv", "replay ", "unknown: two.csv"),
        ("calibrate", "calibrate ", "required: {magnets,friction,inertia,strap,zero}"),
        ("board", "board ", "required: {install,doctor}"),
        ("rig", "rig ", "required: {new,show,template}"),
        ("vcd", "vcd ", "required: {channels,read,write}"),
        ("board docter", "board ", "'docter' (choose from "),
        ("report 3 --force abc", "report ", "argument --force: 'abc': a number is needed"),
        ("simulate --magnets six", "simulate ", "argument --magnets: 'six': a whole number is needed"),
    ],
)
def test_a_call_that_is_none(call, usage, said, capsys):
    first, last = _refused(capsys, call)
    assert first.startswith(f"usage: brakebeat {usage}[-h]")
    assert last.startswith(f"brakebeat {usage}".rstrip() + ": error: ")
    assert said in last


@pytest.mark.parametrize(
    ("call", "needed"),
    [
        ("watch --virtual x.csv --speed X", "a number above 0 is needed"),
        ("watch --reps X", "a whole number above 0 is needed"),
        ("fetch --from X", "a record's number is needed, from 0 up"),
        ("serve --page-port X", "a port is 0 (any free one) to 65535"),
        ("set --target X", "a number from 0 to 1 is needed"),
        ("demo --speed X", "a speed from 0.1 to 100 is needed"),
        ("demo --block --seed X", "a whole number from 0 to 999999 is needed"),
        ("simulate --out x.csv --spin X", "a number is needed"),
        ("calibrate strap x.csv --strap-thickness X", "a number from 0 up is needed"),
        ("check x.csv --jobs X", "a whole number above 0 is needed"),
        ("bench --budget X", "a whole number above 0 is needed"),
        ("board doctor --seconds X", "a number above 0 is needed"),
    ],
)
@pytest.mark.parametrize("text", ["much", "nan", "-inf", ""])
def test_a_number_that_is_none(call, needed, text, capsys):
    *words, option, _ = call.split()
    with pytest.raises(SystemExit) as ended:
        main([*words, f"{option}={text}"])
    assert ended.value.code == 2
    assert capsys.readouterr().err.splitlines()[-1].endswith(f": {text!r}: {needed}")


def test_no_command_at_all_shows_them(capsys):
    assert main([]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert {line.split()[0] for line in streams.err.splitlines() if line.strip()} >= set(COMMANDS)


@pytest.mark.parametrize(
    "call", ["analyse sample:clean --json", "replay sample:clean", "simulate --list-cases"]
)
def test_what_is_printed_finds_no_room(call, tmp_path):
    """Standard output is a file on a disk that is full, as a limit on its length shows."""
    with (tmp_path / "out").open("wb") as out:
        done = subprocess.run(
            [sys.executable, "-m", "brakebeat", *call.split()],
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=tmp_path,
            env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100)),
        )
    assert done.returncode == 2
    assert done.stderr == (
        f"brakebeat {call.split()[0]}: what it prints: cannot be written (File too large); make room, or choose "
        "another place\n"
    )


def test_a_replays_cues_have_their_usual_names(capsys):
    assert main(["replay", "sample:late"]) == 0
    out = capsys.readouterr().out
    assert "cue: late at " in out
    assert "cue: drop-off at " in out
