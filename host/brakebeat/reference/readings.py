"""What it costs to believe readings of the edges around turnarounds; all of a recording's are weighed at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brakebeat.reference.layout import Layout
from brakebeat.reference.likelihood import REACH_RAD
from brakebeat.reference.meeting import Met, met
from brakebeat.reference.reading import Reading, Verdict
from brakebeat.reference.side import COMING_S, finer_grid, listen
from brakebeat.reference.spline import Array, Integers

# The longest that a turning wheel may take between two magnets.
LONGEST_S = 2.5
# −2·log chance of a graze that still gives its edge.
_GRAZE_COST = 1.4
# A wheel may take so many times as long as usual from a magnet to standstill, give or take (in its logarithm).
_SLOW, _SLOW_SPREAD = 2.0, 0.35
_REST_COST = 1.0
_REST_SCALE_S = 0.02
# A shorter rest than this is none: the fit through it costs less than telling it apart.
LEAST_REST_S = 0.015
_LEAST_ROOM_S = 0.012
# A brake has to let go and a pull to come anew around a rest, which muscles take some time for (common experience, no
# source): shorter rests get less and less likely. Since a pull that merely comes slowly looks like one, all ways for it
# to come are weighed against a rest of up to so much.
_QUICK_S, _QUICK_SPREAD = 0.05, 0.5
_DOUBTFUL_REST_S = 0.1
# Edges known to a microsecond leave so narrow a valley that a coarse grid would miss it: it is widened at first.
_GLANCE_RAD = 0.015
_GLANCE = 10
_STRAIGHT, _STRAIGHT_BLUR_RAD = (18, 9, 9, 9), (0.01, 0.002, 0.0, 0.0)
# With a rest the valley runs aslant, since a wheel that turns later has further to go either way: its grids get finer
# more slowly, so as not to lose it.
_RESTED, _RESTED_BLUR_RAD = (20, 15, 15, 15, 15, 15, 15), (0.04, 0.02, 0.01, 0.004, 0.001, 0.0, 0.0)
_RESTED_BESIDE = 3
_BESIDE_S = 0.002
# Neither coming to rest nor setting off takes less of the time that the wheel moves unseen.
_LEAST_SHARE = 0.05


class Readings:
    """Readings (r,) of edges around turnarounds, each with its own model.

    The wheel stood some time after the last edge before the turnaround, and some time before the first edge after
    it: ``before_s`` and ``after_s`` below; what they leave of the gap was a rest.
    """

    def __init__(self, readings: Sequence[Reading]) -> None:
        self.readings = readings
        self._layout = Layout(readings)
        self._gap = self._layout.gap_s
        self._room = np.minimum(self._gap - LEAST_REST_S, LONGEST_S)

    def guess(self) -> Array:
        """A rough cost (r,), with or without a rest, to tell which readings deserve a closer look."""
        cost = np.full(len(self.readings), math.inf)
        short = np.flatnonzero(self._gap < LONGEST_S)
        if len(short):
            share = np.linspace(0.05, 0.95, _GLANCE)
            gap = np.maximum(self._gap[short, None], 1e-6)
            cost[short] = self._straight(short, share * gap, _GLANCE_RAD)[0].min(axis=1)
        roomy = np.flatnonzero(self._room > _LEAST_ROOM_S)
        if len(roomy):
            grid = self._unseen_grid(roomy, _GLANCE)
            rested = self._rested(roomy, grid, grid, _GLANCE_RAD)[0].min(axis=(1, 2)) + _REST_COST
            cost[roomy] = np.minimum(cost[roomy], rested)
        half = 0.5 * np.minimum(np.maximum(self._gap, 1e-6), LONGEST_S)
        guessed: Array = cost + self._layout.fixed
        guessed += self._layout.density_cost(np.arange(len(cost)), np.column_stack([half, half]))
        return guessed

    def judge(self, which: Integers) -> dict[int, Verdict]:
        """The best vertex of some readings, with a rest if that explains the edges better."""
        verdicts = self.straight(which)
        roomy = which[self._room[which] >= _LEAST_ROOM_S]
        if len(roomy):
            doubtful = []
            for number, rested in zip(roomy.tolist(), self._with_rests(roomy), strict=True):
                if rested.cost < verdicts[number].cost:
                    verdicts[number] = rested
                    if rested.rest_s < _DOUBTFUL_REST_S:
                        doubtful.append(number)
            for number, straight in zip(doubtful, self._however_it_comes(doubtful), strict=True):
                if straight.cost < verdicts[number].cost:
                    verdicts[number] = straight
        return verdicts

    def _however_it_comes(self, which: Sequence[int]) -> list[Verdict]:
        """The best vertex without a rest, at the cost of a pull that may come in any of the usual times."""
        if not which:
            return []
        coming = [replace(self.readings[number], change_s=each) for number in which for each in COMING_S]
        verdicts = list(Readings(coming).straight(np.arange(len(coming))).values())
        return [_any_of(verdicts[at : at + len(COMING_S)]) for at in range(0, len(verdicts), len(COMING_S))]

    def straight(self, which: Integers) -> dict[int, Verdict]:
        """The best vertex of some readings without a rest; infinitely dear where the gap is too long to be without
        one."""
        verdicts = {
            number: Verdict(math.inf, math.inf, float(self._layout.last_s[number]))
            for number in which.tolist()
        }
        short = which[self._gap[which] <= LONGEST_S]
        if not len(short):
            return verdicts
        gap = np.maximum(self._gap[short, None], 1e-6)
        before = gap * np.linspace(0.02, 0.98, _STRAIGHT[0])
        cost, found = self._straight(short, before, _STRAIGHT_BLUR_RAD[0])
        for count, blur in zip(_STRAIGHT[1:], _STRAIGHT_BLUR_RAD[1:], strict=True):
            before = finer_grid(before, cost, count)
            cost, found = self._straight(short, before, blur)
        at = (np.arange(len(short)), cost.argmin(axis=1))
        spread = self._straight_spread(short, before[at])
        total = cost[at] + self._layout.fixed[short] + self._unseen_cost(short, found.level_rad[at])
        total += self._layout.density_cost(
            short, np.column_stack([before[at], self._gap[short] - before[at]])
        )
        vertex = self._layout.last_s[short] + before[at]
        columns = (total, found.misfit[at], vertex, spread)
        for number, told in zip(
            short.tolist(), zip(*(c.tolist() for c in columns), strict=True), strict=True
        ):
            verdicts[number] = Verdict(*told)
        return verdicts

    def _straight_spread(self, which: Integers, before_s: Array) -> Array:
        beside = before_s[:, None] + np.array([-_BESIDE_S, 0.0, _BESIDE_S])
        return _spread(self._straight(which, beside)[0], _BESIDE_S, 0.1)

    def _with_rests(self, which: Integers) -> list[Verdict]:
        """The best vertex of readings that have room for a rest."""
        before = after = self._unseen_grid(which, _RESTED[0])
        cost, found = self._rested(which, before, after, _RESTED_BLUR_RAD[0])
        for count, blur in zip(_RESTED[1:], _RESTED_BLUR_RAD[1:], strict=True):
            nearer = (
                finer_grid(before, cost.min(axis=2), count, _RESTED_BESIDE),
                finer_grid(after, cost.min(axis=1), count, _RESTED_BESIDE),
            )
            before, after = nearer
            cost, found = self._rested(which, before, after, blur)
        flat = cost.reshape(len(which), -1).argmin(axis=1)
        at = (np.arange(len(which)), flat // cost.shape[2], flat % cost.shape[2])
        u, w = before[at[0], at[1]], after[at[0], at[2]]
        rest = self._gap[which] - u - w
        rest_spread = self._rest_spread(which, u, w)
        total = (
            cost[at] + self._layout.fixed[which] + self._unseen_cost(which, found.level_rad[at]) + _REST_COST
        )
        total += self._layout.density_cost(which, np.column_stack([u, w]))
        doubt = np.minimum(np.maximum(rest_spread, 1e-3), rest + _REST_SCALE_S)
        total += 2.0 * np.log((rest + _REST_SCALE_S) / doubt)
        total += (np.maximum(np.log(_QUICK_S / np.maximum(rest, LEAST_REST_S)), 0.0) / _QUICK_SPREAD) ** 2
        spread = self._vertex_spread(which, u, w)
        columns = (total, found.misfit[at], self._layout.last_s[which] + u, spread, rest, rest_spread)
        return [Verdict(*told) for told in zip(*(column.tolist() for column in columns), strict=True)]

    def _vertex_spread(self, which: Integers, before_s: Array, after_s: Array) -> Array:
        """Standard deviation of the vertex's time at a given rest, from how the cost curves there."""
        beside = np.array([-_BESIDE_S, 0.0, _BESIDE_S])
        cost = self._paired(which, before_s[:, None] + beside, after_s[:, None] - beside)
        return _spread(cost, _BESIDE_S, 0.1)

    def _rest_spread(self, which: Integers, before_s: Array, after_s: Array) -> Array:
        """Standard deviation of the rest, from how the cost curves along it, at each the best vertex."""
        side = 0.005
        moving = (before_s + after_s)[:, None, None] + np.array([-side, 0.0, side])[:, None]
        share = (before_s / (before_s + after_s))[:, None, None] + np.linspace(-0.12, 0.12, 15)
        share = np.clip(share, 0.0, 1.0)
        moving = np.maximum(moving, 1e-3)
        u, w = share * moving, (1.0 - share) * moving
        cost = self._paired(which, u.reshape(len(which), -1), w.reshape(len(which), -1))
        return _spread(cost.reshape(len(which), 3, -1).min(axis=2), side, 0.05)

    def _unseen_grid(self, which: Integers, count: int) -> Array:
        """Times from a magnet to standstill, (r, count), where there was a rest."""
        room = self._room[which, None]
        grid: Array = 0.003 * (np.maximum(0.99 * room - 0.003, 1e-3) / 0.003) ** np.linspace(0.0, 1.0, count)
        return grid

    def _straight(self, which: Integers, before_s: Array, blur_rad: float = 0.0) -> tuple[Array, Met]:
        """Costs of turning straight round at (r, k) after the last edge before."""
        after_s = self._gap[which, None] - before_s
        before = listen(self._layout.before.part(which), before_s, blur_rad)
        after = listen(self._layout.after.part(which), after_s, blur_rad)
        found = met(
            before,
            after,
            self._layout.spacing_rad[which, None],
            self._layout.shift_sd_rad[which, None],
            rested=False,
        )
        return found.cost + self._idle(which, before_s) + self._idle(which, after_s), found

    def _rested(self, which: Integers, before_s: Array, after_s: Array, blur_rad: float) -> tuple[Array, Met]:
        """Costs (r, k, l) of turning ``before_s`` (r, k) after an edge and resting until ``after_s`` (r, l) before."""
        before = listen(self._layout.before.part(which), before_s, blur_rad).spread_over(2)
        after = listen(self._layout.after_rest.part(which), after_s, blur_rad).spread_over(1)
        spacing, shift = (
            self._layout.spacing_rad[which, None, None],
            self._layout.shift_sd_rad[which, None, None],
        )
        found = met(before, after, spacing, shift, rested=True)
        cost = found.cost + self._idle(which, before_s)[:, :, None] + self._idle(which, after_s)[:, None, :]
        moving = before_s[:, :, None] + after_s[:, None, :]
        shorter = np.minimum(before_s[:, :, None], after_s[:, None, :])
        possible = (moving <= self._room[which, None, None]) & (shorter >= _LEAST_SHARE * moving)
        return np.where(possible, cost, 1e300), found

    def _paired(self, which: Integers, before_s: Array, after_s: Array) -> Array:
        """Costs (r, k) of turning with rests."""
        before = listen(self._layout.before.part(which), before_s)
        after = listen(self._layout.after_rest.part(which), after_s)
        found = met(
            before,
            after,
            self._layout.spacing_rad[which, None],
            self._layout.shift_sd_rad[which, None],
            rested=True,
        )
        return found.cost + self._idle(which, before_s) + self._idle(which, after_s)

    def _idle(self, which: Integers, unseen_s: Array) -> Array:
        """Cost of turning on unseen for far longer than a braked or pulled wheel takes from magnet to magnet."""
        usual = np.sqrt(2.0 * self._layout.spacing_rad[which, None] / self._layout.usual_rad_s2[which, None])
        off = np.log(np.maximum(unseen_s, 1e-6) / usual / _SLOW)
        cost: Array = (np.maximum(off, 0.0) / _SLOW_SPREAD) ** 2
        return cost

    def _unseen_cost(self, which: Integers, level_rad: Array) -> Array:
        """Magnets that the wheel must have passed between the edges without their showing."""
        layout = self._layout
        spacing, unseen = layout.spacing_rad[which], layout.unseen_cost[which]
        top = level_rad + layout.top_rad[which]
        cost = np.zeros(len(which))
        for edge in (layout.split[which] - 1, layout.split[which]):
            depth = top - layout.angle_rad[which, edge]
            cost += unseen * np.maximum(np.floor((depth - REACH_RAD) / spacing), 0.0)
            cost += _GRAZE_COST * (depth % spacing < REACH_RAD)
            # The wheel cannot turn before the edge that it has passed.
            cost += 4.0 * np.maximum(-depth / REACH_RAD - 0.5, 0.0)
        return cost


def _any_of(verdicts: Sequence[Verdict]) -> Verdict:
    """The best of verdicts that are as likely beforehand, at what they cost together."""
    best = min(verdicts, key=lambda each: each.cost)
    if not math.isfinite(best.cost):
        return best
    likely = sum(math.exp(0.5 * (best.cost - each.cost)) for each in verdicts) / len(verdicts)
    return replace(best, cost=best.cost - 2.0 * math.log(likely))


def _spread(cost: Array, side_s: float, most_s: float) -> Array:
    """Standard deviations from costs (r, 3) at equal distances."""
    curve = (cost[:, 0] - 2.0 * cost[:, 1] + cost[:, 2]) / side_s**2
    told = curve > 0.0
    spread: Array = np.minimum(np.sqrt(2.0 / np.where(told, curve, 1.0)), most_s)
    return np.where(told, spread, most_s)
