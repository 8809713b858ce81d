"""The model of a running session. No input, no output, no clock: events and times come in, answers come out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from brakebeat.coach.belonging import Belonging
from brakebeat.coach.choice import Choice
from brakebeat.coach.effort import Best, Drop
from brakebeat.link.events import Connected, CueHeard, Event, LinkLost, LiveArrived, RepArrived, Waiting
from brakebeat.link.messages import LiveState
from brakebeat.results import Cue, Rep

Stage = Literal["ready", "set", "rest", "finished"]


@dataclass(frozen=True)
class RepRow:
    """A rep in its set. ``number`` counts from 1 among its kind: momentum reps apart from those that count."""

    number: int
    rep: Rep
    cues: tuple[Cue, ...]
    drop: Drop


@dataclass
class SetRow:
    """A set: its reps, its best rep so far, and the power-up of the board that its times are on."""

    number: int
    boot: int
    rows: list[RepRow] = field(default_factory=list)
    best: Best = field(default_factory=Best)

    @property
    def counting(self) -> int:
        """Reps that count."""
        return sum(not row.rep.momentum for row in self.rows)

    @property
    def momentum(self) -> int:
        """Momentum reps."""
        return len(self.rows) - self.counting

    @property
    def stop(self) -> bool:
        """Whether a rep has dropped so far that the set should end, by the screen's figures or the board's."""
        return any(row.drop.stop or any(cue.kind == "drop_off" for cue in row.cues) for row in self.rows)


@dataclass(frozen=True)
class Placed:
    """Where an arrived rep belongs: a set of this session, or (``set_number`` None) to something before it."""

    set_number: int | None
    row: RepRow | None


class CoachSession:
    """Takes a board's events. ``now_s``: seconds since 1970, never going back by more than a clock's correction."""

    def __init__(self, choice: Choice) -> None:
        self.choice = choice
        self.sets: list[SetRow] = []
        self.best = Best()
        self.live: LiveState | None = None
        self.link = "looking for the board"
        self.connected = False
        self.last_cue: str | None = None
        self.earlier = 0
        self.warning = ""
        # Whether raw edges come in beside the reps; why the board gives none.
        self.edges_kept = False
        self.no_edges = ""
        self._belonging = Belonging()
        self._moved_s: float | None = None

    def take(self, event: Event, now_s: float) -> Placed | None:
        """Note an event; where a rep belongs, if it is one."""
        if isinstance(event, RepArrived):
            return self._rep(event, now_s)
        if isinstance(event, Connected):
            self._belonging.connected(event)
            self.link, self.connected = event.name, True
            self.warning = self._other_wheel(event) or self._no_edges()
        elif isinstance(event, LiveArrived):
            self.live = event.live
        elif isinstance(event, CueHeard):
            self.last_cue = event.kind
        elif isinstance(event, LinkLost | Waiting):
            self.connected, self.live = False, None
            self.link = "link lost, looking for the board again; its reps are kept on it"
        return None

    @property
    def current(self) -> SetRow | None:
        """The set that goes on or was the last one."""
        return self.sets[-1] if self.sets else None

    def stage(self, now_s: float) -> Stage:
        """What the athlete is doing now."""
        if self.current is None:
            return "ready"
        if not self._over(self.current, now_s):
            return "set"
        return "finished" if len(self.sets) >= self.choice.plan.sets else "rest"

    def rested_s(self, now_s: float) -> float | None:
        """How long ago the last rep ended; None before the first."""
        return None if self._moved_s is None else max(0.0, now_s - self._moved_s)

    def rest_left_s(self, now_s: float) -> float | None:
        """What is left of the planned rest, 0 when it is over; None where nobody rests."""
        rested_s = self.rested_s(now_s)
        if rested_s is None or self.stage(now_s) != "rest":
            return None
        return max(0.0, self.choice.plan.rest_s - rested_s)

    def _no_edges(self) -> str:
        return f"no raw edges are kept: {self.no_edges}" if self.no_edges else ""

    def _over(self, current: SetRow, now_s: float) -> bool:
        if current.counting >= self.choice.plan.reps:
            return True
        return (self.rested_s(now_s) or 0.0) > self.choice.rig.rest_gap_s and not self._turning()

    def _turning(self) -> bool:
        return self.live is not None and self.live.phase != "idle"

    def _rep(self, event: RepArrived, now_s: float) -> Placed:
        if self._belonging.earlier(event):
            self.earlier += 1
            return Placed(None, None)
        current = self._set_of(event)
        drop = Drop()
        if not event.rep.momentum:
            drop = current.best.drop(event.rep, self.choice.rig.cues)
            current.best.add(event.rep)
            self.best.add(event.rep)
        same = current.momentum if event.rep.momentum else current.counting
        row = RepRow(same + 1, event.rep, tuple(event.cues), drop)
        current.rows.append(row)
        # A rep that was fetched after a break ended a while ago.
        ended_s = self._belonging.ended_s(event)
        self._moved_s = now_s if ended_s is None else min(now_s, ended_s)
        self.last_cue = event.cues[-1].kind if event.cues else None
        return Placed(current.number, row)

    def _set_of(self, event: RepArrived) -> SetRow:
        current = self.current
        if current is None or self._begins_a_set(current, event):
            current = SetRow(len(self.sets) + 1, event.boot)
            self.sets.append(current)
        return current

    def _begins_a_set(self, current: SetRow, event: RepArrived) -> bool:
        last = current.rows[-1].rep
        gap_us = event.rep.start_us - last.end_us
        # The board counts momentum reps by its own file: one after a rep that counts is a new set there.
        anew = event.rep.momentum and not last.momentum
        return event.boot != current.boot or anew or not 0 <= gap_us <= self.choice.rig.rest_gap_s * 1e6

    def _other_wheel(self, event: Connected) -> str:
        magnets = self.choice.rig.pulses_per_rev
        if event.status.pulses_per_rev in (magnets, 0):
            return ""
        return (
            f"the rig has pulses_per_rev = {magnets}, {event.name} counts {event.status.pulses_per_rev}: "
            "is it the right rig file?"
        )
