"""Numbers as a page shows them: a real minus sign, an en dash where nothing is known."""

from __future__ import annotations

import math

UNKNOWN = "–"


def number(value: float | None, digits: int = 0) -> str:
    """``value`` with so many digits behind the point."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def signed(value: float | None, digits: int = 0) -> str:
    """``value`` with its sign, whichever it is."""
    text = number(value, digits)
    return text if value is None or text == UNKNOWN or text.startswith("−") else f"+{text}"


def percent(share: float | None, digits: int = 0) -> str:
    """A share as a percentage, with its sign of percent."""
    return UNKNOWN if share is None else f"{number(100.0 * share, digits)} %"
