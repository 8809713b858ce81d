"""What happens in the demo: an invented lifter on the invented barn wheel, the same every time."""

from __future__ import annotations

import math
from typing import Any

from brakebeat.formats.recording import Recording
from brakebeat.simulate import Sensor, Spread, default_recording, preset

SEED = 8
# Two momentum reps, three good ones, then the strength goes; reps are counted from 0 here.
EFFORTS = (0.55, 0.75, 1.0, 0.98, 0.97, 0.93, 0.90, 0.74)
LATE = (4, 6)


def demo_sensor() -> Sensor:
    """Six magnets as a careful builder gets them: 0.3 degrees off at most, and an edge in fifty bounces."""
    return preset("clean", placement_rad=0.3 * math.pi / 180, bounced=0.02)


def demo_recording() -> tuple[Recording, dict[str, Any]]:
    """One set of eight reps with two late brakes and an effort that drops off, and the truth of it."""
    return default_recording(
        SEED,
        efforts=EFFORTS,
        late=LATE,
        late_fraction=0.55,
        spread=Spread(brake_fraction_abs=0.01),
        first_sense=1,
        sensor=demo_sensor(),
    )
