"""Whether the rig file's magnet table is that of what turns."""

from __future__ import annotations

import numpy as np

from brakebeat.doctor.edges import Edges
from brakebeat.doctor.findings import Checkup
from brakebeat.formats.recording import Recording

_DEGREES = 180.0 / np.pi
# A calibrated table is good to 0.1° at worst. A looser limit would let a moved magnet pass where the table turned
# round happens to fit.
_STALE_RAD = 0.25 / _DEGREES


def judge_table(checkup: Checkup, edges: Edges, recording: Recording) -> None:
    """Whether the recording's magnet table is that of the wheel; nothing where it has none."""
    table = recording.rig.magnet_offsets_rad
    measured = edges.offsets.estimate["offsets_rad"]
    if table is None or not isinstance(measured, list) or len(table) < 2 or None in measured:
        return
    found = np.array(measured, float)
    stored = np.array(table) - np.mean(table)
    # A table is cyclic, and the wheel may have turned the other way when it was made.
    ways = [np.roll(way, shift) for way in (stored, -stored[::-1]) for shift in range(len(stored))]
    off_rad = min(float(np.abs(way - found).max()) for way in ways)
    unsure = 3.0 * float(np.max(np.array(edges.offsets.uncertainty["offsets_rad"], float)))
    stale = off_rad > max(_STALE_RAD, unsure)
    checkup.add(
        "magnet_table",
        "mend" if stale else "good",
        f"the rig file's magnet_offsets_rad are {'up to' if stale else 'within'} {off_rad:.4f} rad "
        f"({off_rad * _DEGREES:.2f}°) {'off' if stale else 'of what turns'}",
        "has a magnet moved? Fix it mechanically, then `brakebeat calibrate magnets` again" if stale else "",
        off_rad=off_rad,
    )
