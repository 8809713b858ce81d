"""What the athlete is to do: reps, sets, rests, nudges. A plan is exact; chance is drawn beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from brakebeat.errors import InputError
from brakebeat.simulate.ranges import inside

RepKind = Literal["full", "coast", "let_go"]


@dataclass(frozen=True)
class RepPlan:
    """One rep, exactly.

    Args:
        effort: share of the athlete's force, 0 to 1.2.
        stop_rad: shaft angle from φ = 0 at which the eccentric phase is to end.
        brake_fraction: wanted brake onset (10 % of peak) as a fraction of the concentric range; an onset
            that the dead point or the ramp does not allow comes as near as it can, the truth states it.
        brake_ramp_s: time from the first extra tension to the full braking torque.
        yield_fraction: torque while yielding, as a fraction of the braking torque a ramp of no length needs.
        pause_s: rest at the bottom after this rep (0: the wheel turns straight round).
        rise_s: time in which the pull builds up after the turnaround.
        slack: from/to, fractions of the concentric range between which the strap is let slack (double pull).
        slap_nm, slap_s: torque pulse with which the strap slaps taut after φ = 0, and its length.
        kind: "full" brakes to a stop; "coast" does not brake, friction alone stops the wheel on the wound
            strap; "let_go" drops the handle at φ = 0, the wheel runs out (no rep by the terms).
    """

    effort: float = 0.95
    stop_rad: float = 38.0
    brake_fraction: float = 0.25
    brake_ramp_s: float = 0.12
    yield_fraction: float = 0.02
    pause_s: float = 0.0
    rise_s: float = 0.04
    slack: tuple[float, float] | None = None
    slap_nm: float = 0.0
    slap_s: float = 0.012
    kind: RepKind = "full"

    def __post_init__(self) -> None:
        inside("effort", self.effort, 0.02, 1.5)
        inside("stop_rad", self.stop_rad, 2.0, 10_000.0)
        inside("brake_fraction", self.brake_fraction, 0.0, 0.95)
        inside("brake_ramp_s", self.brake_ramp_s, 0.005, 1.0)
        inside("yield_fraction", self.yield_fraction, 0.0, 0.5)
        inside("pause_s", self.pause_s, 0.0, 1e6)
        inside("rise_s", self.rise_s, 0.002, 2.0)
        inside("slap_nm", self.slap_nm, 0.0, 500.0)
        inside("slap_s", self.slap_s, 0.002, 0.1)
        if self.slack is not None and not 0.1 <= self.slack[0] < self.slack[1] <= 0.95:
            raise InputError(f"slack: {self.slack} must be two rising fractions between 0.1 and 0.95")


@dataclass(frozen=True)
class Nudge:
    """The wheel turned a little by hand: by ``turn_rad`` along the coming pull (negative: against it)."""

    after_s: float
    turn_rad: float
    lasts_s: float = 0.4

    def __post_init__(self) -> None:
        inside("nudge after_s", self.after_s, 0.0, 1e6)
        inside("nudge lasts_s", self.lasts_s, 0.05, 60.0)
        inside("nudge turn_rad", abs(self.turn_rad), 0.001, 30.0)


@dataclass(frozen=True)
class SetPlan:
    """One set: its reps, after ``idle_s`` of rest with the ``nudges`` in it (each after the one before)."""

    reps: Sequence[RepPlan]
    idle_s: float = 2.0
    nudges: Sequence[Nudge] = ()

    def __post_init__(self) -> None:
        inside("idle_s", self.idle_s, 0.0, 1e6)
        if not self.reps:
            raise InputError("reps: a set needs at least one rep")


@dataclass(frozen=True)
class SessionPlan:
    """A whole recording: where the strap starts, which way round, the sets, idle time after the last."""

    sets: Sequence[SetPlan] = field(default_factory=tuple)
    start_rad: float = 38.0
    first_sense: Literal[1, -1] = 1
    tail_s: float = 2.0

    def __post_init__(self) -> None:
        inside("start_rad", self.start_rad, 2.0, 10_000.0)
        inside("tail_s", self.tail_s, 0.0, 1e6)
        if self.first_sense not in (1, -1):
            raise InputError(f"first_sense: must be 1 or -1, not {self.first_sense}")
        if not self.sets:
            raise InputError("sets: a session needs at least one set")
