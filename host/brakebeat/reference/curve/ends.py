"""Where each stroke begins and ends: the instants at which the fitted speed is zero, and the angles there."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from brakebeat.reference.curve.coming import RISES_S, Habit
from brakebeat.reference.curve.fit import Fit
from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.side import RISE_S
from brakebeat.reference.turnaround.start import (
    LONGEST_LEAD_S,
    Prior,
    set_off_earlier,
    start_from_rest,
    stood_near,
)

_SCAN_S = 0.0005
# Edges (of six magnets; more by the root of their number) that tell a start from rest, over which the jerk is a
# small part of what the whole recording shows.
_EDGES_FROM_REST = 14
_CALM = 1.0 / 60.0
# ... unless pulls do not come that evenly: how rough, how many times as much the pull goes on to change as the
# session's manner has it, and −2·log prior odds.
_PULLED = ((_CALM, 1.0, 0.0), (0.1, 1.0, 2.0), (1.0, 1.0, 4.0), (_CALM, 4.0, 2.0))
# A brake may be calmer still, and rougher where it comes at the last moment, at −2·log odds.
_ROUGH = ((0.1 * _CALM, 0.0), (_CALM, 0.0), (0.1, 1.0), (1.0, 2.0), (10.0, 4.0))
# ... or still build up: so many times as fast as the session's turnarounds have it, and at any stage of that.
_BUILDING, _ANY_STAGE, _BUILDING_COST = 12.0, 3.0, 2.0
# So many times the usual deceleration, give or take (in its logarithm).
_HARDER, _HARDER_SPREAD = (1.0, 2.0, 4.0, 8.0), 1.0
# How a brake ends shows on no edge: the end of a stroke before a rest is in doubt by that, too.
_LAST_MOMENT_SD_S = 0.004
# Shorter rests are hardly known for rests.
_REST_S = 0.1
# From then on the wheel need not be where it came to rest.
_LONG_REST_S = 5.0
_SLOW = 2.5
# With one magnet a wheel already in motion at its first edge may have turned too far for a rep of the rest to be one;
# with more, at most a magnet was missed.
_SPARSE_RAD = 1.5 * math.pi
# It is likelier beforehand that a recording begins at rest, at −2·log odds.
_AT_REST_COST = -2.0


@dataclass(frozen=True)
class End:
    """One end of a stroke, in the chain's time.

    ``t_s``, ``angle_rad`` (in the chain's frame) with standard deviations; ``known`` is False where the wheel was
    still turning at the outermost edge and does not come to rest before another edge would have to show.
    """

    t_s: float
    angle_rad: float
    t_sd_s: float
    angle_sd_rad: float
    known: bool


@dataclass(frozen=True)
class Stroke:
    """A stroke of one sense with both its ends; ``delay_s`` leads from the chain's time to the recording's.

    ``lag_s``: so much before the spline's own beginning the wheel really set off.
    """

    fit: Fit
    sense: int
    begin: End
    finish: End
    delay_s: float
    lag_s: float
    edges: slice

    def along(self, t_s: Array, derivative: int = 0) -> Array:
        """Angle (from the frame's 0) or a derivative along the turning, at times of the chain."""
        return self.sense * self.fit.value(t_s, derivative)


def locate_strokes(fit: Fit, habit: Habit) -> list[Stroke]:
    """Both ends of every stroke of a chain, in order.

    Args:
        habit: how pulls come in the session.
    """
    chain = fit.chain
    found: list[Stroke] = []
    begin = _outer_end(fit, habit, before=True)
    for number in range(len(chain.runs)):
        last = number + 1 == len(chain.runs)
        turned = _outer_end(fit, habit, before=False) if last else _inner_end(fit, number)
        finish = turned if last else _before_rest(turned, fit, number, habit)
        found.append(_stroke(fit, number, begin, finish))
        begin = turned if last else _after_turn(turned, fit, number, habit)
    return found


def _stroke(fit: Fit, number: int, begin: End, finish: End) -> Stroke:
    chain = fit.chain
    edges, lag_s = chain.slices[number], chain.lag_s(number)
    if begin.t_s >= finish.t_s:
        # All its edges lie within the time that a pull takes to grow: there is no more to know of its beginning.
        begin, lag_s = replace(begin, t_s=float(chain.t_s[edges.start])), 0.0
    return Stroke(fit, chain.runs[number].sense, begin, finish, chain.delay_s[number], lag_s, edges)


def parted(chains: list[list[Stroke]]) -> list[list[Stroke]]:
    """The strokes of chains that follow each other, so that none begins before the one before it has ended.

    Each chain places its outermost ends by its own edges alone; where two run into each other they meet halfway,
    between the edges on either side.
    """
    result = [list(chain) for chain in chains]
    for before, after in itertools.pairwise(result):
        if before and after:
            before[-1], after[0] = _met(before[-1], after[0])
    return result


def _met(before: Stroke, after: Stroke) -> tuple[Stroke, Stroke]:
    finish, begin = before.finish.t_s + before.delay_s, after.begin.t_s - after.lag_s + after.delay_s
    if finish <= begin:
        return before, after
    last = float(before.fit.chain.t_s[before.edges.stop - 1]) + before.delay_s
    first = float(after.fit.chain.t_s[after.edges.start]) + after.delay_s
    met = float(np.clip(0.5 * (finish + begin), last, max(first, last)))
    return (
        replace(before, finish=_moved(before, before.finish, met)),
        replace(after, begin=_moved(after, after.begin, met), lag_s=0.0),
    )


def _moved(stroke: Stroke, end: End, met_s: float) -> End:
    """The end moved to a time on the recording's clock, with what that moved it by in its doubt."""
    t_s = met_s - stroke.delay_s
    angle = float(stroke.fit.value(np.array([t_s]))[0])
    return replace(end, t_s=t_s, angle_rad=angle, t_sd_s=float(np.hypot(end.t_sd_s, t_s - end.t_s)))


def _before_rest(turned: End, fit: Fit, number: int, habit: Habit) -> End:
    """The end of stroke ``number``: before a rest it is told as well by what comes before alone, over more edges than
    the turnaround is, on which a brake is steady."""
    if fit.chain.turnings[number].rest_s < _REST_S:
        return turned
    alone = _sharpened(fit, turned, number, habit, before=False)
    doubt = _root_of_squares(turned.t_sd_s, _LAST_MOMENT_SD_S)
    return _between(replace(turned, t_sd_s=doubt), alone, doubt**2 / (doubt**2 + alone.t_sd_s**2))


def _set_off(begin: End, habit: Habit) -> End:
    """A beginning out of a rest, told as if the pull came in the usual time, as it really comes."""
    moved = begin.t_s + 0.5 * RISE_S - habit.lag_s
    return replace(begin, t_s=moved, t_sd_s=math.hypot(begin.t_sd_s, habit.lag_sd_s))


def _after_turn(finish: End, fit: Fit, number: int, habit: Habit) -> End:
    """The next stroke's beginning: the same point of the chain, the rest's own doubt on top.

    After a rest it is told as well by what follows alone; after a long one by that only: someone may have touched the
    wheel.
    """
    turning = fit.chain.turnings[number]
    doubt = _root_of_squares(finish.t_sd_s, turning.rest_sd_s, turning.misread_rest_sd_s)
    begin = replace(finish, t_sd_s=doubt)
    if turning.rest_s == 0.0:
        return begin
    begin = _set_off(begin, habit)
    if turning.rest_s >= _REST_S:
        alone = _sharpened(fit, begin, number + 1, habit, before=True)
        begin = alone if turning.rest_s >= _LONG_REST_S else _between(begin, alone, 0.5)
    return begin


def _between(one: End, other: End, share: float) -> End:
    """Two placings of the same end, the second with its share of the mean; what they differ by is in its doubt."""
    variance = (1.0 - share) * one.t_sd_s**2 + share * other.t_sd_s**2
    variance += share * (1.0 - share) * (other.t_s - one.t_s) ** 2
    return replace(one, t_s=(1.0 - share) * one.t_s + share * other.t_s, t_sd_s=math.sqrt(variance))


def _inner_end(fit: Fit, number: int) -> End:
    """The turnaround after stroke ``number``, at the time that its edges' likelihood gave."""
    turning = fit.chain.turnings[number]
    t_s = turning.vertex_s - fit.chain.delay_s[number]
    angle = float(fit.value(np.array([t_s]))[0])
    doubt = float(np.hypot(turning.vertex_sd_s, turning.misread_sd_s))
    return End(t_s, angle, doubt, float(fit.spread([(t_s, 0)])[0]), True)


def _outer_end(fit: Fit, habit: Habit, *, before: bool) -> End:
    """Standstill before a chain's first edge or after its last."""
    chain = fit.chain
    edge = 0 if before else len(chain.t_s) - 1
    sense, t_edge = int(chain.sense[edge]), float(chain.t_s[edge])
    outward = -1.0 if before else 1.0
    span = chain.grid.end_s - t_edge
    if before:
        # A pull may take some times as long as usual for the way to its first edge, which is far with few magnets:
        # beyond its grid the spline goes on as it is.
        usual_s = math.sqrt(2.0 * fit.spacing_rad / fit.usual_accel_rad_s2)
        span = float(np.clip(_SLOW * usual_s, t_edge - chain.grid.start_s, LONGEST_LEAD_S))
    t = t_edge + outward * np.arange(0.0, span, _SCAN_S)
    speed = sense * fit.value(t, 1)
    stops = np.flatnonzero(speed <= 0.0)
    if not len(stops):
        return _or_rest(fit, _end(fit, float(t[-1]), False), habit, before=before)
    at = int(stops[0])
    t_stop = float(t[at])
    if at:
        t_stop -= outward * _SCAN_S * float(speed[at] / (speed[at] - speed[at - 1]))
    end = _end(fit, t_stop, True)
    travelled = abs(end.angle_rad - float(fit.value(np.array([t_edge]))[0]))
    known = travelled < 2.2 * fit.spacing_rad + 3.0 * end.angle_sd_rad + 0.1
    if before and known and fit.spacing_rad > _SPARSE_RAD:
        earlier = set_off_earlier(_setting_off(fit, habit)[0], *_beside_rest(fit, 0, before=True))
        known = earlier + _AT_REST_COST <= 0.0
    run = 0 if before else len(chain.runs) - 1
    if known:
        return _sharpened(fit, end, run, habit, before=before)
    return _or_rest(fit, replace(end, known=False), habit, before=before)


def _or_rest(fit: Fit, end: End, habit: Habit, *, before: bool) -> End:
    """A chain's beginning where the spline finds none near enough: a pull far harder at first than once the wheel
    is fast leads it astray. By the vertex model it may have one."""
    if not before or fit.spacing_rad > _SPARSE_RAD:
        return end
    if not stood_near(_setting_off(fit, habit), *_beside_rest(fit, 0, before=True)):
        return end
    return _sharpened(fit, end, 0, habit, before=True)


def _sharpened(fit: Fit, end: End, number: int, habit: Habit, *, before: bool) -> End:
    """The end of stroke ``number`` with its time from the vertex model, which knows how a wheel leaves rest and comes
    to it."""
    chain, run = fit.chain, fit.chain.runs[number]
    priors = _setting_off(fit, habit) if before else _stopping(fit, habit)
    t_s, spread = start_from_rest(priors, *_beside_rest(fit, number, before=before), rises=before)
    t_s = t_s + chain.lag_s(number) if before else -t_s
    misread = run.begin_misread_sd_s if before else run.end_misread_sd_s
    angle_rad = float(fit.value(np.array([t_s]))[0])
    return End(t_s, angle_rad, math.hypot(spread, misread), end.angle_sd_rad, True)


def _beside_rest(fit: Fit, number: int, *, before: bool) -> tuple[Array, Array, Array]:
    """Times of the edges of stroke ``number`` next to a rest, the nearest first (played backwards where the rest comes
    behind them), their ways from it, and their angles' standard deviations."""
    chain = fit.chain
    edges = chain.slices[number]
    most = int(_EDGES_FROM_REST * max(2.0 * np.pi / fit.spacing_rad / 6.0, 1.0) ** 0.5)
    count = min(most, edges.stop - edges.start)
    part = slice(edges.start, edges.start + count) if before else slice(edges.stop - count, edges.stop)
    t, angle = chain.t_s[part], fit.angle_rad[part]
    sigma = fit.noise.sigma(fit.speed_rad_s[part])
    if not before:
        t, angle, sigma = -t[::-1], angle[::-1], sigma[::-1]
    return t, np.abs(angle - angle[0]), sigma


def _root_of_squares(*doubts: float) -> float:
    return math.sqrt(sum(doubt * doubt for doubt in doubts))


def _setting_off(fit: Fit, habit: Habit) -> list[Prior]:
    """How a pull may begin: at once or slowly, and go on evenly or not; the likeliest way beforehand comes first."""
    chances = sorted(zip(habit.chance, RISES_S, strict=True), reverse=True)
    return [
        Prior(
            fit.noise.jerk_density * rough,
            fit.usual_accel_rad_s2,
            fit.spacing_rad,
            cost - 2.0 * math.log(chance),
            replace(habit.manner, steady_per_s=habit.manner.steady_per_s * livelier),
            rise_s,
        )
        for rough, livelier, cost in _PULLED
        for chance, rise_s in chances
    ]


def _stopping(fit: Fit, habit: Habit) -> list[Prior]:
    """How a brake may end: calmly or not, about as hard as usual or, at the last moment, far harder; or while it still
    builds up."""
    building = replace(
        habit.manner,
        steady_per_s=habit.manner.steady_per_s * _BUILDING,
        spread=habit.manner.spread * _ANY_STAGE,
    )
    priors = [
        Prior(
            fit.noise.jerk_density * rough,
            fit.usual_accel_rad_s2 * harder,
            fit.spacing_rad,
            unlikely + (np.log(harder) / _HARDER_SPREAD) ** 2,
            habit.manner,
        )
        for rough, unlikely in _ROUGH
        for harder in _HARDER
    ]
    return priors + [
        replace(prior, cost=prior.cost + _BUILDING_COST, manner=building) for prior in priors[:: len(_HARDER)]
    ]


def _end(fit: Fit, t_s: float, known: bool) -> End:
    """The end at ``t_s`` with its uncertainty: δt = −δω/α."""
    spread = fit.spread([(t_s, 0), (t_s, 1)])
    at = np.array([t_s])
    accel = float(fit.value(at, 2)[0])
    return End(
        t_s, float(fit.value(at)[0]), float(spread[1]) / max(abs(accel), 1e-3), float(spread[0]), known
    )


def sampled(stroke: Stroke, step_s: float) -> tuple[Array, Array, Array]:
    """Time in the chain, angle along the turning (from the frame's 0) and speed along it, on an even grid."""
    count = max(int(np.ceil((stroke.finish.t_s - stroke.begin.t_s) / step_s)), 2) + 1
    t = np.linspace(stroke.begin.t_s, stroke.finish.t_s, count)
    return t, stroke.along(t), np.maximum(stroke.along(t, 1), 0.0)
