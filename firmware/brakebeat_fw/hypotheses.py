"""Which edges lie before a turnaround, which after, and is one of those beside it a stray one?

Tries the few possibilities and takes the one that makes the best vertex of four edges a side.
"""

from . import ticks
from .turnaround import Side, bounded

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401

# Edges a side that judge.
_JUDGES = 4
# Mean square residual of a turnaround (edge spacings^2) that clean edges hardly reach.
_BAD = 4e-4
# A possibility with a stray edge must be better by this factor.
_STRAY_SHARE = 0.15
_GRID = 12


def best_turn(stretch, guess):
    # type: (Any, int) -> tuple[int, int | None]
    """The place of the first edge after the turnaround near place ``guess``, and that of a stray edge (or None).

    With a stray edge the first place holds once that edge is taken out.
    """
    low = max(0, guess - _JUDGES - 2)
    places = list(range(low, min(stretch.count, guess + _JUDGES + 2)))
    first, misfit = _best_split(stretch, places, guess)
    if misfit < _BAD:
        return first, None
    stray = None
    limit = _STRAY_SHARE * misfit
    for place in range(first - 2, first + 2):
        if place <= low or place not in places:
            continue
        rest = [other for other in places if other != place]
        split, value = _best_split(stretch, rest, guess)
        if value < limit:
            limit = value
            first = split - 1 if split > place else split
            stray = place
    return first, stray


def turn_misfit(stretch, first):
    # type: (Any, int) -> float
    """Mean square residual of a turnaround right before place ``first``."""
    places = list(range(max(0, first - _JUDGES), min(stretch.count, first + _JUDGES)))
    return _misfit(stretch, places, places.index(first))


def _best_split(stretch, places, guess):
    # type: (Any, list[int], int) -> tuple[int, float]
    best = guess
    least = 1e9
    for split in range(2, len(places) - 2):
        if not -2 < places[split] - guess < 3:
            continue
        value = _misfit(stretch, places, split)
        if value < least:
            least = value
            best = places[split]
    return best, least


def _side(stretch, places, base):
    # type: (Any, list[int], int) -> Side
    """Edges at ``places``, nearest the turnaround first; a place that was left out does not count as an advance."""
    us = []
    xs = []
    x = 0.0
    before = None
    for place in places:
        if before is not None:
            later = max(place, before)
            x -= stretch.path(later) - stretch.path(later - 1)
        us.append(ticks.after(stretch.buffer[place], base) * 1e-6)
        xs.append(x)
        before = place
    return Side(us, xs)


def _misfit(stretch, places, split):
    # type: (Any, list[int], int) -> float
    """Mean square residual with the edges from ``places[split]`` on behind the turnaround."""
    width = min(split, len(places) - split, _JUDGES)
    base = stretch.buffer[places[split - 1]]
    before = _side(stretch, [places[split - 1 - k] for k in range(width)], base)
    after = _side(stretch, [places[split + k] for k in range(width)], base)
    high = after.us[0]
    common = least_before = least_after = 1e9
    for part in range(_GRID + 1):
        at = high * part / _GRID
        misfit_before = bounded(before, at, False)
        misfit_after = bounded(after, at, False)
        common = min(common, misfit_before + misfit_after)
        least_before = min(least_before, misfit_before)
        least_after = min(least_after, misfit_after)
    if width < _JUDGES:
        return common
    # A pause has one unknown more; it must earn it.
    return min(common / (2 * width - 5), 2.0 * (least_before + least_after) / (2 * width - 6))
