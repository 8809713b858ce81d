"""Which records of a board have been taken: so that each one is handed on once, and nothing is skipped."""

from __future__ import annotations

from collections.abc import Mapping

# Records that may come twice lie close together; older ones than these are told apart by their number alone.
_REMEMBERED = 4096


class Ledger:
    """Over all connections to one board.

    first: the sequence number to begin with in the first journal that is met; None: with whatever no host has
    acknowledged yet.
    known: by a journal's id, the number to begin with there, from what was kept of it earlier.
    """

    def __init__(self, first: int | None = None, known: Mapping[int, int] | None = None) -> None:
        self._first = first
        self._known = known or {}
        self._journal_id: int | None = None
        self._last: int | None = None
        self._taken: set[int] = set()

    @property
    def last(self) -> int | None:
        """The greatest number taken in this journal; None before the first."""
        return self._last

    def open(self, journal_id: int) -> int | None:
        """A connection shows this journal: the number to ask for, None as ``first``.

        Another id than before is another journal, whose numbers began anew: all of it is wanted.
        """
        if self._journal_id is None:
            self._journal_id = journal_id
            self._first = self._known.get(journal_id, self._first)
        elif journal_id != self._journal_id:
            self._journal_id, self._first, self._last = journal_id, self._known.get(journal_id, 0), None
            self._taken.clear()
        return self._first if self._last is None else self._last + 1

    def new(self, sequence: int) -> bool:
        """Whether this record has not been taken yet."""
        if self._last is not None and sequence <= self._last - _REMEMBERED:
            return False
        return sequence not in self._taken

    def take(self, sequence: int) -> None:
        """It has been dealt with."""
        self._taken.add(sequence)
        self._last = sequence if self._last is None else max(self._last, sequence)
        if len(self._taken) > 2 * _REMEMBERED:
            self._taken = {number for number in self._taken if number > self._last - _REMEMBERED}
