"""The host's side of the radio link: find a board, follow its reps and cues, come back when the link breaks.

``follow`` is the way in; it yields the events of ``events``. Plain bleak underneath.
"""

from brakebeat.link.events import (
    Connected,
    CueHeard,
    Event,
    LinkLost,
    LiveArrived,
    RepArrived,
    Waiting,
)
from brakebeat.link.finder import Finder, Wanted
from brakebeat.link.follow import follow
from brakebeat.link.messages import BoardStatus, LiveState, decode_live, decode_status

__all__ = [
    "BoardStatus",
    "Connected",
    "CueHeard",
    "Event",
    "Finder",
    "LinkLost",
    "LiveArrived",
    "LiveState",
    "RepArrived",
    "Waiting",
    "Wanted",
    "decode_live",
    "decode_status",
    "follow",
]
