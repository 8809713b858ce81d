"""What the count of edges in one turn says of the rig file's."""

from __future__ import annotations

from typing import Any

from brakebeat.doctor.findings import Checkup
from brakebeat.doctor.turns import Turn

_WHICH_BELOW = "see which below"
_WHICH_BY_HAND = "turn the wheel slowly by hand and see at which magnet no edge comes"


def judge_turn(checkup: Checkup, turn: Turn, magnets: int, named: bool) -> None:
    """``named``: whether each magnet is judged by itself, too."""
    figures: dict[str, Any] = {"rig": magnets, "seen": turn.count}
    if turn.single:
        checkup.add(
            "edges_per_turn",
            "look",
            f"the gaps are as even as one magnet's: either all {magnets} sit evenly to a hundredth of a degree or so, "
            "or only one of them gives an edge",
            f"turn the wheel by hand ten times: {10 * magnets} edges are right. If it is 10, the others are missing, "
            "weak, or turned round",
            **figures,
        )
    elif turn.count is None and turn.agrees:
        checkup.add(
            "edges_per_turn",
            "unknown",
            f"the spacing is too even (or the turns too few) to count them; nothing speaks against {magnets}",
            "to be sure, turn the wheel by hand ten times and see that it gives ten times as many edges",
            **figures,
        )
    elif turn.agrees:
        checkup.add("edges_per_turn", "good", f"{magnets} edges a turn, as the rig file says", **figures)
    elif turn.places is not None:
        dead = magnets - len(turn.places)
        checkup.add(
            "edges_per_turn",
            "mend",
            f"{turn.count} edges a turn, the rig file says {magnets}: the gaps fit {magnets} magnets of which "
            f"{dead} never {'gives' if dead == 1 else 'give'} an edge",
            f"{_WHICH_BELOW if named else _WHICH_BY_HAND}; or set pulses_per_rev in the rig file, if there are no more "
            "magnets",
            **figures,
        )
    else:
        seen = f"{turn.count} edges a turn" if turn.count is not None else "another number of edges a turn"
        checkup.add(
            "edges_per_turn",
            "mend",
            f"{seen}, the rig file says {magnets}",
            "count the magnets and set pulses_per_rev; if the count is right, one magnet gives two edges (turn it "
            "round, or move the sensor away) or a screw passes the sensor, too",
            **figures,
        )
