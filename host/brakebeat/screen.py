"""What all screens have in common: speeds in rpm beside rad/s, and a dash for what is not known."""

from __future__ import annotations

import math

RPM_PER_RAD_S = 60.0 / (2.0 * math.pi)


def or_dash(value: float | None, digits: int = 0) -> str:
    """A number with so many digits behind the point; a dash for None."""
    return "–" if value is None else f"{value:.{digits}f}"
