"""Writes the sample recordings anew: ``python -m brakebeat.samples.make [FOLDER]``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from brakebeat.formats.recording import read_recording, write_recording
from brakebeat.samples import FOLDER, SHOWS_KEY

# name -> (what it shows, options of `brakebeat simulate`)
RECIPES: dict[str, tuple[str, list[str]]] = {
    "clean": (
        "8 reps, 6 magnets, every brake in time",
        ["--seed", "11"],
    ),
    "dirty": (
        "bounce, missed and spurious edges, crooked magnets, and a counter that wraps within a rep",
        ["--seed", "12", "--preset", "dirty", "--case", "wrap_in_a_rep"],
    ),
    "late": (
        "late brakes in reps 4, 6 and 7, and effort that drops off",
        [
            "--seed",
            "13",
            "--late",
            "3",
            "5",
            "6",
            "--effort",
            "0.5",
            "0.7",
            "1",
            "1",
            "0.95",
            "0.9",
            "0.8",
            "0.7",
        ],
    ),
    "encoder": (
        "a quadrature encoder of 96 counts a turn, so that every edge knows its sense",
        ["--seed", "14", "--encoder", "96", "--reps", "6"],
    ),
    "sets": (
        "two sets with a rest between them, and a pause after each rep",
        ["--seed", "15", "--sets", "2", "--reps", "5", "--rest-s", "15", "--pause-s", "0.4"],
    ),
}


def main(folder: Path = FOLDER) -> None:
    """Simulate every recipe into ``folder``; the header gains what the sample shows."""
    for name, (shows, options) in RECIPES.items():
        path = folder / f"{name}.csv"
        # By the command line, as everybody can do it.
        words = [sys.executable, "-m", "brakebeat", "simulate", "--out", str(path), *options]
        if subprocess.run(words, check=False).returncode:
            sys.exit(1)
        recording = read_recording(path)
        write_recording(path, recording.t_us, recording.step, {SHOWS_KEY: shows, **recording.header})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
