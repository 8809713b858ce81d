"""Numbers with their uncertainty as people write them: in plain notation, rounded alike."""

from __future__ import annotations

import math

import numpy as np

# The Particle Data Group's rule (Review of Particle Physics, introduction, "Rounding"; from memory): two digits of an
# uncertainty whose first three are 354 at most, else one, which may round up to two.
_TWO_DIGITS_BELOW = 3.55


def with_uncertainty(value: float, spread: float | None, digits: int = 4) -> str:
    """`512.4 ± 1.2`: one or two digits of the uncertainty, the value to the same place.

    Args:
        digits: so many of the value's where there is no uncertainty (None, 0, or not finite).
    """
    if spread is None or not (0.0 < spread < math.inf):
        return plain(value, digits)
    # Its own rounding to three digits comes first, which may carry into the next power of ten.
    mantissa, exponent = f"{spread:.2e}".split("e")
    places = -int(exponent) + (float(mantissa) < _TWO_DIGITS_BELOW)
    return f"{_rounded(value, places)} ± {_rounded(spread, places)}"


def plain(value: float, digits: int) -> str:
    """A number to so many significant digits, without an exponent and without zeros behind them."""
    return np.format_float_positional(value, precision=digits, unique=False, fractional=False, trim="-")


def _rounded(value: float, places: int) -> str:
    # A negative number of places rounds to tens, hundreds, …; adding 0 takes the sign off a zero.
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}"
