"""Raw edges as they come over a link, kept as arrays; what never came is counted and its place remembered."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brakebeat.formats.edge_text import Steps, Times
from brakebeat.formats.header import HOLES_KEY, LOST_KEY
from brakebeat.formats.recording import Recording

_MOST_HOLES_TOLD = 100


@dataclass(frozen=True)
class Hole:
    """A place where edges are missing: between two edges that came. ``lost`` is None where nobody could count."""

    from_us: int
    to_us: int
    lost: int | None


@dataclass
class EdgeTape:
    """Edges in order, on the board's unwrapped clock, in microseconds."""

    count: int = 0
    holes: list[Hole] = field(default_factory=list)
    _times: list[Times] = field(default_factory=list)
    _steps: list[Steps] = field(default_factory=list)

    @property
    def lost(self) -> int:
        """Edges known to be missing; holes of unknown size are not in it (see ``uncounted``)."""
        return sum(hole.lost or 0 for hole in self.holes)

    @property
    def uncounted(self) -> int:
        """Holes of which nobody could count the edges: the link was down, or the board restarted its stream."""
        return sum(hole.lost is None for hole in self.holes)

    @property
    def last_us(self) -> int | None:
        """The time of the last edge; None before the first."""
        return int(self._times[-1][-1]) if self._times else None

    def add(self, t_us: Times, step: Steps, lost: int | None = 0) -> None:
        """Append edges. ``lost``: how many are missing in front of them (None: some, nobody knows how many).

        Raises:
            ValueError: the times do not go on from those before, as after a restart of the board's clock.
        """
        if not t_us.size:
            return
        first_us, last_us = int(t_us[0]), self.last_us
        if (last_us is not None and first_us < last_us) or (np.diff(t_us) < 0).any():
            raise ValueError(f"an edge at {first_us} us after one at {last_us} us")
        if lost != 0:
            self.holes.append(Hole(first_us if last_us is None else last_us, first_us, lost))
        self._times.append(t_us.astype(np.int64))
        self._steps.append(step.astype(np.int8))
        self.count += t_us.size

    def edges(self, from_us: int | None = None) -> tuple[Times, Steps]:
        """All edges (n,), or those from ``from_us`` on."""
        self._join()
        if not self._times:
            return np.empty(0, np.int64), np.empty(0, np.int8)
        first = 0 if from_us is None else int(np.searchsorted(self._times[0], from_us))
        return self._times[0][first:], self._steps[0][first:]

    def forget_before(self, t_us: int) -> None:
        """Drop the edges before ``t_us`` (``count`` and ``holes`` stay)."""
        times, steps = self.edges(t_us)
        self._times, self._steps = ([times.copy()], [steps.copy()]) if times.size else ([], [])

    def recording(self, header: dict[str, str], from_us: int | None = None) -> Recording:
        """The edges under ``header``, in which what is missing is marked."""
        times, steps = self.edges(from_us)
        return Recording(times, steps, {**header, **self.marks()})

    def marks(self) -> dict[str, str]:
        """Header keys that say what is missing; empty where nothing is."""
        if not self.holes:
            return {}
        told = [f"{hole.from_us}-{hole.to_us}" for hole in self.holes[:_MOST_HOLES_TOLD]]
        if len(self.holes) > len(told):
            told.append(f"and {len(self.holes) - len(told)} more")
        lost = f"{self.lost}{' or more' if self.uncounted else ''}"
        return {LOST_KEY: lost, HOLES_KEY: " ".join(told)}

    def _join(self) -> None:
        if len(self._times) > 1:
            self._times = [np.concatenate(self._times)]
            self._steps = [np.concatenate(self._steps)]
