"""Inertia from a mass that hangs on the strap and turns the wheel as it falls.

The mass m pulls the strap with F = m·(g − r·α + k·ω²), where r is the drum radius at the strap's mid-line and k
what it loses a radian; the wheel answers I·α = r·F − T. So α = (m·r·(g + k·ω²) − T)/(I + m·r²), which is
integrated and held against the edges; nothing is differentiated.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from brakebeat.calibrate.coasting import Coasting
from brakebeat.calibrate.noise import few_edges_factor
from brakebeat.calibrate.runs import coarse_speed, seconds
from brakebeat.calibrate.spin import separable
from brakebeat.calibrate.spin_fit import SpinFit, fit_spin
from brakebeat.calibrate.tracking import track
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.mechanics import wound_angle_rad

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

GRAVITY_M_S2 = 9.80665  # the standard value
# At sea level it goes from 9.78 at the equator to 9.83 at the poles.
GRAVITY_SIGMA_M_S2 = 0.015

_STEPS = 100
_CUT = 6.0
# A strap that still pulls slows the wheel down at least as hard as it sped it up.
_PULLED = 0.9
_RUN_OUT_TURNS = 2.0
# The mass lands while the wheel turns at least this part of its greatest speed.
_NEAR_TOP = 0.93


@dataclass(frozen=True)
class Given:
    """What is known of one fall, with standard uncertainties. SI units.

    ``left_on_drum_m``: strap still wound on as the mass lands. ``friction``: T0, T1, T2 in N·m, N·m·s, N·m·s².
    ``slowing``: friction over inertia instead, (3,), from the wheel's running on; then ``friction`` is ignored.
    """

    mass_kg: float
    drum_radius_m: float
    strap_thickness_m: float = 0.0
    left_on_drum_m: float = 0.0
    friction: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slowing: tuple[float, float, float] | None = None
    gravity_m_s2: float = GRAVITY_M_S2
    mass_sigma_kg: float = 0.0
    drum_radius_sigma_m: float = 0.0
    strap_thickness_sigma_m: float = 0.0
    left_on_drum_sigma_m: float = 0.0
    friction_sigma: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slowing_sigma: tuple[float, float, float] = (0.0, 0.0, 0.0)
    gravity_sigma_m_s2: float = GRAVITY_SIGMA_M_S2

    @property
    def growth_m_per_rad(self) -> float:
        return self.strap_thickness_m / (2.0 * np.pi)


@dataclass(frozen=True)
class After:
    """The wheel after the landing: from ``speed_rad_s`` at ``start_s`` on it slows by ``slowing_rad_s2``.

    ``run_out`` fits it where only friction was at work; None where the strap still pulled.
    """

    start_s: float
    speed_rad_s: float
    slowing_rad_s2: float
    run_out: SpinFit | None


@dataclass(frozen=True)
class Fall:
    """The edges of one fall, (n,) times in s and places, until the mass lands at ``landing_s``.

    ``after`` is None where the recording ends with the fall; then the landing is only known to
    ``landing_sigma_s``.
    """

    t_s: Array
    place: Integers
    magnets: int
    landing_s: float
    landing_sigma_s: float
    after: After | None

    @property
    def run_out(self) -> SpinFit | None:
        """The free run after the landing, if there was one."""
        return self.after.run_out if self.after else None


def read_falls(recording: Recording, count: int) -> list[Fall]:
    """The ``count`` falls of a recording in order of time.

    Raises ``InputError`` naming the file where there are fewer.
    """
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    parts = _episodes(t_s, magnets)
    parts = sorted(sorted(parts, key=lambda part: -part[2])[:count])
    if len(parts) < count:
        raise InputError(
            f"{recording.path}: {len(parts)} runs of the wheel for {count} masses: let it come to rest for three "
            "seconds between two falls, or give one recording for each mass"
        )
    falls = []
    for number, (begin, end, _) in enumerate(parts, 1):
        try:
            falls.append(_read_fall(t_s[begin:end], magnets))
        except InputError as error:
            raise InputError(f"{recording.path}: fall {number}: {error}") from error
    return falls


def _episodes(t_s: Array, magnets: int) -> list[tuple[int, int, float]]:
    """(begin, end, greatest speed) of the stretches between rests; short ones are left out."""
    gaps = np.diff(t_s)
    before = np.append(np.inf, gaps[:-1])
    cuts = np.flatnonzero((gaps > 2.0) & (gaps > 3.0 * np.minimum(before, 60.0))) + 1
    bounds = [0, *cuts.tolist(), len(t_s)]
    parts = []
    for begin, end in itertools.pairwise(bounds):
        if end - begin >= 2 * magnets + 8:
            _, speed = coarse_speed(t_s[begin:end], magnets)
            parts.append((begin, end, float(speed.max())))
    return parts


def _read_fall(t_s: Array, magnets: int) -> Fall:
    kept, speed = coarse_speed(t_s, magnets)
    peak = int(kept[_turning_point(t_s[kept], speed, magnets)])
    # The peak is known to about a turn; what lies closer to it is neither fall nor run for sure.
    clear = max(4, magnets + 1)
    rise = _tracked_rise(t_s, magnets, peak)
    count = max(len(rise[0]) - clear, 0)
    if count < max(8, magnets + 4):
        raise InputError(
            "too few edges while the mass falls: let it fall further, or wind the strap on more turns"
        )
    fall = Fall(t_s[rise[0][:count]], rise[1][:count], magnets, 0.0, 0.0, None)
    after = _after(t_s, magnets, peak + clear)
    gap = 2.0 * np.pi / magnets / float(speed.max())
    if after is None:
        return dataclasses.replace(fall, landing_s=float(t_s[-1]) + 0.5 * gap, landing_sigma_s=0.6 * gap)
    return dataclasses.replace(fall, landing_s=_landing_s(fall, after), after=after)


def _turning_point(t_s: Array, speed: Array, magnets: int) -> int:
    """Where the wheel stops speeding up and slows down: the kink of two lines through the speeds about there.

    The greatest speed may lie well before it where friction lets the mass hardly speed the wheel up any more.
    """
    top, wide = int(np.argmax(speed)), 3 * magnets + 6
    if len(t_s) - top < wide // 2:
        return top
    best, sharpest = top, 0.0
    for at in np.flatnonzero(speed > _NEAR_TOP * speed[top]).tolist():
        before, behind = slice(max(at - wide, 0), at + 1), slice(at, at + wide + 1)
        if len(t_s[before]) < wide // 2 or len(t_s[behind]) < wide // 2:
            continue
        rises, falls = (
            float(np.polyfit(t_s[part] - t_s[at], speed[part], 1)[0]) for part in (before, behind)
        )
        if rises > 0.0 and rises - falls > sharpest:
            best, sharpest = at, rises - falls
    return best


def _tracked_rise(t_s: Array, magnets: int, peak: int) -> tuple[Integers, Integers]:
    """Edges from rest up to the peak and their places: tracked backwards, since then the wheel slows down."""
    backwards = (t_s[peak] - t_s[: peak + 1])[::-1]
    found = track(backwards, magnets, 0, peak)
    edge = peak - found.edge[::-1]
    return edge, (found.place[-1] - found.place)[::-1]


def _after(t_s: Array, magnets: int, first: int) -> After | None:
    """What the wheel does from edge ``first`` on; None where the recording ends too soon to tell."""
    if len(t_s) - first < 2 * magnets + 2 or len(t_s) - first < 8:
        return None
    try:
        found = track(t_s, magnets, first, len(t_s) - 1)
    except InputError:
        return None
    near = min(len(found.place), 3 * magnets + 6)
    curve = np.polyfit(
        t_s[found.edge[:near]] - t_s[found.edge[0]], 2.0 * np.pi / magnets * found.place[:near], 2
    )
    begin, slowing = float(t_s[found.edge[0]]), -2.0 * float(curve[0])
    try:
        fit = fit_spin(t_s[found.edge], found.place, magnets)
    except InputError:
        fit = None
    rise = float(curve[1]) / max(float(t_s[first] - t_s[0]), 1e-3)
    if fit is None or slowing > _PULLED * rise or fit.turns < _RUN_OUT_TURNS:
        return After(begin, float(curve[1]), slowing, None)
    speed = fit.coasting.speed_rad_s
    return After(begin, speed, float(fit.coasting.slowing_rad_s2(speed)), fit)


def _landing_s(fall: Fall, after: After) -> float:
    """A first idea of when the fall's speed (a parabola through its last turns) meets that of the run after it."""
    near = slice(-(2 * fall.magnets + 6), None)
    t_s = fall.t_s[near] - fall.t_s[-1]
    curve = np.polyfit(t_s, 2.0 * np.pi / fall.magnets * fall.place[near], 2)
    speed_then = after.speed_rad_s + after.slowing_rad_s2 * (after.start_s - fall.t_s[-1])
    return float(fall.t_s[-1] + (speed_then - curve[1]) / (2.0 * curve[0] + after.slowing_rad_s2))


def friction_known(given: Given, fall: Fall) -> Given:
    """``given`` with the friction that the wheel's running on tells, where it did."""
    if fall.run_out is None:
        return given
    law = separable(fall.run_out, fall.magnets)
    sigma = np.sqrt(np.diag(law.term_covariance)).tolist()
    return dataclasses.replace(
        given, slowing=law.coasting.terms, slowing_sigma=(sigma[0], sigma[1], sigma[2])
    )


def inertia_of_fall(fall: Fall, given: Given) -> tuple[float, float, dict[str, float]]:
    """Inertia in kg·m², its standard uncertainty, and that by source (``edges``, ``drum_radius_m``, …)."""
    fall = _landed(fall, given)
    inertia, _, sigma = _fit(fall, given)
    parts = {"edges": sigma}
    if fall.landing_sigma_s and given.growth_m_per_rad:
        later = dataclasses.replace(fall, landing_s=fall.landing_s + fall.landing_sigma_s)
        parts["landing"] = abs(_fit(later, given, inertia)[0] - inertia)
    for name, step in _steps(given):
        moved = _fit(fall, step, inertia)[0]
        parts[name] = float(np.hypot(parts.get(name, 0.0), moved - inertia))
    return inertia, float(np.sqrt(sum(part**2 for part in parts.values()))), parts


def _landed(fall: Fall, given: Given) -> Fall:
    """``fall`` with the landing where the fitted fall and what came after have the same speed."""
    after = fall.after
    if after is None:
        return fall
    for _ in range(4):
        _, speed, _ = _fit(fall, given)
        curve = np.polyfit(fall.t_s - fall.t_s[-1], 2.0 * np.pi / fall.magnets * fall.place, 2)
        ahead = after.speed_rad_s + after.slowing_rad_s2 * (after.start_s - fall.landing_s)
        move = float((ahead - speed) / (2.0 * curve[0] + after.slowing_rad_s2))
        fall = dataclasses.replace(fall, landing_s=max(fall.landing_s + move, float(fall.t_s[-1])))
        if abs(move) < 1e-5:
            break
    return fall


def _steps(given: Given) -> list[tuple[str, Given]]:
    """``given`` moved by one standard uncertainty at a time."""
    moved = []
    for name in ("mass_kg", "drum_radius_m", "strap_thickness_m", "left_on_drum_m", "gravity_m_s2"):
        sigma = getattr(given, _SIGMA[name])
        if sigma:
            moved.append((name, dataclasses.replace(given, **{name: getattr(given, name) + sigma})))
    spread = given.slowing_sigma if given.slowing else given.friction_sigma
    for term, sigma in enumerate(spread):
        if sigma:
            values = list(given.slowing or given.friction)
            values[term] += sigma
            more = (values[0], values[1], values[2])
            step = (
                dataclasses.replace(given, slowing=more)
                if given.slowing
                else dataclasses.replace(given, friction=more)
            )
            moved.append(("friction", step))
    return moved


_SIGMA = {
    "mass_kg": "mass_sigma_kg",
    "drum_radius_m": "drum_radius_sigma_m",
    "strap_thickness_m": "strap_thickness_sigma_m",
    "left_on_drum_m": "left_on_drum_sigma_m",
    "gravity_m_s2": "gravity_sigma_m_s2",
}


def _fit(fall: Fall, given: Given, guess: float | None = None) -> tuple[float, float, float]:
    """Inertia, speed at the landing, and the inertia's standard error from the edges' scatter alone."""
    model = _Model(fall, given)
    params = np.array([model.first_inertia() if guess is None else guess, model.first_speed()])
    # First by the edges that are sure; only then the others are looked at, and must fit.
    for _ in range(4):
        params = _settled(model, params)
        before = model.weight
        model.weigh(model.columns(params)[1])
        if (model.weight == before).all():
            break
    columns, residual = model.columns(params)
    used = model.weight > 0.0
    free = int(used.sum()) - 2 - model.offsets
    scatter = float(np.sqrt((residual[used] ** 2).sum() / max(free, 1)))
    covariance = np.linalg.pinv(columns[used].T @ columns[used]) * scatter**2
    return float(params[0]), float(params[1]), float(np.sqrt(covariance[0, 0])) * few_edges_factor(free)


def _settled(model: _Model, params: Array) -> Array:
    """Gauss-Newton with the model's weights as they are."""
    for _ in range(25):
        columns, residual = model.columns(params)
        weight = model.weight
        step = np.linalg.lstsq(columns * weight[:, None], -residual * weight, rcond=None)[0]
        step[0] = np.clip(step[0], -0.5 * params[0], params[0])
        params = params + step
        if abs(step[0]) < 1e-8 * params[0]:
            break
    return params


class _Model:
    """Angles of the edges of a fall for an inertia and a speed at the landing, walked back from there."""

    def __init__(self, fall: Fall, given: Given) -> None:
        self.fall, self.given = fall, given
        self.even = 2.0 * np.pi / fall.magnets * fall.place
        turns = (fall.place[-1] - fall.place[0]) / fall.magnets
        # Under two turns each magnet passes too seldom to tell its place from the motion.
        self.group = fall.place % fall.magnets if turns >= 2.0 else np.zeros(len(fall.place), int)
        self.offsets = len(np.unique(self.group))
        self.end_rad = float(
            wound_angle_rad(given.left_on_drum_m, given.drum_radius_m, given.strap_thickness_m)
        )
        # The edges near rest are the ones that may be counted wrong, and they would pull hardest: they have to
        # fit what the others say.
        self.weight = (fall.place > 0.8 * fall.place[0] + 0.2 * fall.place[-1]).astype(float)
        self.back_s = np.linspace(0.0, fall.landing_s - fall.t_s[0], _STEPS + 1)

    def first_speed(self) -> float:
        curve = np.polyfit(self.fall.t_s - self.fall.landing_s, self.even, 2)
        return float(curve[1])

    def first_inertia(self) -> float:
        given, curve = self.given, np.polyfit(self.fall.t_s - self.fall.landing_s, self.even, 2)
        accel = max(2.0 * float(curve[0]), 1e-3)
        turned = float(self.even[-1] - self.even[0])
        radius = given.drum_radius_m + given.growth_m_per_rad * (self.end_rad + 0.5 * turned)
        free = given.mass_kg * radius * given.gravity_m_s2 - given.friction[0]
        inertia = free / accel - given.mass_kg * radius**2
        if inertia <= 0.0:
            raise InputError(
                "the wheel speeds up faster than this mass can make it: check the mass, the drum radius and "
                "that only the mass pulled"
            )
        return inertia

    def columns(self, params: Array) -> tuple[Array, Array]:
        """Derivatives (n, 2) by inertia and speed, and residuals (n,), rad, offsets taken out of both."""
        steps = np.array([1e-4 * params[0], 1e-4 * max(params[1], 1.0)])
        inertia = np.array([params[0], params[0] + steps[0], params[0]])
        speed = np.array([params[1], params[1], params[1] + steps[1]])
        angle = self._angles(inertia, speed)
        residual = self._centred(angle[0] - self.even)
        columns = [self._centred((angle[which] - angle[0]) / steps[which - 1]) for which in (1, 2)]
        return np.stack(columns, axis=1), residual

    def weigh(self, residual: Array) -> None:
        """Leave out edges that are far from where all others say they should be."""
        usual = 1.4826 * float(np.median(np.abs(residual[self.weight > 0.0]))) + 1e-9
        near = np.abs(residual) < _CUT * usual
        if near.sum() > 0.6 * len(near):
            self.weight = near.astype(float)

    def _centred(self, values: Array) -> Array:
        count = np.maximum(np.bincount(self.group, self.weight), 1e-9)
        return values - (np.bincount(self.group, values * self.weight) / count)[self.group]

    def _angles(self, inertia: Array, landing_speed: Array) -> Array:
        """Angles at the edges from the landing back, falling below 0, (variants, n): Runge-Kutta of order four."""
        h = float(self.back_s[1])
        slope = self._slope(inertia)
        wound, speed = np.full(len(inertia), self.end_rad), landing_speed.copy()
        path = [(wound, speed)]
        for _ in range(_STEPS):
            if not np.isfinite(speed).all():
                break
            k1 = slope(wound, speed)
            k2 = slope(wound + 0.5 * h * speed, speed - 0.5 * h * k1)
            speed2 = speed - 0.5 * h * k1
            speed3 = speed - 0.5 * h * k2
            k3 = slope(wound + 0.5 * h * speed2, speed3)
            speed4 = speed - h * k3
            k4 = slope(wound + h * speed3, speed4)
            wound = wound + h / 6.0 * (speed + 2.0 * speed2 + 2.0 * speed3 + speed4)
            speed = speed - h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
            path.append((wound, speed))
        at = self.fall.landing_s - self.fall.t_s
        wounds = np.stack([wound for wound, _ in path])
        speeds = np.stack([speed for _, speed in path])
        if not (np.isfinite(wounds).all() and np.isfinite(speeds).all()):
            raise InputError(
                "the edges do not fit a wheel that a falling mass speeds up: check the mass, the drum radius and that "
                "only the mass pulled"
            )
        return np.stack(
            [
                -CubicHermiteSpline(self.back_s, wounds[:, which], speeds[:, which])(at)
                for which in range(len(inertia))
            ]
        )

    def _slope(self, inertia: Array) -> Callable[[Array, Array], Array]:
        given, growth = self.given, self.given.growth_m_per_rad
        slowing = Coasting(1.0, given.slowing or (0.0, 0.0, 0.0)).slowing_rad_s2
        friction = Coasting(1.0, given.friction).slowing_rad_s2

        def accel(wound: Array, speed: Array) -> Array:
            radius = given.drum_radius_m + growth * wound
            drive = given.mass_kg * radius * (given.gravity_m_s2 + growth * speed * speed)
            held = inertia * slowing(speed) if given.slowing else friction(speed)
            return np.asarray((drive - held) / (inertia + given.mass_kg * radius * radius))

        return accel
