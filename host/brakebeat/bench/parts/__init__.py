"""The parts of ``brakebeat bench``: a module each, with ``measure(scale) -> Measured``; ``PARTS`` names them."""

from __future__ import annotations

import importlib

from brakebeat.bench.parts.figure import Measured, Scale

# name (of the module too) -> what the table says of it
PARTS = {
    "board": "what an edge costs the board, counted",
    "size": "how big the board's code is, and the RAM that it takes",
    "rate": "edges a second that the firmware keeps up with on this computer's VM",
    "reference": "the reference, by the length of the recording",
    "plain": "firmware and reference beside what one would write instead",
    "many": "`check` over many recordings, all cores against one",
    "start": "how long a command takes to start",
    "store": "log, report and export with years of sessions in the store",
}


def run_part(name: str, scale: Scale) -> Measured:
    """Measure one part. Raises ``BrakebeatError`` where it cannot be done here."""
    measured: Measured = importlib.import_module(f"brakebeat.bench.parts.{name}").measure(scale)
    return measured
