"""Who trains in the block, on which discs, and how it goes over the weeks. All of it is invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta, timezone

from brakebeat.formats.rig import Rig
from brakebeat.simulate import Athlete, Wheel
from brakebeat.training.block import BlockSettings, Competition

EXERCISE = "belt squat"
START = date(2025, 9, 1)  # a Monday
WEEKS = 10
# Where the barn stands.
ZONE = timezone(timedelta(hours=2))
MAGNETS = 6
# Discs that are screwed onto the barn wheel, by name: inertia of all that turns then, in kg·m².
DISCS = {"A": 0.035, "B": 0.07, "C": 0.14, "D": 0.25, "E": 0.42}
# In these weeks (from 1) the first session has a set on each disc.
TEST_WEEKS = (1, 5, 10)


@dataclass(frozen=True)
class Person:
    """An invented athlete.

    Args:
        body: as strong as in the first week; ``gain`` is what the force has gained by the last one.
        disc: the one worked on.
        late_first, late_last: part of the reps braked too late in the first and in the last week.
        fades: part of the sets in which the effort drops off, so that they end early.
        missed: sessions (from 1) that did not take place, and why.
    """

    name: str
    body: Athlete
    gain: float
    disc: str
    late_first: float
    late_last: float
    fades: float
    missed: dict[int, str]
    weekdays: tuple[int, ...]
    at: time
    note: str


PEOPLE = (
    Person(
        name="Ravna",
        body=Athlete(force_n=1150.0, speed_m_s=2.5, curvature=0.5, fatigue_per_rep=0.008),
        gain=0.14,
        disc="C",
        late_first=0.45,
        late_last=0.04,
        fades=0.15,
        missed={9: "a cold, stayed at home"},
        weekdays=(0, 3),
        at=time(18, 0),
        note="rows in the lantern eight; has pulled on flywheels for two winters",
    ),
    Person(
        name="Jorik",
        body=Athlete(force_n=880.0, speed_m_s=2.3, curvature=0.9, fatigue_per_rep=0.016),
        gain=0.22,
        disc="B",
        late_first=0.6,
        late_last=0.12,
        fades=0.35,
        missed={6: "harvest, no time", 13: "harvest, no time"},
        weekdays=(1, 4),
        at=time(17, 15),
        note="new to flywheels: learn to brake first, add sets later",
    ),
)


def settings(person: Person) -> BlockSettings:
    """The block that the person's plan is laid out from: everything else is as the trade has it."""
    regatta = Competition(START + timedelta(weeks=7, days=5), time(10, 0), "reed lake regatta")
    return BlockSettings(
        start=START,
        weeks=WEEKS,
        sets=(3, 5),
        competitions=(regatta,),
        days=person.weekdays,
        at=person.at,
        exercise=EXERCISE,
    )


def wheel(disc: str) -> Wheel:
    """The barn wheel with a disc on."""
    return Wheel(inertia_kg_m2=DISCS[disc])


def rig(disc: str) -> Rig:
    """The same as a rig file has it."""
    on = wheel(disc)
    return Rig(
        name=f"barn wheel, disc {disc}",
        pulses_per_rev=MAGNETS,
        inertia_kg_m2=on.inertia_kg_m2,
        drum_radius_m=on.drum_radius_m,
        strap_thickness_m=on.strap_thickness_m,
        friction_torque_nm=on.friction_torque_nm,
        friction_viscous_nm_s=on.friction_viscous_nm_s,
    )
