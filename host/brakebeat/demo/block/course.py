"""How the block goes: each session's sets, drawn beforehand, so that the same seed is the same block."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from brakebeat.demo.block.people import DISCS, TEST_WEEKS, WEEKS, ZONE, Person
from brakebeat.simulate import Athlete, SessionPlan, SetPlan, draw_plan
from brakebeat.training.plan import Plan, PlannedSession

_STOP_RAD = 38.0
_CHANGE_DISC_S = 240.0
# A fading set's last reps, as shares of its effort: the last one is below the stop rule's, and ends the set.
_FADE = (0.93, 0.72)


@dataclass(frozen=True)
class Turn:
    """Sets in a row on one disc: what the board sees between being switched on and off.

    ``number`` counts the person's sessions as planned, from 1; ``first`` says whether a session begins here.
    """

    person: Person
    number: int
    week: int
    first: bool
    starts: datetime
    disc: str
    body: Athlete
    plan: SessionPlan
    seed: int


def turns(person: Person, plan: Plan, seed: int) -> Iterator[Turn]:
    """Everything that the person does, in order of time."""
    for number, session in enumerate(plan.sessions, 1):
        if number not in person.missed:
            yield from _session(person, number, session, np.random.default_rng([seed, number]), seed)


def _session(
    person: Person, number: int, session: PlannedSession, rng: np.random.Generator, seed: int
) -> Iterator[Turn]:
    share = (session.week - 1) / (WEEKS - 1)
    # A good day or a bad one.
    form = 1.0 + float(np.clip(rng.normal(0.0, 0.015), -0.03, 0.03))
    body = dataclasses.replace(person.body, force_n=person.body.force_n * (1.0 + person.gain * share) * form)
    late = person.late_first + (person.late_last - person.late_first) * share
    starts = session.starts.replace(tzinfo=ZONE) + timedelta(seconds=int(rng.integers(-240, 420)))
    for place, (disc, sets) in enumerate(_discs(person, number, session)):
        drawn = tuple(_set(person, session, late, rng, at, sets) for at in range(sets))
        plan = SessionPlan(sets=drawn, start_rad=_STOP_RAD, first_sense=1 if rng.random() < 0.5 else -1)
        own = int(rng.integers(0, 2**31))
        yield Turn(person, number, session.week, place == 0, starts, disc, body, plan, own + seed)
        lasts_s = sum(each.idle_s + 2.0 * len(each.reps) for each in drawn)
        starts += timedelta(seconds=round(lasts_s + _CHANGE_DISC_S))


def _discs(person: Person, number: int, session: PlannedSession) -> list[tuple[str, int]]:
    """(disc, sets on it), in the order in which they are screwed on."""
    first_of_week = number % 2 == 1
    if session.week in TEST_WEEKS and first_of_week:
        return [(disc, 1) for disc in DISCS]
    return [(person.disc, session.sets)]


def _set(
    person: Person, session: PlannedSession, late: float, rng: np.random.Generator, at: int, sets: int
) -> SetPlan:
    fewest, most = session.reps
    reps = int(rng.integers(fewest, most + 1))
    efforts = [0.6, 0.78, *[0.97] * reps]
    # The first set of a session is never the one that fades.
    if (at or sets == 1) and rng.random() < person.fades and reps > len(_FADE) + 2:
        efforts = [*efforts[: -1 - len(_FADE)], *(0.97 * share for share in _FADE)]
    braked_late = [place for place in range(session.momentum_reps, len(efforts)) if rng.random() < late]
    drawn = draw_plan(
        int(rng.integers(0, 2**31)),
        reps=len(efforts),
        efforts=efforts,
        late=braked_late,
        late_fraction=float(rng.uniform(0.45, 0.55)),
        stop_rad=_STOP_RAD,
        idle_s=session.rest_s + float(rng.uniform(-20.0, 45.0)) if at else 4.0,
    )
    only: SetPlan = drawn.sets[0]
    return only
