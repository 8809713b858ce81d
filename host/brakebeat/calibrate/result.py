"""What a calibration hands back, whatever was calibrated."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from brakebeat.results import SCHEMA, finite

Kind = Literal["magnets", "friction", "inertia", "strap", "zero"]
# A number, one for each magnet, or None where it cannot be known.
Value = float | int | list[float | None] | None

# What `flags` may hold; the one list, quoted by DEVELOPERS.md.
FLAGS: dict[str, str] = {
    "few_turns": "fewer than five turns ran free: spin faster, or let it run longer",
    "magnet_unseen": "a magnet hardly ever gave an edge: its offset is null; look at the magnet and the gap",
    "edges_missed": "magnets passed without an edge; the count was carried over them",
    "edges_extra": "edges that belong to no magnet (bounces, stray fields) were left out",
    "first_edge_uncertain": "the way from the first edge to the free run is not sure: the table may be rotated",
    "lost_track": "the count was lost before the wheel stopped; only what came before is used",
    "unbalanced": "the wheel gains and loses speed once a turn: it is out of balance; that was fitted along",
    "not_free": "the motion does not follow friction alone (a rubbing part, a hand, an unbalanced wheel); "
    "uncertainties are widened",
    "torque_inseparable": "friction that does not depend on speed cannot be told apart here; it is 0",
    "viscous_inseparable": "friction proportional to speed cannot be told apart here; it is 0",
    "drag_inseparable": "friction proportional to speed squared cannot be told apart here; it is 0",
    "inertia_assumed_exact": "no uncertainty of the inertia was given; it is left out of the figures",
    "friction_left_out": "no friction is known: it counts as inertia here, so that the figure is too high",
    "friction_from_run_out": "friction was taken from the wheel's running on after the mass had landed",
    "friction_from_masses": "friction was found from the two masses together",
    "radius_assumed_exact": "no uncertainty of the drum radius was given; it is left out of the figure",
    "zero_from_peak": "the strap was taken to be all the way out where the wheel was fastest",
    "methods_disagree": "the methods differ by more than their uncertainties allow; one of them is wrong",
    "thickness_assumed": "the strap's thickness was taken as given, not measured",
    "thickness_inseparable": "too few lengths to tell the strap's thickness; it is 0",
    "lengths_disagree": "the pulled lengths do not fit one drum; measure them again",
    "pulled_fast": "the wheel ran faster than a slow pull turns it, and may have wound the strap up again before it "
    "stood: pull slowly (for the zero --at can name a moment at which the strap was held)",
    "density_from_memory": "a density comes from memory, without a source; weigh the part instead",
    "negative_thickness": "the lengths would need a negative thickness; it is 0",
}

# With one of these the figure lies between measurements of which one is wrong.
_CONTRADICTED = frozenset({"methods_disagree", "lengths_disagree"})


@dataclass
class Calibration:
    """Estimates with their standard uncertainties, and what is doubtful about them.

    ``estimate`` and ``uncertainty`` share their keys, which are those of the rig file where it has them
    (``offsets_rad`` goes there as ``magnet_offsets_rad``). ``methods`` holds the ways that led to one figure,
    ``details`` what a person may want to know besides.
    """

    kind: Kind
    estimate: dict[str, Value]
    uncertainty: dict[str, Value]
    flags: list[str] = field(default_factory=list)
    methods: dict[str, dict[str, Any]] = field(default_factory=dict)
    details: dict[str, Any] = field(default_factory=dict)

    def flag(self, *names: str) -> None:
        """Add flags that are not there yet."""
        for name in names:
            assert name in FLAGS, name
            if name not in self.flags:
                self.flags.append(name)

    def to_document(self) -> dict[str, Any]:
        """The JSON document of schema 1; NaN and infinities become null."""
        document: dict[str, Any] = {
            "schema": SCHEMA,
            "kind": self.kind,
            "estimate": self.estimate,
            "uncertainty": self.uncertainty,
            "flags": self.flags,
        }
        if self.methods:
            document["methods"] = self.methods
        if self.details:
            document["details"] = self.details
        clean: dict[str, Any] = finite(document)
        return clean

    def rig_values(self) -> dict[str, Any]:
        """What belongs into a rig file; nothing that is unknown, nothing where measurements contradict one another."""
        if not _CONTRADICTED.isdisjoint(self.flags):
            return {}
        if self.kind == "strap" and "pulled_fast" in self.flags:
            # Then the strap has wound up again, and the lengths are of other turns.
            return {}
        names = {"offsets_rad": "magnet_offsets_rad"}
        values: dict[str, Any] = {}
        for key, value in self.estimate.items():
            if value is None or (isinstance(value, list) and None in value):
                continue
            values[names.get(key, key)] = value
        return values
