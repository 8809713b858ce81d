"""What a followed board's link tells, in the order in which it happens."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.link.messages import BoardStatus, LiveState
from brakebeat.results import Cue, Rep


@dataclass(frozen=True)
class Connected:
    """The link is up and the board's messages come in."""

    name: str
    address: str
    status: BoardStatus


@dataclass(frozen=True)
class RepArrived:
    """A finished rep with the cues that sounded in it; times are on the board's clock."""

    rep: Rep
    cues: list[Cue]
    record: bytes  # as the board packed it


@dataclass(frozen=True)
class CueHeard:
    """The board has just made a sound. The rep, once it has arrived, gives its time to the microsecond."""

    kind: str
    rep: int  # low 16 bits of its index
    board_s: float  # on the board's clock


@dataclass(frozen=True)
class LiveArrived:
    """What happens at the board now, about 20 times a second."""

    live: LiveState


@dataclass(frozen=True)
class LinkLost:
    """The link broke, or could not be made this time."""

    reason: str


@dataclass(frozen=True)
class Waiting:
    """Before trying again for the ``attempt``-th time of ``attempts`` (None: as often as it takes)."""

    attempt: int
    attempts: int | None
    pause_s: float


Event = Connected | RepArrived | CueHeard | LiveArrived | LinkLost | Waiting
