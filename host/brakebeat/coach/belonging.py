"""Whether a rep that arrives was pulled in this session, or before it and only fetched now."""

from __future__ import annotations

from brakebeat.link.events import Connected, RepArrived

# Power-ups are counted in 16 bits.
_HALF_OF_BOOTS = 0x8000


class Belonging:
    """Remembers where on the board's clock the session began, and what time that clock's power-up was."""

    def __init__(self) -> None:
        self._first: Connected | None = None
        self._offset_us: dict[int, int] = {}

    def connected(self, event: Connected) -> None:
        """The link is up (again)."""
        self._first = self._first or event
        self._offset_us[event.boot] = event.wall_us - event.board_us

    def earlier(self, event: RepArrived) -> bool:
        """Whether the rep had ended before the session's first link."""
        if self._first is None or event.journal_id != self._first.journal_id:
            return False
        if event.boot == self._first.boot:
            return event.rep.end_us < self._first.board_us
        return (event.boot - self._first.boot) % (2 * _HALF_OF_BOOTS) >= _HALF_OF_BOOTS

    def ended_s(self, event: RepArrived) -> float | None:
        """When it ended, in seconds since 1970; None where nobody knows."""
        offset_us = self._offset_us.get(event.boot)
        return None if offset_us is None else (event.rep.end_us + offset_us) / 1e6
