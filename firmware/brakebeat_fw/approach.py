"""Mends the edges close to a turnaround, where each interval differs much from the one before.

Towards the turnaround the square of the speed falls evenly with the angle (constant torque), so two intervals foretell
the next. Goes from the far edges, which are sure, to the near ones, and stops where the wheel may have turned.
"""

from . import ticks

# Edges from which to come.
REACH = 9
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


def judge(older, newer, took, following):
    # type: (int, int, int, int) -> int | None
    """What the edge that ends an interval of ``took`` us is, from the two intervals before it and the one after
    (0: none); all per edge spacing. None where the wheel may have turned before it."""
    per_newer = 1.0 / max(1, newer)
    per_older = 1.0 / max(1, older)
    square = 2.0 * per_newer * per_newer - per_older * per_older
    if square < _LEAST_SQUARE * per_newer * per_newer:
        return None
    expected = square**-0.5
    if took < _SOON * expected:
        if following and _MERGED_LOW * expected < took + following < _MERGED_HIGH * expected:
            return STRAY
        return KEEP
    if took > _OVERDUE * expected:
        beyond = 3.0 * per_newer * per_newer - 2.0 * per_older * per_older
        if beyond < _LEAST_SQUARE * per_newer * per_newer:
            return None
        double = expected + beyond**-0.5
        if abs(took / double - 1.0) < _DOUBLE:
            return MISSED
        return None
    return KEEP


def tidy_before(stretch, end):
    # type: (object, int) -> int
    """Mend the edges that lead up to the turnaround before place ``end``; returns the new ``end``."""
    place = max(3, end - REACH)
    while place < end:
        following = stretch.interval(place + 1) if place + 1 < end else 0
        verdict = judge(stretch.interval(place - 2), stretch.interval(place - 1), stretch.interval(place), following)
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
    # type: (object, int) -> None
    """Mend the edges that come after the turnaround, from the newest back to place ``first``."""
    newest = stretch.count - 1
    if newest - first > 3:
        # The rest is judged from here, so this interval has to be right first.
        steps = [stretch.interval(newest - 2), stretch.interval(newest - 1), stretch.interval(newest)]
        if judge(steps[0], steps[1], steps[2], 0) == MISSED:
            stretch.insert_before(newest)
    place = stretch.count - 4
    while place >= first:
        # The edge at ``place`` starts the interval that ends at place + 1.
        following = stretch.interval(place) if place > first else 0
        verdict = judge(
            stretch.interval(place + 3), stretch.interval(place + 2), stretch.interval(place + 1), following
        )
        if verdict is None:
            break
        if verdict == STRAY:
            stretch.remove(place)
            place = min(place, stretch.count - 4)
        elif verdict == MISSED:
            stretch.insert_before(place + 1)
        place -= 1
