"""When a wheel at rest set off (or, played backwards, came to rest), from the edges next to the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.listener import Listener
from brakebeat.reference.turnaround.meeting import alone
from brakebeat.reference.turnaround.side import RISE_S, USUAL, Manner, Sides, finer_grid

# A wheel passes its first magnet within this after setting off.
LONGEST_LEAD_S = 1.5
_FIRST_LEADS, _FINER = 50, 25
# Fine enough grids, and wide enough ones, that the valley is found whatever the prior: what one costs more than another
# must be no matter of where the grids came to lie.
_BLUR_RAD, _BESIDE = (0.03, 0.01, 0.003, 0.001, 0.0, 0.0), 2
_BESIDE_S = 0.002
_MOST_SD_S = 0.1
# Anywhere within a spacing is as likely.
_EVENLY = 12.0**-0.5
# A wheel that turns already may have come from so many spacings away, at −2·log odds: recordings begin before sets do.
_FAR, _FAR_COST = 30.0, 4.0


@dataclass(frozen=True)
class Prior:
    """Scales of a start: jerk density rad²/s⁵, usual acceleration, the magnets' spacing; −2·log prior odds; how the
    acceleration changes, and within which time a pull grows from nothing."""

    jerk_density: float
    accel_rad_s2: float
    spacing_rad: float
    cost: float = 0.0
    manner: Manner = USUAL
    rise_s: float = RISE_S


@dataclass(frozen=True)
class Starts:
    """Courses of edges from rest on, each under several priors: course by course, under one prior after the other.

    ``level_sd_rad``: how far from half a spacing before its first edge the wheel may have stood; ``spread`` (r,): of
    the acceleration, in parts of the usual one; ``blurs_rad``: what is added to each edge's doubt on each of the grids;
    ``rises``: the pull grows from nothing (played backwards, braking does not, nor does it change: no pull comes that
    it would give way to).
    """

    listener: Listener
    level_sd_rad: float
    spread: Array
    blurs_rad: Sequence[float]
    rises: bool

    @classmethod
    def of(
        cls,
        away_s: Sequence[Array],
        way_rad: Sequence[Array],
        sigma_rad: Sequence[Array],
        priors: Sequence[Prior],
        blurs_rad: Sequence[float] = (0.0,),
        *,
        rises: bool,
    ) -> Starts:
        """Courses of edges ``away_s`` and ``way_rad`` from the first one, each edge with its standard deviation."""
        spacing, times = priors[0].spacing_rad, len(priors)
        shown = _stacked([np.ones(len(each)) for each in away_s], times)
        count = shown.shape[1]
        each = list(priors) * len(away_s)
        accel = np.array([prior.accel_rad_s2 for prior in each])
        manners = [prior.manner for prior in each]
        sides = Sides(
            _stacked(away_s, times),
            _stacked([-0.5 * spacing - way for way in way_rad], times),
            np.where(shown > 0.0, _stacked(sigma_rad, times), 1.0),
            shown,
            np.array([prior.jerk_density for prior in each]),
            accel,
            np.array([prior.rise_s if rises else 0.0 for prior in each]),
            np.zeros(count),
            np.zeros(count),
            accel * np.array([manner.steady_per_s for manner in manners]),
            np.array([manner.weakens_per_s if rises else 0.0 for manner in manners]),
        )
        spread = np.array([manner.spread_at_rest if rises else manner.spread for manner in manners])
        return cls(Listener(sides, blurs_rad), spacing, spread, blurs_rad, rises)

    def cost(self, lead_s: Array, blur_rad: float = 0.0) -> Array:
        """−2·log likelihood (r, k) of having set off ``lead_s`` (r, k) before the first edge."""
        told = self.listener.listen(np.arange(len(lead_s)), lead_s, blur_rad, rested=self.rises)
        return alone(told, self.level_sd_rad, self.spread[:, None])

    def least(self, lead_s: Array, finer: int) -> tuple[Array, Array]:
        """The best time (r,) and its cost, from a grid (r, k) on that gets finer with each blur."""
        cost = self.cost(lead_s, self.blurs_rad[0])
        for blur in self.blurs_rad[1:]:
            lead_s = finer_grid(lead_s, cost, finer, _BESIDE)
            cost = self.cost(lead_s, blur)
        best: Integers = cost.argmin(axis=1)
        rows = np.arange(len(best))
        return lead_s[rows, best], cost[rows, best]


def _stacked(courses: Sequence[Array], times: int) -> Array:
    """Courses of any length as columns, each so many times, with zeros below."""
    stacked = np.zeros((max(len(each) for each in courses), len(courses) * times))
    for number, each in enumerate(courses):
        stacked[: len(each), number * times : (number + 1) * times] = each[:, None]
    return stacked


def start_from_rest(
    priors: Sequence[Prior], t_s: Array, way_rad: Array, sigma_rad: Array, *, rises: bool
) -> tuple[float, float]:
    """When a wheel at rest set off, to pass edges (n,) at ``way_rad`` from the first one, in the mean over some priors:
    time and its standard deviation.

    Args:
        rises: the pull grows from nothing (played backwards, braking does not).
    """
    starts = Starts.of([t_s - t_s[0]], [way_rad], [sigma_rad], priors, _BLUR_RAD, rises=rises)
    lead_s = np.broadcast_to(np.geomspace(1e-3, LONGEST_LEAD_S, _FIRST_LEADS), (len(priors), _FIRST_LEADS))
    lead_s, cost = starts.least(lead_s, _FINER)
    beside = starts.cost(lead_s[:, None] + np.array([_BESIDE_S, 0.0, -_BESIDE_S]))
    curve = (beside[:, 0] - 2.0 * beside[:, 1] + beside[:, 2]) / _BESIDE_S**2
    told = curve > 0.0
    spread = np.where(told, np.minimum(np.sqrt(2.0 / np.where(told, curve, 1.0)), _MOST_SD_S), _MOST_SD_S)
    cost = cost + np.array([prior.cost for prior in priors])
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    mean = float(weight @ lead_s)
    return float(t_s[0]) - mean, float(np.sqrt(weight @ (spread**2 + (lead_s - mean) ** 2)))


def stood_near(priors: Sequence[Prior], t_s: Array, way_rad: Array, sigma_rad: Array) -> bool:
    """Whether a wheel that passes edges (n,), at ``way_rad`` from the first one, likelier stood within about a spacing
    before them than anywhere far before, turning already."""
    near = Starts.of([t_s - t_s[0]], [way_rad], [sigma_rad], priors, _BLUR_RAD, rises=True)
    far = replace(near, level_sd_rad=_FAR * priors[0].spacing_rad)
    lead_s = np.broadcast_to(np.geomspace(1e-3, LONGEST_LEAD_S, _FIRST_LEADS), (len(priors), _FIRST_LEADS))
    unlikely = np.array([prior.cost for prior in priors])
    (set_off_s, near_cost), (_, far_cost) = (starts.least(lead_s, _FINER) for starts in (near, far))
    best = int((near_cost + unlikely).argmin())
    if set_off_s[best] >= LONGEST_LEAD_S:
        # It would have to have set off earlier still: no start explains these edges, whatever the odds.
        return False
    return float((near_cost + unlikely)[best]) < float((far_cost + unlikely).min()) + _FAR_COST


def set_off_earlier(prior: Prior, t_s: Array, way_rad: Array, sigma_rad: Array) -> float:
    """By how much −2·log likelihood is worse if a wheel that passes edges (n,), at ``way_rad`` from the first one, set
    off within the spacing before them than within the one before that, of whose magnet nothing was seen."""
    earlier = [way_rad, way_rad + prior.spacing_rad]
    starts = Starts.of([t_s - t_s[0]] * 2, earlier, [sigma_rad] * 2, [prior], _BLUR_RAD, rises=True)
    starts = replace(starts, level_sd_rad=_EVENLY * prior.spacing_rad)
    lead_s = np.broadcast_to(np.geomspace(1e-3, LONGEST_LEAD_S, _FIRST_LEADS), (2, _FIRST_LEADS))
    _, cost = starts.least(lead_s, _FINER)
    return float(cost[0] - cost[1])
