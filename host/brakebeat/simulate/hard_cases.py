"""The hardest sessions that we could think of, each with what is right about it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from brakebeat.formats.recording import Recording
from brakebeat.simulate.athlete import Athlete
from brakebeat.simulate.plan import Nudge, SessionPlan
from brakebeat.simulate.scenario import NO_SPREAD, default_sensed, draw_plan
from brakebeat.simulate.sensing import Sensed
from brakebeat.simulate.sensor import DEGREE_RAD, Lost, Sensor, preset
from brakebeat.simulate.truth import Settings
from brakebeat.simulate.wheel import Wheel

# Many ports of MicroPython count microseconds modulo this.
TICKS_WRAP = 2**30


@dataclass(frozen=True)
class Session:
    """All that makes a recording but the seed."""

    plan: SessionPlan
    sensor: Sensor
    wheel: Wheel = dataclasses.field(default_factory=Wheel)
    athlete: Athlete = dataclasses.field(default_factory=Athlete)
    settings: Settings = dataclasses.field(default_factory=Settings)


@dataclass(frozen=True)
class HardCase:
    """A case by name; ``right`` says what an engine must make of it. Call it with a seed."""

    name: str
    right: str
    session: Callable[[int, Sensor], Session]
    sensor: Sensor

    def sensed(self, seed: int) -> Sensed:
        """The recording with its truth, motion and true edges."""
        made = self.session(seed, self.sensor)
        return default_sensed(
            seed,
            wheel=made.wheel,
            athlete=made.athlete,
            plan=made.plan,
            sensor=made.sensor,
            settings=made.settings,
        )

    def __call__(self, seed: int) -> tuple[Recording, dict[str, Any]]:
        sensed = self.sensed(seed)
        return sensed.recording, sensed.truth


def hard_cases(sensor: Sensor | None = None) -> dict[str, HardCase]:
    """Every case by name, each callable with a seed: ``(Recording, truth)``.

    Args:
        sensor: the sensor to start from (6 magnets, clean, unless given); a case changes only what makes it.
    """
    base = sensor or preset("clean")
    return {name: HardCase(name, right, session, base) for name, (right, session) in _CASES.items()}


_CASES: dict[str, tuple[str, Callable[[int, Sensor], Session]]] = {}
_Maker = Callable[[int, Sensor], Session]


def _case(right: str) -> Callable[[_Maker], _Maker]:
    def enter(maker: _Maker) -> _Maker:
        _CASES[maker.__name__.strip("_")] = (right, maker)
        return maker

    return enter


def _drawn(seed: int, sensor: Sensor, plan: dict[str, Any], **parts: Any) -> Session:
    return Session(draw_plan(seed, **plan), sensor, **parts)


def _each_rep(plan: SessionPlan, **changes: Any) -> SessionPlan:
    """The plan with the same changes to every rep."""
    return dataclasses.replace(
        plan,
        sets=tuple(
            dataclasses.replace(s, reps=tuple(dataclasses.replace(rep, **changes) for rep in s.reps))
            for s in plan.sets
        ),
    )


def _change_reps(plan: SessionPlan, which: Sequence[int], **changes: Any) -> SessionPlan:
    """The plan with changes to some reps of its first set."""
    first = plan.sets[0]
    reps = tuple(
        dataclasses.replace(rep, **changes) if place in which else rep for place, rep in enumerate(first.reps)
    )
    return dataclasses.replace(plan, sets=(dataclasses.replace(first, reps=reps), *plan.sets[1:]))


@_case("all 8 reps, though the wheel never gets beyond a third of its usual energy")
def _low_effort(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"efforts": (0.15, 0.2, 0.25, 0.2, 0.15, 0.12, 0.2)})


@_case("each rep's end and the next one's start keep their own times, a pause apart")
def _pause_at_the_bottom(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"pauses_s": (0.3, 1.0, 2.0, 0.15, 3.0, 0.6, 5.0)})


@_case("half the range is a whole rep; phi = 0 stays where it is")
def _half_reps(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"reps": 10, "stop_shares": (1.0, 1.0, 0.5, 1.0, 0.5, 0.5, 0.4, 1.0, 0.6)})


@_case("a pull in two goes is one rep, and its peak is the greater of the two")
def _double_pulls(seed: int, sensor: Sensor) -> Session:
    return Session(_change_reps(draw_plan(seed), (2, 3, 5, 7), slack=(0.3, 0.6)), sensor)


@_case("the strap slapping taut is neither the brake onset nor a rep")
def _strap_slap(seed: int, sensor: Sensor) -> Session:
    return Session(_each_rep(draw_plan(seed), slap_nm=6.0), sensor)


@_case("a hand on the wheel before, between and after the sets is no rep")
def _nudged_while_idle(seed: int, sensor: Sensor) -> Session:
    plan = draw_plan(seed, reps=5, sets=2, rest_s=25.0, idle_s=12.0)
    nudges = (
        Nudge(1.0, 1.6),
        Nudge(0.5, -2.4, 0.6),
        Nudge(2.0, 0.7, 0.2),
        Nudge(0.2, 3.5, 0.9),
        Nudge(0.3, -3.1, 1.5),
    )
    return Session(
        dataclasses.replace(plan, sets=tuple(dataclasses.replace(s, nudges=nudges) for s in plan.sets)),
        sensor,
    )


@_case("one magnet falls silent in mid-set: every rep is still there, the peak still right")
def _magnet_lost(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(lost=(Lost(seed % sensor.pulses, 9.0),)), {"reps": 10})


@_case("two sets of 6, a rest apart")
def _two_sets(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"reps": 6, "sets": 2, "rest_s": 40.0})


@_case("what was cut at the start is no rep: counted as incomplete, the rest is right")
def _starts_in_motion(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(from_s=2.6 + 0.1 * (seed % 17)), {"reps": 9})


@_case("what was cut at the end is no rep: counted as incomplete")
def _cut_in_motion(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(until_s=12.0 + 0.1 * (seed % 17)), {"reps": 9})


@_case("two sets, though the counter wrapped unseen in the rest; times are written unwrapped")
def _rest_beyond_a_wrap(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"reps": 5, "sets": 2, "rest_s": 1100.0})


@_case("the counter wraps within a rep and nobody can tell")
def _wrap_in_a_rep(seed: int, sensor: Sensor) -> Session:
    first = TICKS_WRAP - 3_000_000 - 200_000 * (seed % 40)
    return _drawn(seed, sensor.but(ticks_wrap=TICKS_WRAP, first_count=first), {})


@_case("a braking that comes within 30 ms")
def _ramps_of_30_ms(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"ramps_s": (0.03,), "brake_fractions": (0.25, 0.2, 0.5, 0.3)})


@_case("a braking that takes 300 ms to build")
def _ramps_of_300_ms(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"ramps_s": (0.3,), "brake_fractions": (0.25, 0.3, 0.45, 0.2)})


@_case("late and good reps by turns, every late one told")
def _late_by_turns(seed: int, sensor: Sensor) -> Session:
    ramps = (0.1, 0.1, 0.03, 0.3, 0.06, 0.2, 0.15, 0.08)
    return _drawn(
        seed, sensor, {"reps": 12, "late": range(2, 12, 2), "late_fraction": 0.55, "ramps_s": ramps}
    )


@_case("braking from the dead point on: as early as can be")
def _brakes_at_once(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"brake_fractions": (0.02,)})


@_case("braking in the last fifth: hard, short and late")
def _brakes_at_the_last_moment(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"brake_fractions": (0.8,), "ramps_s": (0.06,)})


@_case("the athlete drops the handle after the last pull: that stretch is no rep, it runs out")
def _let_go(seed: int, sensor: Sensor) -> Session:
    plan = _change_reps(draw_plan(seed, reps=6), (5,), kind="let_go")
    return Session(plan, sensor, wheel=Wheel(friction_torque_nm=0.35, friction_viscous_nm_s=0.01))


@_case("two reps that friction alone ends: no brake onset, and no harm to their neighbours")
def _never_braked(seed: int, sensor: Sensor) -> Session:
    plan = draw_plan(seed, reps=8, efforts=(0.5, 0.7, 0.95, 0.22, 0.95, 0.22, 0.95))
    stiff = Wheel(friction_torque_nm=1.5, friction_viscous_nm_s=0.003)
    return Session(_change_reps(plan, (3, 5), kind="coast", pause_s=0.8), sensor, wheel=stiff)


@_case("a cone with a thick strap: the same reps, another force")
def _cone(seed: int, sensor: Sensor) -> Session:
    return _drawn(
        seed, sensor, {"stop_rad": 30.0}, wheel=Wheel(drum_taper_m_per_rad=0.0004, strap_thickness_m=0.002)
    )


@_case("a light wheel: past 130 rad/s")
def _light_wheel(seed: int, sensor: Sensor) -> Session:
    light = Wheel(inertia_kg_m2=0.02, drum_radius_m=0.010, strap_thickness_m=0.001)
    return _drawn(seed, sensor, {"stop_rad": 55.0}, wheel=light)


@_case("a heavy wheel: seconds to a rep, few edges a second")
def _heavy_wheel(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"stop_rad": 30.0}, wheel=Wheel(inertia_kg_m2=0.35))


@_case("pulls that take half a second to build: the start is hard to see")
def _slow_starts(seed: int, sensor: Sensor) -> Session:
    plan = draw_plan(seed, pauses_s=(0.0, 1.0))
    return Session(_each_rep(plan, rise_s=0.5), sensor)


@_case("the athlete walks backwards: the range grows by half over the set")
def _range_drifts(seed: int, sensor: Sensor) -> Session:
    shares = tuple(0.8 + 0.04 * place for place in range(12))
    return _drawn(seed, sensor, {"reps": 12, "stop_shares": shares})


@_case("every turnaround lies right in front of a magnet, which gives one edge for two passes, or none")
def _turns_on_a_magnet(seed: int, sensor: Sensor) -> Session:
    # Six whole turns from phi = 0 to either end: the magnet at phi = 0 is in front at the ends, too.
    plan = draw_plan(seed, stop_rad=12.0 * math.pi, spread=NO_SPREAD)
    return Session(plan, sensor.but(phase_rad=DEGREE_RAD * ((seed % 5) - 2) / 4.0))


@_case("a fast clock, late stamps: times on the board's own clock")
def _clock_runs_fast(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(drift_ppm=150.0, latency_us=400.0), {})


@_case("a single rep is a set")
def _one_rep(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor, {"reps": 1, "efforts": (0.9,)})


@_case("9 s between reps is the same set, 11 s is the next")
def _rest_gap(seed: int, sensor: Sensor) -> Session:
    plan = draw_plan(seed, reps=4, sets=2, rest_s=11.0)
    return Session(_change_reps(plan, (1,), pause_s=9.0), sensor)


@_case("5 edges a second from nowhere, in rests as in reps")
def _spurious_rain(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(spurious_per_s=5.0), {"reps": 6, "sets": 2, "rest_s": 15.0})


@_case("half the edges bounce")
def _bouncing(seed: int, sensor: Sensor) -> Session:
    return _drawn(seed, sensor.but(bounced=0.5), {})


@_case("yielding with a firm strap, just below a tenth of the brake: the onset is the brake's")
def _firm_yield(seed: int, sensor: Sensor) -> Session:
    return Session(_each_rep(draw_plan(seed), yield_fraction=0.08), sensor)


@_case("everything at once: half reps, double pulls, pauses, late brakes, two sets")
def _a_bad_day(seed: int, sensor: Sensor) -> Session:
    plan = draw_plan(
        seed,
        reps=8,
        sets=2,
        rest_s=18.0,
        late=(3, 6, 12),
        stop_shares=(1.0, 1.0, 0.6, 1.0, 0.7),
        pauses_s=(0.0, 0.0, 0.7, 0.0, 1.5, 0.0),
        ramps_s=(0.1, 0.2, 0.05, 0.3, 0.1),
    )
    return Session(_change_reps(plan, (2, 4), slack=(0.35, 0.6), slap_nm=4.0), sensor)
