"""Who does what on which wheel, and how much of it."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.formats.rig import Rig

# Shown wherever somebody is asked to pull.
CAUTION = "Keep clear of wheel and strap while they move. Stop at pain. Nothing here stops the wheel."


@dataclass(frozen=True)
class SetPlan:
    """What is meant to be done. ``reps`` leaves out momentum reps; the defaults are common practice, no source."""

    sets: int = 4
    reps: int = 7
    rest_s: float = 180.0
    target_rad_s: float | None = None
    target_w: float | None = None  # concentric mean power


@dataclass(frozen=True)
class Choice:
    """A session's athlete, exercise, rig and plan. ``session_id``: a session in the store that goes on."""

    athlete: str
    exercise: str
    rig: Rig
    plan: SetPlan
    plan_id: int | None = None
    session_id: int | None = None
