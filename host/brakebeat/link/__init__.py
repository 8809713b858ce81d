"""The host's side of the link: find a board, follow its reps and cues, come back when the link breaks.

``follow`` is the way in; it yields the events of ``events``. Below it lies a ``Transport``: Bluetooth LE by plain bleak
(``ble``) or a serial line (``serial_link``).
"""

from brakebeat.link.events import (
    CaughtUp,
    Connected,
    CueHeard,
    EdgesArrived,
    Event,
    LinkLost,
    LiveArrived,
    RecordsGone,
    RepArrived,
    StatusArrived,
    TimeTold,
    Waiting,
)
from brakebeat.link.finder import Finder, Wanted
from brakebeat.link.follow import follow
from brakebeat.link.ledger import Ledger
from brakebeat.link.messages import BoardStatus, LiveState, decode_live, decode_status

__all__ = [
    "BoardStatus",
    "CaughtUp",
    "Connected",
    "CueHeard",
    "EdgesArrived",
    "Event",
    "Finder",
    "Ledger",
    "LinkLost",
    "LiveArrived",
    "LiveState",
    "RecordsGone",
    "RepArrived",
    "StatusArrived",
    "TimeTold",
    "Waiting",
    "Wanted",
    "decode_live",
    "decode_status",
    "follow",
]
