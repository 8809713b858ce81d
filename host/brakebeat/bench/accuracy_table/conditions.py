"""The recordings that accuracy is measured on: a sensor, a way of training, and a seed for all that is left.

No two reps are alike, so that a worst case means something. Drawn per set: the wheel (inertia 0.08 to
0.18 kg·m², friction 0.05 to 0.25 N·m and 0 to 0.002 N·m·s), the whole range (32 to 44 rad), how fast a pull
builds up (30 to 80 ms) and how firmly the athlete yields (0 to 4 % of the braking torque). Drawn per rep:
effort (0.6 to 1.05; momentum reps 0.5 and 0.7), brake fraction (0.1 to 0.6, so half the reps are late), brake
ramp (30 to 300 ms, evenly in its logarithm). Each turnaround varies by the simulator's own range noise, 2.5 %
of the whole range (one standard deviation, 2.5 of them at most): about 1 rad, which keeps φ = 0 in doubt.

What is called "varied" draws another athlete and another rig for each set of six, see ``varied``.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from brakebeat.bench.accuracy_table.varied import varied
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.simulate import SessionPlan, Spread, Wheel, default_sensed, draw_plan, preset
from brakebeat.simulate.sensing import Sensed
from brakebeat.simulate.sensor import DEGREE_RAD, Sensor

SEED_FROM = 50_000
# Seeds of one condition.
LANE_SEEDS = 1000
Manner = Literal["plain", "paused", "partial", "varied"]


@dataclass(frozen=True)
class Condition:
    """One kind of recording.

    Args:
        name: what the tables and ``--only`` call it.
        lane: which block of seeds it draws from; never used twice.
        sensor: as built.
        dirty: how late cues are judged (the dirty sensor's margin is wider).
        manner: "paused" rests at every turnaround, "partial" stops short now and then, "varied" draws athlete and
            rig anew.
        reps: reps in one set.
        leave_out: the first reps of each set that are left out (learning).
        calibrated: φ = 0 is given as the number of the edge nearest to it.
        share: how many of the asked-for reps are made, 1 is all.
    """

    name: str
    lane: int
    sensor: Sensor
    dirty: bool = False
    manner: Manner = "plain"
    reps: int = 12
    leave_out: int = 0
    calibrated: bool = False
    share: float = 1.0

    def sets(self, reps: int) -> int:
        """Sets needed for ``reps`` reps that count (or this kind's share of them)."""
        return math.ceil(reps * self.share / (self.reps - self.leave_out))

    def seeds(self, seed_from: int, sets: int) -> list[int]:
        """The seeds of so many sets.

        Raises:
            InputError: more than a kind of recording has seeds of its own.
        """
        if sets > LANE_SEEDS:
            raise InputError(
                f"--reps: {self.name} would need {sets} sets; {LANE_SEEDS} at most, ask for fewer"
            )
        first = seed_from + LANE_SEEDS * self.lane
        return list(range(first, first + sets))

    def sensed(self, seed: int) -> Sensed:
        """The recording of a seed, with its truth and motion."""
        rng = np.random.default_rng([seed, 9])
        if self.manner == "varied":
            return varied(rng, seed, self.sensor, self.reps)
        wheel = _drawn_wheel(rng)
        plan = _drawn_plan(self, seed, rng)
        sensed = default_sensed(seed, wheel=wheel, plan=plan, sensor=self.sensor)
        return _with_zero(sensed) if self.calibrated else sensed


def _drawn_wheel(rng: np.random.Generator) -> Wheel:
    return Wheel(
        inertia_kg_m2=float(rng.uniform(0.08, 0.18)),
        friction_torque_nm=float(rng.uniform(0.05, 0.25)),
        friction_viscous_nm_s=float(rng.uniform(0.0, 0.002)),
    )


def _drawn_plan(condition: Condition, seed: int, rng: np.random.Generator) -> SessionPlan:
    reps = condition.reps
    # What is drawn evenly below needs no further spread; range noise and pauses keep the simulator's own.
    spread = dataclasses.replace(Spread(), effort=0.0, brake_fraction_abs=0.0, brake_ramp=0.0)
    fractions = rng.uniform(0.1, 0.6, reps)
    more: dict[str, Any] = {}
    if condition.manner == "paused":
        more["pauses_s"] = np.exp(rng.uniform(math.log(0.15), math.log(4.0), reps)).tolist()
    if condition.manner == "partial":
        short = (rng.random(reps) < 0.25) & (np.arange(reps) > 1)
        shares = np.where(short, rng.uniform(0.55, 0.85, reps), 1.0)
        # Late on a short way would ask for several times the braking force of any other rep.
        fractions = np.minimum(fractions, 0.6 * shares)
        more["stop_shares"] = shares.tolist()
    return draw_plan(
        seed,
        reps=reps,
        efforts=[0.5, 0.7, *rng.uniform(0.6, 1.05, reps - 2).tolist()],
        brake_fractions=fractions.tolist(),
        ramps_s=np.exp(rng.uniform(math.log(0.03), math.log(0.3), reps)).tolist(),
        stop_rad=float(rng.uniform(32.0, 44.0)),
        rise_s=float(rng.uniform(0.03, 0.08)),
        yield_fraction=float(rng.uniform(0.0, 0.04)),
        spread=spread,
        **more,
    )


def _with_zero(sensed: Sensed) -> Sensed:
    header = sensed.recording.header | {"zero_index": str(sensed.truth["zero_index"])}
    recording = Recording(sensed.recording.t_us, sensed.recording.step, header)
    return dataclasses.replace(sensed, recording=recording)


def _placed(magnets: int) -> Sensor:
    return preset("clean", magnets, placement_rad=DEGREE_RAD)


_ALL = (
    Condition("clean-1", 1, preset("clean", 1), share=4.0),
    Condition("clean-2", 2, preset("clean", 2)),
    Condition("dirty-2", 3, preset("dirty", 2), dirty=True),
    Condition("clean-4", 4, preset("clean", 4), share=0.5),
    Condition("dirty-4", 5, preset("dirty", 4), dirty=True, share=0.5),
    Condition("clean-6", 6, preset("clean", 6)),
    Condition("dirty-6", 7, preset("dirty", 6), dirty=True),
    Condition("clean-12", 8, preset("clean", 12), share=0.5),
    Condition("dirty-12", 9, preset("dirty", 12), dirty=True, share=0.5),
    Condition("clean-24", 10, preset("clean", 24), share=0.25),
    Condition("dirty-24", 11, preset("dirty", 24), dirty=True, share=0.25),
    Condition("placed-6", 12, _placed(6), reps=20, leave_out=5),
    Condition("placed-12", 13, _placed(12), reps=20, leave_out=5, share=0.5),
    Condition("jitter-6", 14, preset("clean", 6, jitter_us=150.0)),
    Condition("hysteresis-6", 15, preset("clean", 6, hysteresis_rad=2.0 * DEGREE_RAD), share=0.25),
    Condition("paused-6", 16, preset("clean", 6), manner="paused"),
    Condition("paused-dirty-6", 17, preset("dirty", 6), dirty=True, manner="paused", share=0.5),
    Condition("partial-6", 18, preset("clean", 6), manner="partial", share=0.5),
    Condition("calibrated-6", 19, preset("clean", 6), calibrated=True, share=0.5),
    Condition("calibrated-24", 20, preset("clean", 24), calibrated=True, share=0.25),
    Condition("quadrature-96", 21, preset("clean", 96, "encoder"), share=0.5),
    Condition("quadrature-2400", 22, preset("clean", 2400, "encoder"), share=0.5),
    Condition("paused-quadrature-96", 23, preset("clean", 96, "encoder"), manner="paused", share=0.25),
    Condition("varied-6", 24, preset("clean", 6), manner="varied", reps=6),
    Condition("varied-24", 25, preset("clean", 24), manner="varied", reps=6, share=0.5),
    Condition("varied-dirty-6", 26, preset("dirty", 6), dirty=True, manner="varied", reps=6),
)
CONDITIONS = {condition.name: condition for condition in _ALL}
