"""Raw edges as a board streams them: varint-coded notifications back to times and steps, losses counted."""

from __future__ import annotations

import struct

import numpy as np

from brakebeat.board.files import load_wire
from brakebeat.formats.edge_text import Steps, Times
from brakebeat.link.events import EdgesArrived

_WRAP_US = 1 << 32
_STEPS = (0, 1, None, -1)
# A delta has at most 32 bits and a step two.
_LONGEST_VARINT = 5


class RawDecoder:
    """Takes the notifications of one RAW_START in order of arrival.

    board_us: the board's clock at RAW_START, in full. boot: which power-up that clock belongs to.
    follows_gap: edges may have passed between an earlier stream of that clock and this one.
    """

    def __init__(self, board_us: int, boot: int, follows_gap: bool) -> None:
        self._clock_us = board_us
        self._boot = boot
        self._sequence = 0
        self._lost = 0
        # Missing edges in front of the next one; None: some, nobody knows how many.
        self._missing: int | None = None if follows_gap else 0
        self._uncoded = struct.Struct(load_wire().RAW_HEAD_FORMAT)
        self.damaged = 0

    def feed(self, message: bytes) -> EdgesArrived | None:
        """One notification's edges; None for a heartbeat or something that is no message of this kind."""
        if len(message) < self._uncoded.size:
            self.damaged += 1
            return None
        sequence, lost, first_us = self._uncoded.unpack_from(message)
        if (sequence - self._sequence) & 0xFFFF >= 0x8000:
            # One from before, again.
            return None
        self._note_missing(sequence, lost)
        begin_us = self._unwrapped(first_us)
        coded = decode_edges(message[self._uncoded.size :])
        if coded is None:
            self.damaged += 1
            self._missing = None
            return None
        deltas, steps = coded
        if not deltas.size:
            self._clock_us = begin_us
            return None
        times = begin_us + np.cumsum(deltas)
        missing, self._missing = self._missing, 0
        self._clock_us = int(times[-1])
        return EdgesArrived(self._boot, times, steps, missing)

    def _note_missing(self, sequence: int, lost: int) -> None:
        if sequence != self._sequence:
            self._missing = None
        elif self._missing is not None:
            self._missing += (lost - self._lost) & 0xFFFF
        self._sequence = (sequence + 1) & 0xFFFF
        self._lost = lost

    def _unwrapped(self, low_us: int) -> int:
        """The time nearest to the last one whose low 32 bits are ``low_us``."""
        ahead_us = (low_us - self._clock_us) % _WRAP_US
        if ahead_us >= _WRAP_US // 2 and self._clock_us + ahead_us >= _WRAP_US:
            ahead_us -= _WRAP_US
        return self._clock_us + ahead_us


def decode_edges(coded: bytes) -> tuple[Times, Steps] | None:
    """(deltas, steps) of LEB128 varints ``delta_us << 2 | step & 3``; None where they are damaged."""
    deltas: list[int] = []
    steps: list[int] = []
    value = shift = 0
    for byte in coded:
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte & 0x80:
            if shift >= 7 * _LONGEST_VARINT:
                return None
            continue
        step = _STEPS[value & 3]
        if step is None:
            return None
        deltas.append(value >> 2)
        steps.append(step)
        value = shift = 0
    if shift:
        return None
    return np.array(deltas, np.int64), np.array(steps, np.int8)
