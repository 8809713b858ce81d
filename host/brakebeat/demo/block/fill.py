"""Fills a store with the block, by the way that `brakebeat coach` takes."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

from brakebeat.board.engine import EngineChoice
from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession
from brakebeat.demo.block.board import Heard, events, play
from brakebeat.demo.block.course import Turn, turns
from brakebeat.demo.block.people import EXERCISE, PEOPLE, WEEKS, ZONE, rig, settings
from brakebeat.store import Store
from brakebeat.store.catalog import add_plan, named
from brakebeat.store.changes import add_note
from brakebeat.training.plan import Plan, lay_out, plan_document
from brakebeat.wording import counted


@dataclass
class Filled:
    """What has been put in."""

    sessions: int = 0
    sets: int = 0
    reps: int = 0
    edges: int = 0


def fill(store: Store, seed: int, weeks: int, engine: EngineChoice, say: Callable[[str], None]) -> Filled:
    """The block's first ``weeks`` into an empty store; ``say`` hears of each week as it is done."""
    plans = {person.name: lay_out(settings(person)) for person in PEOPLE}
    kept = {person.name: _person(store, person.name, plans[person.name]) for person in PEOPLE}
    wanted = [
        turn
        for place, person in enumerate(PEOPLE)
        for turn in turns(person, plans[person.name], 1000 * seed + place)
        if turn.week <= weeks
    ]
    wanted.sort(key=lambda turn: turn.starts)
    filling = _Filling(store, kept)
    for week, heard in _by_week(_played(wanted, engine)):
        before = (filling.done.sets, filling.done.reps)
        for one in heard:
            filling.take(one)
        sets, reps = filling.done.sets - before[0], filling.done.reps - before[1]
        say(
            f"week {week:2} of {min(weeks, WEEKS)}: {counted(sets, 'set')}, {counted(reps, 'rep')}"
            f"{_missed(plans, week)}"
        )
    return filling.done


def _person(store: Store, name: str, plan: Plan) -> int:
    """Put a person and their plan in; the plan's id."""
    person = next(each for each in PEOPLE if each.name == name)
    with store.writing():
        athlete = named(store, "athlete", name)
        add_note(store, "athlete", athlete, person.note, f"athlete {name}")
        for number, why in person.missed.items():
            day = plan.sessions[number - 1].starts
            add_note(store, "athlete", athlete, f"{day:%d %B}: {why}", f"athlete {name}")
        return add_plan(store, athlete, plan_document(plan))


def _missed(plans: dict[str, Plan], week: int) -> str:
    said = [
        f"{person.name} missed one ({why})"
        for person in PEOPLE
        for number, why in person.missed.items()
        if plans[person.name].sessions[number - 1].week == week
    ]
    return f"; {', '.join(said)}" if said else ""


def _played(wanted: list[Turn], engine: EngineChoice) -> Iterator[Heard]:
    """All turns played, in order, as many at once as there are processors."""
    # Fresh processes everywhere: a forked one may inherit a lock that is held.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(os.cpu_count(), context) as pool:
        yield from pool.map(partial(play, engine=engine), wanted)


def _by_week(played: Iterable[Heard]) -> Iterator[tuple[int, list[Heard]]]:
    week, some = 0, list[Heard]()
    for heard in played:
        if heard.turn.week != week and some:
            yield week, some
            some = []
        week = heard.turn.week
        some.append(heard)
    if some:
        yield week, some


class _Filling:
    """One board's life: each turn is a power-up; its records are numbered on."""

    def __init__(self, store: Store, plans: dict[str, int]) -> None:
        self.done = Filled()
        self._store = store
        self._plans = plans
        self._boot = self._sequence = 0
        self._session_id: int | None = None

    def take(self, heard: Heard) -> None:
        """Follow a turn to its end."""
        turn = heard.turn
        self._boot += 1
        self._session_id = None if turn.first else self._session_id
        choice = Choice(
            turn.person.name,
            EXERCISE,
            rig(turn.disc),
            SetPlan(sets=len(turn.plan.sets)),
            self._plans[turn.person.name],
            self._session_id,
        )
        session, now_s = CoachSession(choice), [0.0]
        keeper = Keeper(self._store, choice, now_s=lambda: now_s[0], zone=ZONE)
        # One transaction a turn: nobody else uses this store, and all of it can be made again.
        with self._store.writing():
            for at_s, event in events(heard, self._boot, self._sequence):
                now_s[0] = at_s
                keeper.keep(event, session.take(event, at_s))
            keeper.close()
        self._session_id = keeper.session_id
        self._sequence += len(heard.run.records)
        self.done.sessions += turn.first
        self.done.sets += len(session.sets)
        self.done.reps += len(heard.run.records)
        self.done.edges += len(heard.edges.t_us)
