"""The outermost edges of a chain: a fault before the wheel sets off, or after it has come to rest, is cut off.

Within a chain the turnarounds on either side vouch for an edge; out here only physics does. From rest the wheel
sets off less than a spacing before its first edge; edges that do not fit that course but whose absence does are
faults, and of two edges close to each other either may be the magnet's.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.curve.strokes import EdgeRun
from brakebeat.reference.model.likelihood import LEAST_SPEED_RAD_S
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.reading import Model
from brakebeat.reference.turnaround.start import LONGEST_LEAD_S, Prior, Starts

NEAR = 8
_SHOWN = 13
_MOST_CUT = 6
_MOST_MOVED = 4
_FEWEST = 2
# What an edge is unlike the first read must explain the edges better by this much.
_MARGIN = 2.0
_LEAST_SHARE = 0.7
# The acceleration next to a rest may be so many times the usual one, give or take (in its logarithm).
_FAST, _FAST_SPREAD = 4.0, 0.35


@dataclass(frozen=True)
class _Rest:
    """How a wheel moves next to a rest, played from the rest on.

    ``rough``: the jerk's density in parts of the usual one, with −2·log prior odds: as in the middle of a stroke or far
    less, or a brake that comes at the last moment; ``harder``: so many times the usual acceleration, likewise;
    ``rises``: the acceleration grows from nothing.
    """

    rough: tuple[tuple[float, float], ...]
    harder: tuple[tuple[float, float], ...]
    rises: bool

    def priors(self, model: Model) -> list[Prior]:
        """Each roughness with each acceleration."""
        return [
            Prior(
                rough * model.noise.jerk_density,
                harder * model.usual_accel_rad_s2,
                model.spacing_rad,
                cost=unlikely + rare,
            )
            for rough, unlikely in self.rough
            for harder, rare in self.harder
        ]

    @property
    def hardest(self) -> float:
        """The greatest of the accelerations, times the usual one."""
        return max(harder for harder, _ in self.harder)


# Odds as the ends of some six hundred simulated strokes have them.
_AFTER_REST = _Rest(((1.0, 0.0), (0.1, 0.0), (0.01, 0.0)), ((1.0, 0.0),), rises=True)
_BEFORE_REST = _Rest(
    ((1000.0, 12.0), (100.0, 8.0), (10.0, 4.0), (3.0, 2.0), (1.0, 1.0), (0.1, 0.0), (0.01, 0.0)),
    ((1.0, 0.0), (3.0, 1.2), (8.0, 4.3)),
    rises=False,
)
_LEADS = 40
_BLUR_RAD = (0.01, 0.0)


@dataclass(frozen=True)
class _Outset:
    """A run's edges from its rest on (n,): rows among all edges, times from rest on, places.

    ``rest``: what rest they come from; ``cost`` of the faults among them;
    ``misread_sd_s``: how far off the rest's end may be since another reading may be the right one.
    """

    row: Integers
    t_s: Array
    place: Integers
    rest: _Rest
    cost: float = 0.0
    misread_sd_s: float = 0.0

    def without(self, count: int, fault_cost: float) -> _Outset:
        """The first edges taken as faults."""
        rest = slice(count, None)
        return dataclasses.replace(
            self,
            row=self.row[rest],
            t_s=self.t_s[rest],
            place=self.place[rest],
            cost=self.cost + count * fault_cost,
        )


def trim_start(run: EdgeRun, t_s: Array, unused: Integers, table_rad: Array, model: Model) -> EdgeRun:
    """The run without faults before its first edge, and with a magnet missed among the first ones put in.

    Args:
        t_s: all edges; ``unused``: the numbers of those in no run.
        table_rad: the magnets' offsets counted along the shaft from the run's first edge (empty if none).
    """
    best = _reread(
        _Outset(run.row, run.t_s, run.place, _AFTER_REST), t_s, unused, run.sense, table_rad, model
    )
    run = _replaced(run, best.row, t_s, best.place - best.place[0])
    return dataclasses.replace(run, begin_misread_sd_s=best.misread_sd_s)


def trim_end(run: EdgeRun, t_s: Array, unused: Integers, table_rad: Array, model: Model) -> EdgeRun:
    """The run without faults after its last edge: the same look at the run played backwards."""
    last = int(run.place[-1])
    mirrored = np.roll(table_rad, -run.sense * last)
    outset = _Outset(run.row[::-1], -run.t_s[::-1], last - run.place[::-1], _BEFORE_REST)
    best = _reread(outset, -t_s, unused, -run.sense, mirrored, model)
    place = best.place[::-1]
    run = _replaced(run, best.row[::-1], t_s, place[0] - place)
    return dataclasses.replace(run, end_misread_sd_s=best.misread_sd_s)


def _replaced(run: EdgeRun, row: Integers, t_s: Array, place: Integers) -> EdgeRun:
    return dataclasses.replace(run, t_s=t_s[row], row=row, place=place)


def _reread(
    outset: _Outset, t_s: Array, unused: Integers, sense: int, table_rad: Array, model: Model
) -> _Outset:
    """The likeliest reading of the edges from rest on; one better reading may lead to another."""
    if len(outset.row) < _FEWEST:
        # A lone edge shows no course that it could fit or not.
        return outset
    for _ in range(_MOST_CUT):
        best = _best(outset, t_s, unused, sense, table_rad, model)
        if best.row is outset.row and best.place is outset.place:
            return best
        unused = np.setdiff1d(np.union1d(unused, outset.row), best.row)
        outset = dataclasses.replace(best, cost=0.0)
    return outset


def _best(
    outset: _Outset, t_s: Array, unused: Integers, sense: int, table_rad: Array, model: Model
) -> _Outset:
    # All readings answer for the edges up to the same one.
    until_s = float(outset.t_s[min(_SHOWN, len(outset.t_s)) - 1])
    readings = list(_readings(outset, t_s, unused, model))
    shown = [_shown(reading, until_s, sense, table_rad, model) for reading in readings]
    from_rest, begun_s = _from_rest(shown, outset.rest, model)
    costs = np.array([reading.cost for reading in readings]) + from_rest
    costs[1:] += _MARGIN
    best = int(np.argmin(costs))
    weight = np.exp(-0.5 * (costs - costs[best]))
    off = np.sqrt(weight @ (begun_s - begun_s[best]) ** 2 / weight.sum())
    return dataclasses.replace(readings[best], misread_sd_s=float(off))


def _readings(outset: _Outset, t_s: Array, unused: Integers, model: Model) -> Iterator[_Outset]:
    """Cuts, changed strides, another edge as the first, with −2·log prior odds; the edges as they stand first."""
    length = len(outset.row)
    for cut in range(min(_MOST_CUT, max(length - NEAR // 2, 0)) + 1):
        rest = outset.without(cut, model.nowhere_cost) if cut else outset
        yield rest
        if len(rest.row) > NEAR // 2:
            yield from _first_from(rest, t_s, unused, outset.row[cut - 1] if cut else None)
    yield from _put_back(outset, t_s, unused, model)
    for at in range(1, min(_MOST_MOVED + 1, length)):
        stride = int(outset.place[at] - outset.place[at - 1])
        for more in (1, -1) if stride > 1 else (1,):
            changed = outset.place.copy()
            # Later places stand: the offsets are counted by them.
            changed[:at] -= more
            yield dataclasses.replace(outset, place=changed, cost=model.unseen_cost * more)


def _first_from(outset: _Outset, t_s: Array, unused: Integers, before: int | None) -> Iterator[_Outset]:
    """The first edge replaced by one that was taken for a fault, close to it: as many faults as before.

    From rest on the first gap is the longest.
    """
    first, second = int(outset.row[0]), int(outset.row[1])
    latest = outset.t_s[1] - _LEAST_SHARE * (outset.t_s[2] - outset.t_s[1])
    low, high = min(first, second), max(first, second)
    for row in unused[(unused > low - _MOST_CUT) & (unused < high + _MOST_CUT)]:
        nearer = t_s[row] < latest and (before is None or t_s[row] > t_s[before])
        if nearer and row != first:
            rows, times = outset.row.copy(), outset.t_s.copy()
            rows[0], times[0] = row, t_s[row]
            yield dataclasses.replace(outset, row=rows, t_s=times)


def _put_back(outset: _Outset, t_s: Array, unused: Integers, model: Model) -> Iterator[_Outset]:
    """An edge that was taken for a fault, before the first one, as a magnet's after all; one may have been missed
    between them."""
    earliest = outset.t_s[0] - _LEAST_SHARE * (outset.t_s[1] - outset.t_s[0])
    for row in unused[t_s[unused] < earliest]:
        if t_s[row] > outset.t_s[0] - LONGEST_LEAD_S:
            for unseen in (0, 1):
                yield dataclasses.replace(
                    outset,
                    row=np.append(row, outset.row),
                    t_s=np.append(t_s[row], outset.t_s),
                    place=np.append(outset.place[0] - 1 - unseen, outset.place),
                    cost=unseen * model.unseen_cost - model.nowhere_cost,
                )


def _shown(
    outset: _Outset, until_s: float, sense: int, table_rad: Array, model: Model
) -> tuple[Array, Array]:
    """Times and angles of the edges up to some time."""
    shown = slice(0, max(int(np.searchsorted(outset.t_s, until_s, side="right")), 2))
    place = outset.place[shown]
    angle = np.asarray(place * model.spacing_rad, np.float64)
    if len(table_rad):
        angle = angle + sense * table_rad[sense * place % len(table_rad)]
    return outset.t_s[shown], angle


def _from_rest(shown: list[tuple[Array, Array]], rest: _Rest, model: Model) -> tuple[Array, Array]:
    """−2·log likelihood of edges, each reading's, that follow a start from rest, and when it was."""
    haste = np.array([_haste(t_s, angle, rest, model) for t_s, angle in shown])
    found = [_speeds(t_s, angle) for t_s, angle in shown]
    priors = rest.priors(model)
    starts = Starts.of(
        [t_s - t_s[0] for t_s, _ in shown],
        [angle - angle[0] for _, angle in shown],
        [np.hypot(model.noise.sigma(speed), 1e-3) for speed in found],
        priors,
        _BLUR_RAD,
        rises=rest.rises,
    )
    lead = np.geomspace(0.004, LONGEST_LEAD_S, _LEADS)
    lead_s, cost = starts.least(np.broadcast_to(lead, (len(shown) * len(priors), _LEADS)), _LEADS)
    cost = cost.reshape(len(shown), len(priors)) + [prior.cost for prior in priors]
    rows, best = np.arange(len(shown)), cost.argmin(axis=1)
    lead_s = lead_s.reshape(cost.shape)[rows, best]
    density = [_density(t_s, speed, lead) for (t_s, _), speed, lead in zip(shown, found, lead_s, strict=True)]
    return haste + cost[rows, best] + np.array(density), np.array([t_s[0] for t_s, _ in shown]) - lead_s


def _haste(t_s: Array, angle_rad: Array, rest: _Rest, model: Model) -> float:
    """The wheel stood still less than a spacing before the first edge: it cannot be fast already."""
    speed = float(angle_rad[1] - angle_rad[0]) / max(float(t_s[1] - t_s[0]), 1e-5)
    usual = rest.hardest * model.usual_accel_rad_s2
    needed = speed**2 / (2.0 * model.spacing_rad * usual)
    return float((max(np.log(abs(needed) / _FAST), 0.0) / _FAST_SPREAD) ** 2)


def _speeds(t_s: Array, angle_rad: Array) -> Array:
    """How fast the wheel passes the edges, as the gaps on either side have it."""
    gaps = np.maximum(np.diff(t_s), 1e-5)
    speed = np.abs(np.diff(angle_rad)) / gaps
    passing: Array = 0.5 * (np.append(speed, speed[-1:]) + np.append(speed[:1], speed))
    return np.maximum(passing, 1.0)


def _density(t_s: Array, speed: Array, lead_s: float) -> float:
    """What turns densities of the edges' angles into densities of times, as −2·log, where the wheel set off ``lead_s``
    before the first one."""
    first = speed[0] * lead_s / (lead_s + 0.5 * max(float(t_s[1] - t_s[0]), 1e-5))
    return -2.0 * float(np.log(np.append(max(first, LEAST_SPEED_RAD_S), speed[1:])).sum())
