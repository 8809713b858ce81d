"""Numbers that options take: what argparse calls on an option's text."""

from __future__ import annotations

import argparse
import math


def positive(text: str) -> float:
    """An option's number above 0."""
    value = float(text)
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r}: a number above 0 is needed")
    return value


def count(text: str) -> int:
    """An option's whole number above 0."""
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"{text!r}: a whole number above 0 is needed")
    return value
