"""One check for all fields: a finite number inside its range, or an error that names the field."""

from __future__ import annotations

import math

from brakebeat.errors import InputError


def inside(name: str, value: float, low: float, high: float) -> None:
    """Raise InputError unless ``value`` is a finite number from ``low`` to ``high``."""
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"{name}: {value:g} is outside {low:g} to {high:g}")
