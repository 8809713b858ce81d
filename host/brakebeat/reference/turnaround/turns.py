"""What happened at each turnaround: which edges are real, which magnets were seen twice, did the wheel stand still.

All is settled by the likelihood of the edges on either side under the same spline model as the joint fit. A rest
is a stretch of time cut out of the record: without it angle, speed and sense run on smoothly through the vertex.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.turnaround.questions import as_counted, questioned
from brakebeat.reference.turnaround.reading import Model, Nearby, Reading, Verdict
from brakebeat.reference.turnaround.readings import Readings

# Real edges looked at on either side: beyond them nothing depends on the turnaround.
NEAR = 7
# A reading this much better than the next and without a bad misfit is not called into question.
_CLEAR = 25.0
_SETTLED = 60.0
_STRANGE = 0.7
# So much misfit for each edge says that the motion is rougher here than elsewhere, by a factor; so does a reading for
# which so many edges that had been read as real are faults: without them any motion is smooth.
_ODD = 3.0
_GIVEN_UP = 3
# What may be otherwise than the model has it: the jerk's density and the acceleration, by these factors.
_CHANGES = ((3.0, 3.0), (10.0, 3.0), (30.0, 1.0), (100.0, 8.0), (1000.0, 1.0))
_CALMER = (0.1, 1.0)
# So many readings that look best at a glance are weighed exactly.
_CLOSER = 5
# Where the next best reading is no worse than this, so many of them lead to others, so many times.
_UNCLEAR = 12.0
_BEAM, _DEEPER = 3, 4


@dataclass(frozen=True)
class Turning:
    """A verdict on a turnaround.

    ``way``: spacings that the first edge after it lies back from the last before. ``rest_s`` with its doubt;
    ``vertex_s``: when the wheel stands, on the edges' clock. ``near`` tells which edges are real, how they
    are spaced, how many lie before. ``clear``: by how much −2·log likelihood the next best reading is worse.
    ``misread_sd_s`` and ``misread_rest_sd_s``: how far off vertex and rest may be since another reading may be the
    right one.
    """

    way: int
    rest_s: float
    rest_sd_s: float
    vertex_s: float
    vertex_sd_s: float
    near: Nearby
    cost: float
    clear: float
    misread_sd_s: float = 0.0
    misread_rest_sd_s: float = 0.0


@dataclass(frozen=True)
class _Found:
    """Readings of a turnaround with their verdicts, the likeliest first."""

    readings: list[Reading]
    verdicts: list[Verdict]
    settled: float = math.inf

    @property
    def verdict(self) -> Verdict:
        """Of the likeliest reading."""
        return self.verdicts[0]

    @property
    def clear(self) -> float:
        """By how much the next best reading is worse."""
        gap = self.verdicts[1].cost - self.verdicts[0].cost if len(self.verdicts) > 1 else math.inf
        return min(gap, self.settled)

    @property
    def doubtful(self) -> bool:
        """Whether the readings so far do not convince."""
        # Next to a rest a stray edge finds some course that leads there.
        return self.clear < _CLEAR or self.strange or self.verdict.rest_s > 0.0

    @property
    def strange(self) -> bool:
        """Whether even the best reading leaves about as much misfit as noise explains: a right one leaves less, since
        the vertex adapts to it."""
        return self._misfits(_STRANGE)

    def odd(self, near: Nearby) -> bool:
        """Whether the motion may be rougher here than the model has it; ``near``: the edges as first read."""
        given_up = near.used & ~self.readings[0].near.used
        return self._misfits(_ODD) or int(given_up.sum()) >= _GIVEN_UP

    def _misfits(self, share: float) -> bool:
        return self.verdict.misfit >= share * float(self.readings[0].near.used.sum())

    def and_others(self, other: _Found) -> _Found:
        """These readings and others, each once, the likeliest few."""
        told = {}
        for found in (other, self):
            for reading, verdict in zip(found.readings, found.verdicts, strict=True):
                told[reading.key] = (reading, verdict)
        best = sorted(told.values(), key=lambda each: each[1].cost)[:_CLOSER]
        return _Found([reading for reading, _ in best], [verdict for _, verdict in best], self.settled)

    def turning(self) -> Turning:
        """The verdict in full: what other readings say counts by how likely they are."""
        verdict, reading = self.verdict, self.readings[0]
        cost = np.array([each.cost for each in self.verdicts])
        weight = np.exp(-0.5 * (cost - cost[0]))
        weight /= weight.sum()
        vertex = np.array([each.vertex_s for each in self.verdicts]) - verdict.vertex_s
        rest = np.array([each.rest_s for each in self.verdicts]) - verdict.rest_s
        return Turning(
            reading.way,
            verdict.rest_s,
            verdict.rest_sd_s,
            verdict.vertex_s,
            verdict.vertex_sd_s,
            reading.near,
            verdict.cost,
            self.clear,
            math.sqrt(float(weight @ vertex**2)),
            math.sqrt(float(weight @ rest**2)),
        )


def resolve(
    models: Sequence[Model], nears: Sequence[Nearby], settled: Sequence[Turning | None]
) -> list[Turning]:
    """The likeliest reading of the edges around each turnaround.

    Args:
        settled: earlier verdicts for the same edges; one beyond question is only weighed anew.
    """
    found: dict[int, _Found] = {}
    sure = [at for at, earlier in enumerate(settled) if earlier is not None and earlier.clear > _SETTLED]
    again = [Reading(models[at], nears[at], _way(settled[at])) for at in sure]
    for at, reading, verdict in zip(sure, again, _judged(again), strict=True):
        weighed = _Found([reading], [verdict], _clear(settled[at]))
        if not weighed.strange:
            found[at] = weighed
    left = [at for at in range(len(nears)) if at not in found]
    for at, best in zip(left, _likeliest([(models[at], nears[at]) for at in left]), strict=True):
        found[at] = best
    # A brake that comes at the last moment jerks far more than the rest of the record, and is far harder.
    odd = [at for at in left if found[at].odd(nears[at])]
    cases = [(at, (_changed(_rough(models[at]), change), nears[at])) for at in odd for change in _CHANGES]
    for (at, _), other in zip(cases, _likeliest([case for _, case in cases]), strict=True):
        if other.verdict.cost < found[at].verdict.cost:
            found[at] = other
    return [found[at].turning() for at in range(len(nears))]


def _way(earlier: Turning | None) -> int:
    return 0 if earlier is None else earlier.way


def _clear(earlier: Turning | None) -> float:
    return 0.0 if earlier is None else earlier.clear


def _rough(model: Model) -> Model:
    """As rough as the recording's bursts of jerk at least, however calm its turnarounds are."""
    manner = dataclasses.replace(model.manner, rough=max(model.manner.rough, 1.0))
    return dataclasses.replace(model, manner=manner)


def _changed(model: Model, by: tuple[float, float]) -> Model:
    rougher, harder = by
    noise = dataclasses.replace(model.noise, jerk_density=rougher * model.noise.jerk_density)
    return dataclasses.replace(model, noise=noise, usual_accel_rad_s2=harder * model.usual_accel_rad_s2)


def _judged(readings: list[Reading]) -> list[Verdict]:
    if not readings:
        return []
    verdicts = Readings(readings).judge(np.arange(len(readings)))
    return [verdicts[at] for at in range(len(readings))]


def _likeliest(cases: list[tuple[Model, Nearby]]) -> list[_Found]:
    """The best readings at given scales, those that call edges into question only where the others do not convince."""
    found = _best([[Reading(model, near, way) for near, way in as_counted(near)] for model, near in cases])
    # Where the edges were counted, none of them is a fault, and none was missed.
    doubtful = [at for at, best in enumerate(found) if best.doubtful and cases[at][1].way is None]
    asked = [[Reading(cases[at][0], near, way) for near, way in questioned(cases[at][1])] for at in doubtful]
    _ask(found, doubtful, asked)
    led = {at: {Reading(*cases[at], 0).edges} for at in doubtful}
    for _ in range(_DEEPER):
        # More than one fault at once: what the likeliest readings so far lead to.
        doubtful = [at for at in doubtful if found[at].clear < _UNCLEAR or found[at].strange]
        asked = [_led_to(found[at], led[at]) for at in doubtful]
        _ask(found, doubtful, asked)
    unclear = [at for at, best in enumerate(found) if best.clear < _UNCLEAR]
    for at, calmer in zip(unclear, _calmer([found[at] for at in unclear]), strict=True):
        found[at] = calmer
    return found


def _calmer(found: list[_Found]) -> list[_Found]:
    """The same readings where the motion may as well be far calmer here than elsewhere."""
    readings = [
        dataclasses.replace(reading, model=_changed(reading.model, _CALMER))
        for each in found
        for reading in each.readings
    ]
    verdicts = iter(_judged(readings))
    told = []
    for each in found:
        either = [_either(verdict, next(verdicts)) for verdict in each.verdicts]
        order = np.argsort([verdict.cost for verdict in either], kind="stable").tolist()
        told.append(_Found([each.readings[at] for at in order], [either[at] for at in order], each.settled))
    return told


def _either(one: Verdict, other: Verdict) -> Verdict:
    """The likelier of two verdicts, at the cost of either of two that are as likely beforehand."""
    best = min(one, other, key=lambda each: each.cost)
    apart = abs(one.cost - other.cost)
    if not math.isfinite(apart):
        return best
    return dataclasses.replace(best, cost=best.cost - 2.0 * math.log(0.5 * (1.0 + math.exp(-0.5 * apart))))


def _led_to(found: _Found, led: set[Hashable]) -> list[Reading]:
    """Readings that differ in one more thing from the likeliest ones, each once.

    Args:
        led: edges as read that have led to others already; these are added.
    """
    known = {reading.key for reading in found.readings}
    new: dict[Hashable, Reading] = {}
    for reading in found.readings[:_BEAM]:
        if reading.edges in led:
            continue
        led.add(reading.edges)
        for near, way in questioned(reading.near):
            other = Reading(reading.model, near, way)
            if other.key not in known:
                new[other.key] = other
    return list(new.values())


def _ask(found: list[_Found], numbers: list[int], asked: list[list[Reading]]) -> None:
    """Weigh more readings of some turnarounds."""
    told = [(at, readings) for at, readings in zip(numbers, asked, strict=True) if readings]
    for (at, _), other in zip(told, _best([readings for _, readings in told]), strict=True):
        found[at] = found[at].and_others(other)


def _best(cases: list[list[Reading]]) -> list[_Found]:
    """Of each case's readings the likeliest few."""
    if not cases:
        return []
    readings = Readings([reading for case in cases for reading in case])
    guess = readings.guess()
    ends = np.cumsum([len(case) for case in cases])
    closer = []
    for case, end in zip(cases, ends, strict=True):
        start = int(end) - len(case)
        closer.append(start + np.argsort(guess[start:end], kind="stable")[:_CLOSER])
    verdicts = readings.judge(np.concatenate(closer))
    return [_first(readings, [(verdicts[at], at) for at in chosen.tolist()]) for chosen in closer]


def _first(readings: Readings, told: list[tuple[Verdict, int]]) -> _Found:
    told.sort(key=lambda each: each[0].cost)
    return _Found([readings.readings[at] for _, at in told], [verdict for verdict, _ in told])
