"""What a followed board's link tells, in the order in which it happens."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.formats.edge_text import Steps, Times
from brakebeat.link.messages import BoardStatus, LiveState
from brakebeat.results import Cue, Rep


@dataclass(frozen=True)
class Connected:
    """The link is up and the board's messages come in.

    At ``board_us`` on the clock of power-up ``boot`` it was ``wall_us`` microseconds since 1970-01-01 UTC.
    """

    name: str
    address: str
    status: BoardStatus
    journal_id: int
    boot: int
    board_us: int
    wall_us: int


@dataclass(frozen=True)
class RepArrived:
    """A finished rep with the cues that sounded in it; times are on the clock of the board's power-up ``boot``.

    The journal's id and ``sequence`` together name it for good.
    """

    rep: Rep
    cues: list[Cue]
    record: bytes  # as the board packed it
    journal_id: int
    sequence: int
    boot: int


@dataclass(frozen=True)
class TimeTold:
    """The journal says what the time was in power-up ``boot``: ``board_us`` on its clock was ``wall_us`` UTC."""

    journal_id: int
    boot: int
    board_us: int
    wall_us: int


@dataclass(frozen=True)
class RecordsGone:
    """The journal has overwritten records that this host had not fetched: numbers ``first`` to ``last``."""

    first: int
    last: int


@dataclass(frozen=True)
class CaughtUp:
    """Every record that the board had when the link came up has arrived."""


@dataclass(frozen=True)
class EdgesArrived:
    """Raw edges, (n,) each, n at least 1, on the clock of power-up ``boot``, unwrapped.

    ``missing``: edges lost in front of these; None where some may be and nobody knows how many.
    """

    boot: int
    t_us: Times
    step: Steps
    missing: int | None


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
class StatusArrived:
    """The board has told how it is once more."""

    status: BoardStatus


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


Event = (
    Connected
    | RepArrived
    | TimeTold
    | RecordsGone
    | CaughtUp
    | EdgesArrived
    | CueHeard
    | LiveArrived
    | StatusArrived
    | LinkLost
    | Waiting
)
