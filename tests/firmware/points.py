"""Curves as the board keeps them, made from seconds and radians."""

from collections.abc import Sequence

from tests.firmware.loaded import curve

PART_RAD = 1e-6


def curve_of(seconds: Sequence[float], radians: Sequence[float]) -> curve.Curve:
    """The curve through these points: whole microseconds, and millionths of a radian."""
    points = curve.Curve(len(seconds), PART_RAD)
    for k, (t, x) in enumerate(zip(seconds, radians, strict=True)):
        points.us[k] = round(t * 1e6)
        points.xs[k] = round(x / PART_RAD)
    return points
