"""Runs an athlete through a session plan on a wheel: the motion, stretch by stretch."""

from __future__ import annotations

import math

import numpy as np

from brakebeat.errors import InputError
from brakebeat.simulate.athlete import Athlete, Tremor
from brakebeat.simulate.braking import Braking, free_run
from brakebeat.simulate.dynamics import Piece
from brakebeat.simulate.motion import Motion, Stretch, StretchKind
from brakebeat.simulate.plan import Nudge, RepPlan, SessionPlan, SetPlan
from brakebeat.simulate.pulling import pull, pull_law
from brakebeat.simulate.wheel import Wheel

_HAND_KNOT_S = 0.002


def simulate(wheel: Wheel, athlete: Athlete, plan: SessionPlan | SetPlan, seed: int = 0) -> Motion:
    """Integrate a whole session.

    Args:
        plan: exact; the seed only draws the athlete's tremor.

    Raises:
        InputError: the plan asks for what cannot happen (a pull too weak to pay the strap out, …).
    """
    if isinstance(plan, SetPlan):
        plan = SessionPlan(sets=(plan,), start_rad=plan.reps[0].stop_rad)
    runner = _Runner(wheel, athlete, plan, np.random.default_rng([seed, 1]))
    for each in plan.sets:
        runner.run_set(each)
    runner.rest(plan.tail_s)
    return Motion(wheel, runner.stretches)


class _Runner:
    """Where the session has got to."""

    def __init__(self, wheel: Wheel, athlete: Athlete, plan: SessionPlan, rng: np.random.Generator) -> None:
        self._wheel, self._athlete = wheel, athlete
        self._tremor = Tremor(athlete.tremor, rng) if athlete.tremor else None
        self._t_s = 0.0
        self._angle_rad = -plan.first_sense * plan.start_rad
        self._taut_nm = 0.0
        self._tired = 0.0
        self._rep = 0
        self._gone = False
        self.stretches: list[Stretch] = []

    def run_set(self, plan: SetPlan) -> None:
        """Idle time with its nudges, then the reps. Raises InputError for a set behind one that dropped the strap."""
        if self._gone:
            raise InputError('kind: "let_go" drops the strap, so that only a session\'s last rep can have it')
        until = self._t_s + plan.idle_s
        for nudge in plan.nudges:
            self.rest(nudge.after_s)
            self._turn_by_hand(nudge)
        self.rest(until - self._t_s)
        for rep in plan.reps:
            self._run_rep(rep)

    def rest(self, lasts_s: float) -> None:
        """Nothing moves for a while (no time at all if ``lasts_s`` is not above 0)."""
        if lasts_s <= 0.0:
            return
        t_s = np.array([self._t_s, self._t_s + lasts_s])
        still = np.zeros(2)
        self._add("idle", Piece(t_s, np.full(2, self._angle_rad), still, still), 1)
        self._tired *= math.exp(-lasts_s / self._athlete.recovery_s)
        self._taut_nm = 0.0

    def _turn_by_hand(self, nudge: Nudge) -> None:
        """A hand moves the wheel with the least jerk from rest to rest; the strap hangs loose."""
        turn_rad = -math.copysign(nudge.turn_rad, self._angle_rad * nudge.turn_rad)
        x = np.linspace(0.0, 1.0, max(10, round(nudge.lasts_s / _HAND_KNOT_S)))
        angle = turn_rad * x**3 * (10.0 + x * (6.0 * x - 15.0))
        speed = turn_rad * 30.0 * x**2 * (1.0 - x) ** 2 / nudge.lasts_s
        sense = 1 if turn_rad > 0 else -1
        start = sense * self._angle_rad
        piece = Piece(self._t_s + x * nudge.lasts_s, start + sense * angle, sense * speed, np.zeros(len(x)))
        self._add("hand", piece, sense)

    def _run_rep(self, rep: RepPlan) -> None:
        if self._gone:
            raise InputError('kind: "let_go" drops the strap, so that only a session\'s last rep can have it')
        sense = -1 if self._angle_rad > 0 else 1
        range_rad = abs(self._angle_rad)
        self._check_drum(max(range_rad, rep.stop_rad))
        law = pull_law(
            self._wheel,
            self._athlete,
            rep,
            range_rad,
            strength=max(0.1, 1.0 - self._tired),
            taut_nm=self._taut_nm,
            start_s=self._t_s,
            tremor=self._tremor,
        )
        pulled = pull(self._wheel, law, self._t_s, range_rad)
        self.rest(float(pulled.t_s[0]) - self._t_s)
        self._add("concentric", pulled, sense, self._rep)
        self._return(rep, (self._t_s, 0.0, float(pulled.speed_rad_s[-1])), range_rad, sense)
        self._tired += self._athlete.fatigue_per_rep
        self._rep += 1
        self.rest(rep.pause_s)

    def _check_drum(self, angle_rad: float) -> None:
        radius_m = self._wheel.radius_m(angle_rad)
        if radius_m < 1e-4:
            raise InputError(
                f"drum_taper_m_per_rad: {self._wheel.drum_taper_m_per_rad:g} leaves a drum radius of "
                f"{radius_m:.4f} m at {angle_rad:.1f} rad; taper less or make the drum wider"
            )

    def _return(self, rep: RepPlan, start: tuple[float, float, float], range_rad: float, sense: int) -> None:
        if rep.kind == "full":
            braked = Braking(self._wheel, self._athlete, rep, start, range_rad, self._tremor).solve()
            self._add("eccentric", braked, sense, self._rep)
            self._taut_nm = -float(braked.torque_nm[-1])
            return
        self._gone = rep.kind == "let_go"
        self._add("run_out" if self._gone else "eccentric", free_run(self._wheel, start), sense, self._rep)
        self._taut_nm = 0.0

    def _add(self, kind: StretchKind, piece: Piece, sense: int, rep: int | None = None) -> None:
        angle = sense * piece.angle_rad if kind != "idle" else piece.angle_rad
        speed = sense * piece.speed_rad_s
        self.stretches.append(Stretch(kind, piece.t_s, angle, speed, piece.torque_nm, sense, rep))
        self._t_s, self._angle_rad = float(piece.t_s[-1]), float(angle[-1])
