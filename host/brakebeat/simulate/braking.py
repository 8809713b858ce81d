"""The eccentric phase: yielding, then braking so that onset and stop come where the plan wants them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from brakebeat.simulate.athlete import Athlete, Tremor
from brakebeat.simulate.dynamics import Piece, TorqueLaw, integrate, join
from brakebeat.simulate.onset import onset_s
from brakebeat.simulate.plan import RepPlan
from brakebeat.simulate.wheel import DEAD_RAD, Wheel, smooth_step

_TRIAL_KNOT_S = 0.004
_CLOSE_STOP_RAD = 2e-3
_CLOSE_ONSET_RAD = 2e-3
# Looking back to 10 % of the peak, the quintic ramp has come a quarter of its way; a first guess only.
_ONSET_ON_RAMP = 0.25


@dataclass(frozen=True)
class _Brake:
    """A braking profile: yield torque, then a ramp from ``ramp_s`` on up to ``plateau_nm``."""

    ramp_s: float
    plateau_nm: float


def free_run(wheel: Wheel, start: tuple[float, float, float]) -> Piece:
    """Friction alone, to rest."""
    return integrate(wheel, lambda t, a, w: 0.0, start, until="rest", knot_s=0.01, chunk_s=20.0)


class Braking:
    """Solves one eccentric phase that starts at φ = 0 with ``start`` = (t_s, 0, speed_rad_s)."""

    def __init__(
        self,
        wheel: Wheel,
        athlete: Athlete,
        rep: RepPlan,
        start: tuple[float, float, float],
        range_rad: float,
        tremor: Tremor | None = None,
    ) -> None:
        self._wheel, self._athlete, self._rep, self._start, self._tremor = wheel, athlete, rep, start, tremor
        self._wanted_onset_rad = min(rep.brake_fraction * range_rad, 0.97 * rep.stop_rad)
        braked_rad = rep.stop_rad - self._wanted_onset_rad
        energy_j = 0.5 * wheel.inertia_kg_m2 * start[2] ** 2
        # Braking torque that a ramp of no length would need: the scale of everything here.
        self._scale_nm = energy_j / braked_rad
        self._yield_nm = rep.yield_fraction * self._scale_nm
        self._limit_nm = athlete.brake_force_n * wheel.radius_m(rep.stop_rad)
        # The way in: yielding (and a slap) up to the stop angle; the ramp starts somewhere along it.
        self._yielding = integrate(wheel, self._law(None), start, until="angle", limit=rep.stop_rad)

    def solve(self) -> Piece:
        """The whole phase, knots a millisecond apart, ending at rest.

        Ramp start and plateau are found together: the onset error moves the ramp, the stop error the plateau.
        Where that cannot be (ramp into the dead point, plateau beyond the athlete) the limits hold and the
        wheel stops where it stops.
        """
        if self._yielding.speed_rad_s[-1] <= 0.0 or self._scale_nm <= 0.0:
            return self._yielding  # friction (or a slap) stops the wheel before the athlete has to
        brake = self._first_guess()
        for _ in range(25):
            trial = self._run(brake, _TRIAL_KNOT_S)
            brake, good = self._improve(brake, trial)
            if good:
                break
        return self._run(brake, None)

    def _first_guess(self) -> _Brake:
        path = self._yielding
        onset_s_ = float(np.interp(self._wanted_onset_rad, path.angle_rad, path.t_s))
        ramp_s = max(self._start[0], onset_s_ - _ONSET_ON_RAMP * self._rep.brake_ramp_s)
        speed = float(np.interp(ramp_s, path.t_s, path.speed_rad_s))
        ramp_rad = 0.5 * speed * self._rep.brake_ramp_s
        left = self._rep.stop_rad - float(np.interp(ramp_s, path.t_s, path.angle_rad))
        needed = 0.5 * self._wheel.inertia_kg_m2 * speed**2 / max(left - ramp_rad, 0.2 * left)
        plateau = max(needed - self._wheel.friction_nm(0.5 * speed), 0.1 * needed)
        return _Brake(ramp_s, min(plateau, self._limit_nm))

    def _improve(self, brake: _Brake, trial: Piece) -> tuple[_Brake, bool]:
        stop_error = float(trial.angle_rad[-1]) - self._rep.stop_rad
        onset = onset_s(trial.t_s, -trial.torque_nm)
        onset_rad = float(np.interp(onset, trial.t_s, trial.angle_rad)) if onset is not None else 0.0
        onset_error = onset_rad - self._wanted_onset_rad
        speed = max(float(np.interp(onset or 0.0, trial.t_s, trial.speed_rad_s)), 1.0)
        ramp_s = max(self._start[0], brake.ramp_s - onset_error / speed)
        ramp_s = min(ramp_s, float(self._yielding.t_s[-1]) - 0.002)
        ramp_stuck = abs(ramp_s - brake.ramp_s) * speed < _CLOSE_ONSET_RAD
        # The work that stops the wheel is about (plateau + friction) × (stop − middle of the ramp).
        middle_s = brake.ramp_s + 0.5 * self._rep.brake_ramp_s
        middle = float(np.interp(middle_s, trial.t_s, trial.angle_rad))
        middle = min(middle, 0.9 * float(trial.angle_rad[-1]), 0.9 * self._rep.stop_rad)
        moved = (ramp_s - brake.ramp_s) * speed
        factor = (float(trial.angle_rad[-1]) - middle) / (self._rep.stop_rad - middle - moved)
        if not 0.5 < factor < 2.0:
            factor = 2.0 if stop_error > 0 else 0.5
        friction = self._wheel.friction_nm(0.5 * speed)
        plateau = max((brake.plateau_nm + friction) * factor - friction, 0.2 * brake.plateau_nm)
        plateau = min(plateau, self._limit_nm)
        plateau_stuck = brake.plateau_nm == plateau == self._limit_nm
        good = (abs(onset_error) < _CLOSE_ONSET_RAD or ramp_stuck) and (
            abs(stop_error) < _CLOSE_STOP_RAD or plateau_stuck
        )
        return (brake if good else _Brake(ramp_s, plateau)), good

    def _run(self, brake: _Brake, knot_s: float | None) -> Piece:
        """The phase under ``brake``, in pieces that end where the law has a corner."""
        path = self._yielding
        law = self._law(brake)
        knots = {"knot_s": knot_s} if knot_s else {}
        lead = path.until(int(np.searchsorted(path.t_s, brake.ramp_s - 1e-4)))
        pieces = [lead] if len(lead.t_s) > 1 else []
        start = (
            (float(lead.t_s[-1]), float(lead.angle_rad[-1]), float(lead.speed_rad_s[-1]))
            if pieces
            else self._start
        )
        for end in (brake.ramp_s, brake.ramp_s + self._rep.brake_ramp_s):
            if end - start[0] > 1e-9 and start[2] > 0.0:
                pieces.append(integrate(self._wheel, law, start, until="time", limit=end, **knots))
                last = pieces[-1]
                start = (float(last.t_s[-1]), float(last.angle_rad[-1]), float(last.speed_rad_s[-1]))
        if start[2] > 0.0:
            guess = 1.3 * self._wheel.inertia_kg_m2 * start[2] / brake.plateau_nm
            pieces.append(integrate(self._wheel, law, start, until="rest", chunk_s=max(guess, 0.02), **knots))
        return join(pieces)

    def _law(self, brake: _Brake | None) -> TorqueLaw:
        rep, tremor, yield_nm = self._rep, self._tremor, self._yield_nm
        slap_rad = rep.slap_s * self._start[2]

        def law(t: float, angle: float, speed: float) -> float:
            held = yield_nm
            if brake is not None:
                held += (brake.plateau_nm - yield_nm) * smooth_step((t - brake.ramp_s) / rep.brake_ramp_s)
            if tremor:
                held *= tremor(t)
            if rep.slap_nm and 0.0 < (angle - DEAD_RAD) < slap_rad:
                held += rep.slap_nm * math.sin(math.pi * (angle - DEAD_RAD) / slap_rad) ** 2
            return -held * smooth_step(angle / DEAD_RAD)

        return law
