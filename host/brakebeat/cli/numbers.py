"""Numbers that options take: what argparse calls on an option's text."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from typing import TypeVar

Number = TypeVar("Number", int, float)


def read(kind: Callable[[str], Number], text: str, fits: Callable[[Number], bool], needed: str) -> Number:
    """The number in an option's text, by ``kind`` (int or float).

    Raises ArgumentTypeError with ``needed`` for what is no finite number of that kind, or does not fit.
    """
    try:
        value = kind(text)
    except ValueError:
        value = None
    if value is None or not math.isfinite(value) or not fits(value):
        raise argparse.ArgumentTypeError(f"{text!r}: {needed}")
    return value


def number(text: str) -> float:
    """An option's finite number."""
    return read(float, text, lambda _: True, "a number is needed")


def positive(text: str) -> float:
    """An option's number above 0."""
    return read(float, text, lambda value: value > 0, "a number above 0 is needed")


def not_below(text: str) -> float:
    """An option's number, 0 or above."""
    return read(float, text, lambda value: value >= 0, "a number from 0 up is needed")


def count(text: str) -> int:
    """An option's whole number above 0."""
    return read(int, text, lambda value: value >= 1, "a whole number above 0 is needed")
