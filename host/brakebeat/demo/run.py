"""The demo from the first pulse to the picture."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from brakebeat.board.engine import EngineChoice
from brakebeat.check import FileReport, compare, load_limits
from brakebeat.demo import narrate
from brakebeat.demo.folder import Folder
from brakebeat.demo.receive import receive
from brakebeat.demo.scenario import demo_recording
from brakebeat.formats.recording import Recording, read_recording, write_recording
from brakebeat.plot import draw_set
from brakebeat.reference import analyse, trace
from brakebeat.results import SCHEMA, Analysis, finite


@dataclass(frozen=True)
class Outcome:
    """What the demo has to show: the reps received, how they compare, where the files are."""

    received: Analysis
    report: FileReport
    folder: Folder

    def to_document(self) -> dict[str, Any]:
        """One JSON document: the reps as received, the check as `brakebeat check` has it, the files."""
        folder = self.folder
        document = {
            "schema": SCHEMA,
            "received": self.received.to_document(),
            "check": {
                "schema": SCHEMA,
                "verdict": self.report.verdict,
                "files": [self.report.to_document()],
            },
            "recording": str(folder.recording),
            "truth": str(folder.truth),
            "picture": str(folder.picture),
        }
        clean: dict[str, Any] = finite(document)
        return clean


def run_demo(
    out: Path, speed: float = 1.0, engine: EngineChoice = "auto", say: Callable[[str], None] = print
) -> Outcome:
    """Simulate a set, let the firmware work on it, receive its reps by radio, check and draw them.

    ``out`` is the directory for the files; ``speed`` how many times faster than life the wheel turns.
    Raises ``InputError`` for a place that is taken, ``DeviceError`` where the firmware or the link fail.
    """
    folder = Folder(out)
    folder.claim()
    say(narrate.GREETING)
    say(narrate.CAUTION)
    recording = _simulate(folder, say)
    received = asyncio.run(
        receive(
            recording,
            speed=speed,
            engine=engine,
            started=partial(narrate.say_start, asked=engine, say=say),
            heard=partial(narrate.say_event, say=say),
        )
    )
    folder.write(folder.received, json.dumps(received.to_document(), indent=1) + "\n")
    reference = analyse(recording)
    report = compare(received, reference, load_limits(), str(folder.recording))
    title = "The demo's set: firmware's points on the reference's curve"
    draw_set(trace(recording), received, reference, folder.picture, title, recording.rig.brake_window)
    return Outcome(received, report, folder)


def _simulate(folder: Folder, say: Callable[[str], None]) -> Recording:
    simulated, truth = demo_recording()
    write_recording(folder.recording, simulated.t_us, simulated.step, simulated.header)
    folder.write(folder.truth, json.dumps(truth, indent=1) + "\n")
    # From here on the file is all there is, as with a real rig.
    recording = read_recording(folder.recording)
    magnets = recording.rig.pulses_per_rev
    lasts_s = (recording.t_us[-1] - recording.t_us[0]) * 1e-6
    say(f"\n{folder.recording}: {len(recording.t_us)} edges from {magnets} magnets in {lasts_s:.1f} s.")
    return recording
