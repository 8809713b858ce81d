"""What the reference understood of a recording: its strokes, and where φ = 0 lies."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.reference.curve.ends import Stroke
from brakebeat.reference.curve.fit import Fit
from brakebeat.reference.zero import Zero

# A stroke this much of the longest one's way is no half rep.
_WHOLE = 0.7


@dataclass(frozen=True)
class Section:
    """A chain's strokes and where φ = 0 lies in its frame (None if it cannot be told)."""

    fit: Fit
    strokes: list[Stroke]
    zero: Zero | None

    def wide(self) -> int:
        """How many strokes are whole ones, as their way has it."""
        ways = [abs(stroke.finish.angle_rad - stroke.begin.angle_rad) for stroke in self.strokes]
        return sum(way > _WHOLE * max(ways) for way in ways)

    def passing(self) -> int:
        """How many strokes pass φ = 0 between two turnarounds."""
        if self.zero is None:
            return 0
        zero_rad = self.zero.angle_rad
        return sum(
            stroke.begin.known
            and stroke.finish.known
            and (stroke.begin.angle_rad - zero_rad) * (stroke.finish.angle_rad - zero_rad) < 0.0
            for stroke in self.strokes
        )


@dataclass(frozen=True)
class Understanding:
    """All that was worked out of a recording, or of a block of it: ``bounced``, ``missed`` and ``spurious`` edges, and
    sections in the order of time (none where there are too few edges)."""

    origin_us: int
    bounced: int
    missed: int
    spurious: int
    sections: list[Section]
