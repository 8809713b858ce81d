"""What a connected board says of itself, judged."""

from __future__ import annotations

from typing import Any

from brakebeat.doctor.findings import Checkup
from brakebeat.formats.rig_model import Rig
from brakebeat.link.messages import BoardStatus

# Below this share of the way from empty to full the supply should be charged soon.
_LOW = 0.15


def judge_board(checkup: Checkup, status: BoardStatus, rig: Rig, warning: str = "") -> None:
    """Supply, losses, and what troubles the board; ``warning``: what is odd about its rig file."""
    _judge_supply(checkup, status, rig)
    if status.overrun or status.raw_lost:
        checkup.add(
            "board",
            "look",
            f"the board lost {status.overrun} edges before it counted them and {status.raw_lost} on their way here, "
            "since power-up",
            "see which source of edges it uses and how many a second that takes; for a raw recording come closer, or "
            "use a cable",
            overrun=status.overrun,
            raw_lost=status.raw_lost,
        )
    for text in (status.trouble, warning):
        if text:
            checkup.add("board", "look", f"the board says: {text}" if text is status.trouble else text)
    if checkup.level("board") is None:
        checkup.add("board", "good", "the board reports no trouble and lost no edge")


def _judge_supply(checkup: Checkup, status: BoardStatus, rig: Rig) -> None:
    if status.supply_mv is None:
        checkup.add(
            "supply", "unknown", "the board does not measure its supply (no supply_pin in the rig file)"
        )
        return
    volts = status.supply_mv / 1000.0
    empty, full = rig.board.supply_empty_v, rig.board.supply_full_v
    share = (volts - empty) / (full - empty)
    figures: dict[str, Any] = {"supply_v": volts, "empty_v": empty, "full_v": full}
    if share <= 0.0:
        checkup.add("supply", "mend", f"the supply gives {volts:.2f} V: it is empty", "charge it", **figures)
    elif share < _LOW:
        checkup.add(
            "supply", "look", f"the supply gives {volts:.2f} V: nearly empty", "charge it soon", **figures
        )
    elif share > 1.25:
        checkup.add(
            "supply",
            "look",
            f"the supply gives {volts:.2f} V, more than full ({full:g} V)",
            "check supply_scale and supply_full_v in the rig file against a voltmeter",
            **figures,
        )
    else:
        checkup.add(
            "supply", "good", f"the supply gives {volts:.2f} V ({min(share, 1.0):.0%} full)", **figures
        )
