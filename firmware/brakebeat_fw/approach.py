"""Mends the edges close to a turnaround, where each interval differs much from the one before.

On either side of a turnaround the square of the speed changes evenly with the angle (steady torque), so the intervals
of one side lie along a line. The line through the medians is not moved by a few wrong ones; what lies off it is
told apart: a magnet missed, a stray edge in between, or an edge at the wrong time.
"""

# Edges a side that are looked at, and the fewest that make a line.
REACH = 10
_LEAST = 4
# Times the expected interval: a magnet was missed; beside the turnaround an interval may be longer by itself.
_MISSED_LOW = 1.6
_MISSED_NEAREST = 1.9
_MISSED_HIGH = 2.6
# Two intervals of which one is this short and whose sum makes one: a stray edge parts them.
_SHORT = 0.72
_ONE_LOW = 0.75
_ONE_HIGH = 1.4
# Two intervals that make two and are this unlike: the edge between them came at the wrong time.
_TWO_LOW = 1.6
_TWO_HIGH = 2.5
_UNLIKE = 0.55
# Where the line is this low (of its highest value) the turnaround is too near to foretell anything.
_FLOOR = 0.04


def tidy_before(stretch, end):
    # type: (Any, int) -> int
    """Mend the edges that lead up to the turnaround before place ``end``; returns the new ``end``."""
    count = stretch.count
    for _ in range(4):
        low = max(1, end - REACH)
        if end - low < _LEAST or not _mend_one(stretch, low, end - 1, end - 1):
            break
        end -= count - stretch.count
        count = stretch.count
    return end


def tidy_after(stretch, first):
    # type: (Any, int) -> None
    """Mend the edges that come after the turnaround, from place ``first`` on."""
    for _ in range(4):
        high = min(stretch.count - 1, first + REACH)
        if high - first < _LEAST or not _mend_one(stretch, first + 1, high, first + 1):
            break


def _mend_one(stretch, low, high, nearest):
    # type: (Any, int, int, int) -> bool
    """Put right the first thing found wrong with the intervals that end at places ``low`` to ``high``.

    nearest: the one beside the turnaround.
    """
    ratios = _ratios(stretch, low, high)
    # From the far edges, which are sure, to the near ones.
    inward = nearest == high
    places = range(low, high) if inward else range(high - 1, low - 1, -1)
    for place in places:
        early = ratios[place - low]
        late = ratios[place + 1 - low]
        if not early or not late:
            continue
        both = early + late
        if min(early, late) < _SHORT and _ONE_LOW < both < _ONE_HIGH:
            stretch.remove(place)
            return True
        if abs(early - late) > _UNLIKE and _TWO_LOW < both < _TWO_HIGH and nearest not in (place, place + 1):
            stretch.leave_out(place)
            return True
    for place in range(low, high + 1) if inward else range(high, low - 1, -1):
        limit = _MISSED_NEAREST if place == nearest else _MISSED_LOW
        if limit < ratios[place - low] < _MISSED_HIGH:
            stretch.insert_before(place)
            return True
    return False


def _ratios(stretch, low, high):
    # type: (Any, int, int) -> list[float]
    """Each interval over the one that the line foretells; 0 where the line foretells none."""
    xs = []
    squares = []
    took = []
    for place in range(low, high + 1):
        interval = stretch.interval(place)
        took.append(interval)
        xs.append((stretch.path(place) + stretch.path(place - 1)) / 2)
        squares.append(1e8 / (interval * interval))
    slopes = []
    for a in range(len(xs)):
        for b in range(a):
            slopes.append((squares[a] - squares[b]) / (xs[a] - xs[b]))
    slope = _median(slopes)
    level = _median([squares[k] - slope * xs[k] for k in range(len(xs))])
    highest = max(level + slope * xs[0], level + slope * xs[-1])
    ratios = []
    for k in range(len(xs)):
        square = level + slope * xs[k]
        ratios.append(took[k] * (square * 1e-8) ** 0.5 if square > _FLOOR * highest > 0.0 else 0.0)
    return ratios


def _median(values):
    # type: (list[float]) -> float
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half] + ordered[half - 1]) / 2


MYPY = False
if MYPY:
    from typing import Any  # noqa: F401
