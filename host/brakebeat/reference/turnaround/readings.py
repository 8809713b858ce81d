"""What it costs to believe readings of the edges around turnarounds; all of a recording's are weighed at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround import rested, straight
from brakebeat.reference.turnaround.both_sides import Ear
from brakebeat.reference.turnaround.layout import Layout
from brakebeat.reference.turnaround.reading import Reading, Verdict
from brakebeat.reference.turnaround.rested import LEAST_ROOM_S, LONGEST_S, REST_COST, Rested, room_s
from brakebeat.reference.turnaround.side import COMING_S
from brakebeat.reference.turnaround.straight import Straight

# A pull that merely comes slowly looks like a short rest: all ways for it to come are weighed against a rest of up to
# so much.
_DOUBTFUL_REST_S = 0.1
# At a glance: so many times, with so much more doubt in each edge's angle.
_GLANCE, _GLANCE_RAD = 10, 0.015


class Readings:
    """Readings (r,) of edges around turnarounds, each with its own model."""

    def __init__(self, readings: Sequence[Reading]) -> None:
        self.readings = readings
        self._layout = Layout(readings)
        self._gap = self._layout.gap_s
        self._room = room_s(self._gap)

    def guess(self) -> Array:
        """A rough cost (r,), with or without a rest, to tell which readings deserve a closer look."""
        every = np.arange(len(self.readings))
        ear = Ear(self._layout, every, [_GLANCE_RAD])
        cost = np.full(len(every), math.inf)
        short = np.flatnonzero(self._gap < LONGEST_S)
        if len(short):
            turning = Straight(ear, short)
            cost[short] = turning.cost(turning.spanning(0.05, 0.95, _GLANCE), _GLANCE_RAD)[0].min(axis=1)
        roomy = np.flatnonzero(self._room > LEAST_ROOM_S)
        if len(roomy):
            resting = Rested(ear, roomy)
            grid = resting.spanning(_GLANCE)
            least = resting.cost(grid, grid, _GLANCE_RAD).min(axis=(1, 2)) + REST_COST
            cost[roomy] = np.minimum(cost[roomy], least)
        half = 0.5 * np.minimum(np.maximum(self._gap, 1e-6), LONGEST_S)
        guessed: Array = cost + self._layout.fixed
        guessed += self._layout.density_cost(every, np.column_stack([half, half]))
        return guessed

    def judge(self, which: Integers) -> dict[int, Verdict]:
        """The best vertex of some readings, with a rest if that explains the edges better."""
        ear = Ear(self._layout, which, straight.BLURS_RAD + rested.BLURS_RAD)
        verdicts = self._without_rest(ear)
        roomy = np.flatnonzero(self._room[which] >= LEAST_ROOM_S)
        if len(roomy):
            doubtful = []
            for number, found in zip(which[roomy].tolist(), Rested(ear, roomy).verdicts(), strict=True):
                if found.cost < verdicts[number].cost:
                    verdicts[number] = found
                    if found.rest_s < _DOUBTFUL_REST_S:
                        doubtful.append(number)
            for number, found in zip(doubtful, self._however_it_comes(doubtful), strict=True):
                if found.cost < verdicts[number].cost:
                    verdicts[number] = found
        return verdicts

    def _however_it_comes(self, which: Sequence[int]) -> list[Verdict]:
        """The best vertex without a rest, at the cost of a pull that may come in any of the usual times."""
        if not which:
            return []
        coming = [replace(self.readings[number], coming_s=each) for number in which for each in COMING_S]
        verdicts = list(Readings(coming).straight(np.arange(len(coming))).values())
        return [_any_of(verdicts[at : at + len(COMING_S)]) for at in range(0, len(verdicts), len(COMING_S))]

    def straight(self, which: Integers) -> dict[int, Verdict]:
        """The best vertex of some readings without a rest; infinitely dear where the gap is too long to be without
        one."""
        return self._without_rest(Ear(self._layout, which, straight.BLURS_RAD))

    def _without_rest(self, ear: Ear) -> dict[int, Verdict]:
        verdicts = {
            number: Verdict(math.inf, math.inf, float(self._layout.last_s[number]))
            for number in ear.which.tolist()
        }
        short = np.flatnonzero(self._gap[ear.which] <= LONGEST_S)
        if len(short):
            verdicts.update(zip(ear.which[short].tolist(), Straight(ear, short).verdicts(), strict=True))
        return verdicts


def _any_of(verdicts: Sequence[Verdict]) -> Verdict:
    """The best of verdicts that are as likely beforehand, at what they cost together."""
    best = min(verdicts, key=lambda each: each.cost)
    if not math.isfinite(best.cost):
        return best
    likely = sum(math.exp(0.5 * (best.cost - each.cost)) for each in verdicts) / len(verdicts)
    return replace(best, cost=best.cost - 2.0 * math.log(likely))
