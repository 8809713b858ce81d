"""Which magnet gave the recording's first edge: the way back from the free run through the push.

The free run has told where each magnet sits, so a gap between two edges tells the speed exactly once it is
known how many magnets lie in it. The likeliest way back is the one along which the speed changes smoothly,
with few magnets missed and few edges from nowhere; it is found by a search that keeps several in mind.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Minus the logarithm of a magnet's chance to pass unseen (1 in 100); edges from nowhere, 1/s; the chance of a
# bounce and how soon it comes, s. The order that cheap hall boards show; only logarithms count.
_MISSED = 4.6
_STRAY_PER_S = 0.3
_BOUNCES, _BOUNCE_SOON_S = 0.05, 0.001
_MOST_STRIDE = 3
_BACK = 5
_KEPT_WAYS = 24
# A bounce comes within this time of the edge that it repeats.
_BOUNCE_S = 0.005
# By how much the speed may stray from a straight line, as a part of it.
_UNSTEADY = 0.08
_LOST = 12.0
# Another magnet must be this much less likely (a logarithm) for the first edge to count as known.
_CLEAR = 6.0
# The way back is walked edge by edge; beyond this many it would take too long.
_MOST_EDGES = 20_000


@dataclass(frozen=True)
class Head:
    """``places``: magnets from the first real edge's to the reference edge, along the free run's turning.

    ``sure``: nothing on the way had to be guessed.
    """

    places: int
    sure: bool


@dataclass(frozen=True)
class _Way:
    """A way back to ``edge``: its cost, its place (0 at the reference, below 0 before), speed and slope there."""

    cost: float
    edge: int
    place: int
    speed_rad_s: float
    accel_rad_s2: float
    guessed: bool


def walk_head(t_s: Array, magnets: int, offset_rad: Array, reference: int, place: int, after: int) -> Head:
    """Count back from edge ``reference`` to the recording's first real edge.

    Args:
        t_s: all edges, (n,).
        offset_rad: of the magnets by place modulo ``magnets``; NaN where unknown.
        place: the reference's place; ``after``: the edge of the next place, one further on.
    """
    if reference == 0:
        return Head(0, True)
    angle = _Angles(magnets, offset_rad, place)
    speed = (angle(1) - angle(0)) / float(t_s[after] - t_s[reference])
    front: dict[int, list[_Way]] = {reference: [_Way(0.0, reference, 0, speed, 0.0, False)]}
    # The cheapest end for each magnet that the first edge may be.
    ends: dict[int, _Way] = {}
    lowest = max(0, reference - _MOST_EDGES)
    for edge in range(reference, lowest - 1, -1):
        for way in _thinned(front.pop(edge, [])):
            if edge < _BACK:
                _note_end(ends, way, _extras(t_s, -1, edge), magnets)
            for before in range(edge - 1, max(edge - 1 - _BACK, lowest - 1), -1):
                front.setdefault(before, []).extend(_steps(t_s, angle, way, before))
    if not ends:
        return Head(reference, False)
    best, *others = sorted(ends.values(), key=lambda way: way.cost)
    clear = not others or others[0].cost - best.cost > _CLEAR
    return Head(-best.place, clear and not best.guessed)


def _note_end(ends: dict[int, _Way], way: _Way, leading: float, magnets: int) -> None:
    end = dataclasses.replace(way, cost=way.cost + leading, guessed=way.guessed or way.edge > 0)
    magnet = way.place % magnets
    if magnet not in ends or end.cost < ends[magnet].cost:
        ends[magnet] = end


class _Angles:
    """Shaft angle of a place counted from the reference, offsets included."""

    def __init__(self, magnets: int, offset_rad: Array, place: int) -> None:
        self._magnets, self._place = magnets, place
        self._offset = np.nan_to_num(offset_rad).tolist()
        self._dead = np.isnan(offset_rad).tolist()

    def __call__(self, place: int) -> float:
        return 2.0 * np.pi / self._magnets * place + self._offset[(place + self._place) % self._magnets]

    def dead(self, place: int) -> bool:
        """Whether the free run never saw this place's magnet."""
        return self._dead[(place + self._place) % self._magnets]


def _steps(t_s: Array, angle: _Angles, way: _Way, before: int) -> list[_Way]:
    """Ways one edge further back, with one to three magnets in the gap."""
    gap = float(t_s[way.edge] - t_s[before])
    if gap <= 0.0:
        return []
    extras = _extras(t_s, before, way.edge)
    skipped = way.edge - before > 1 and bool((np.diff(t_s[before : way.edge]) > _BOUNCE_S).any())
    ways = []
    for stride in range(1, _MOST_STRIDE + 1):
        turned = angle(way.place) - angle(way.place - stride)
        speed = turned / gap
        # Speeds belong to the gaps' middles; the older gap lasted about turned/speed.
        between = 0.5 * (gap + min(turned / way.speed_rad_s, gap))
        foreseen = way.speed_rad_s - way.accel_rad_s2 * between
        change = abs(way.accel_rad_s2) * between
        foreseen = max(foreseen, 0.4 * way.speed_rad_s)
        reach = _UNSTEADY + 0.5 * change / max(foreseen, way.speed_rad_s)
        off = float(np.log(speed / foreseen)) / reach
        passed = [angle.dead(way.place - back) for back in range(1, stride)]
        if angle.dead(way.place - stride):
            continue
        cost = way.cost + extras + _MISSED * passed.count(False)
        # Student's density of the speed's logarithm, as one of time.
        cost += 3.0 * float(np.log1p(off * off / 5.0)) + float(np.log(reach * gap))
        accel = (way.speed_rad_s - speed) / between
        ways.append(
            _Way(cost, before, way.place - stride, speed, accel, way.guessed or skipped or False in passed)
        )
    return ways


def _extras(t_s: Array, before: int, edge: int) -> float:
    """Cost of calling all edges between ``before`` (−1: the recording's begin) and ``edge`` no magnet's."""
    cost = 0.0
    for extra in range(before + 1, edge):
        age = float(t_s[extra] - t_s[before]) if before >= 0 else np.inf
        density = _STRAY_PER_S + _BOUNCES / _BOUNCE_SOON_S * float(np.exp(-age / _BOUNCE_SOON_S))
        cost -= float(np.log(density))
    return cost


def _thinned(ways: list[_Way]) -> list[_Way]:
    """The cheapest ways, none of them hopeless, at most one for each place and stride."""
    if not ways:
        return []
    ways = sorted(ways, key=lambda way: way.cost)
    limit = ways[0].cost + 4.0 * _LOST
    return [way for way in ways[:_KEPT_WAYS] if way.cost < limit]
