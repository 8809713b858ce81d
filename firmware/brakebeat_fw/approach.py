"""Mends the edges close to a turnaround, where each interval differs much from the one before.

Towards the turnaround the square of the speed falls evenly with the angle (constant torque), so a few intervals
foretell the next. Goes from the far edges, which are sure, to the near ones, and stops where the wheel may have turned.
"""

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401

# Edges from which to come, and intervals that foretell the next one.
REACH = 9
_KNOWN = 4
# Sooner than this share of what is expected is a stray edge, if the next one then is where it should be.
_SOON = 0.72
_MERGED_LOW = 0.78
_MERGED_HIGH = 1.4
# Later than this is a missed magnet, if two spacings explain it this well.
_OVERDUE = 1.5
_DOUBLE = 0.2
# Below this share of the last speed (squared) the turnaround may come first.
_LEAST_SQUARE = 0.1

KEEP = 0
STRAY = 1
MISSED = 2


def judge(known, took, following):
    # type: (list[float], float, float) -> int | None
    """What the edge that ends an interval of ``took`` us is, from the ``known`` intervals before it (oldest first) and
    the one after it (0: none); all per edge spacing. None where the wheel may have turned before it."""
    count = len(known)
    # The square of the speed as a line over the number of the interval, continued by one and two.
    middle = (count - 1) / 2
    mean = 0.0
    slope = 0.0
    spread = 0.0
    newest = 1.0 / (known[-1] * known[-1])
    for k in range(count):
        square = 1.0 / (known[k] * known[k] * newest)
        mean += square / count
        slope += (k - middle) * square
        spread += (k - middle) * (k - middle)
    slope /= spread
    square = mean + slope * (count - middle)
    if square < _LEAST_SQUARE:
        return None
    expected = known[-1] * square**-0.5
    if took < _SOON * expected:
        if following and _MERGED_LOW * expected < took + following < _MERGED_HIGH * expected:
            return STRAY
        return KEEP
    if took > _OVERDUE * expected:
        beyond = square + slope
        if beyond < _LEAST_SQUARE:
            return None
        double = expected + known[-1] * beyond**-0.5
        if abs(took / double - 1.0) < _DOUBLE:
            return MISSED
        return None
    return KEEP


def tidy_before(stretch, end):
    # type: (Any, int) -> int
    """Mend the edges that lead up to the turnaround before place ``end``; returns the new ``end``."""
    place = max(_KNOWN + 1, end - REACH)
    while place < end:
        following = stretch.interval(place + 1) if place + 1 < end else 0
        known = [stretch.interval(place - k) for k in range(_KNOWN, 0, -1)]
        verdict = judge(known, stretch.interval(place), following)
        if verdict is None:
            break
        if verdict == STRAY:
            stretch.remove(place)
            end -= 1
            continue
        if verdict == MISSED:
            stretch.insert_before(place)
        place += 1
    return end


def tidy_after(stretch, first):
    # type: (Any, int) -> None
    """Mend the edges that come after the turnaround, from the newest back to place ``first``."""
    _drop_displaced(stretch, first)
    newest = stretch.count - 1
    if newest - first > _KNOWN:
        # The rest is judged from here, so this interval has to be right first.
        known = [stretch.interval(newest - k) for k in range(_KNOWN, 0, -1)]
        if judge(known, stretch.interval(newest), 0) == MISSED:
            stretch.insert_before(newest)
    place = newest - _KNOWN
    while place >= first:
        # The edge at ``place`` starts the interval that ends at place + 1.
        following = stretch.interval(place) if place > first else 0
        known = [
            stretch.interval(place + 1 + k) for k in range(_KNOWN, 0, -1) if place + 1 + k < stretch.count
        ]
        if len(known) < 2:
            break
        verdict = judge(known, stretch.interval(place + 1), following)
        if verdict is None:
            break
        if verdict == STRAY:
            stretch.remove(place)
        elif verdict == MISSED:
            stretch.insert_before(place + 1)
        place -= 1


def _drop_displaced(stretch, first):
    # type: (Any, int) -> None
    """Leave out an edge whose two intervals are unlike while their mean fits: its time is off, not its count."""
    place = first + 3
    while place < stretch.count - 1:
        early = stretch.interval(place)
        late = stretch.interval(place + 1)
        mean = (early + late) / 2
        beside = stretch.interval(place - 1)
        if place + 2 < stretch.count:
            beside = (beside * stretch.interval(place + 2)) ** 0.5
        if abs(early - late) > 0.6 * mean and 0.75 < mean / beside < 1.2:
            stretch.leave_out(place)
        place += 1
