"""Which magnets give no edge, or too few."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.stats import binom

from brakebeat.doctor.edges import Edges
from brakebeat.doctor.findings import Checkup

_MISSED = (0.002, 0.02)
# A magnet is the odd one where chance would make it miss that often in one rig of a thousand only.
_CHANCE = 1e-3
_NEVER = 0.9
_CLOSER = "move the sensor closer to the ring (2 to 4 mm from a usual magnet; common practice, no source)"


def judge_magnets(checkup: Checkup, edges: Edges) -> None:
    """Which magnets give no edge, or miss some of their passes."""
    offsets = edges.offsets.estimate["offsets_rad"]
    assert isinstance(offsets, list)
    bad: list[int] = []
    for number in range(edges.spin.magnets):
        passes, missed = int(edges.passes[number]), int(edges.missed[number])
        following = None if edges.next_places is None else int(edges.next_places[number])
        row: dict[str, Any] = {
            "magnet": number + 1,
            "magnet_sure": edges.first_sure,
            "comes_as": following,
            "passes": passes,
            "missed": missed,
            "offset_rad": offsets[number],
        }
        checkup.magnets.append(row)
        if passes and missed >= _NEVER * passes:
            bad.append(number)
            checkup.add(
                "magnets",
                "mend",
                f"magnet {number + 1} never gave an edge in {passes} turns",
                f"{_which(following)}see whether it is there and which pole faces the sensor; turn it round if it is "
                "the wrong one, replace it if it is weak",
                **row,
            )
        elif _odd_one(edges, number):
            bad.append(number)
            checkup.add(
                "magnets",
                "mend",
                f"magnet {number + 1} was missed in {missed} of {passes} turns",
                f"{_which(following)}it is weak or sits too far from the sensor: move it closer, or replace it",
                **row,
            )
    others = np.setdiff1d(np.arange(edges.spin.magnets), bad)
    missed, passes = int(edges.missed[others].sum()), int(edges.passes[others].sum())
    share = missed / max(passes, 1)
    if share >= _MISSED[0] and missed >= 2:
        level = "mend" if share >= _MISSED[1] else "look"
        checkup.add(
            "magnets",
            "mend" if level == "mend" else "look",
            f"{missed} of {passes} passes gave no edge, no magnet more than the others",
            f"{_CLOSER}; check the pull-up and the supply of the sensor",
            passes=passes,
            missed=missed,
        )
    elif not bad:
        checkup.add("magnets", "good", f"every magnet gave its edge ({missed} of {passes} missed)")


def _which(following: int | None) -> str:
    """How to find it at the wheel."""
    if following is None:
        return "(counted from the one that came first after the wheel stood) "
    place = "next" if following == 1 else f"as number {following}"
    return f"(it comes to the sensor {place} if you go on turning the same way) "


def _odd_one(edges: Edges, number: int) -> bool:
    """Whether a magnet is missed more often than the others' rate makes believable."""
    missed, passes = int(edges.missed[number]), int(edges.passes[number])
    if missed < 2:
        return False
    others = np.arange(edges.spin.magnets) != number
    # Half a miss more than was seen: with few passes a rate of 0 is not known to be 0.
    rate = (int(edges.missed[others].sum()) + 0.5) / (int(edges.passes[others].sum()) + 1)
    return bool(binom.sf(missed - 1, passes, min(rate, 0.5)) < _CHANCE / edges.spin.magnets)
