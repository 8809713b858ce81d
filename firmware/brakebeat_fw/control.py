"""The commands of a host: each is checked, obeyed or refused, and answered."""

import binascii
import struct

from micropython import const

from . import wire
from .framing import checksum

_RECORD_TIME = const(2)
_TIME_AGAIN_S = const(3600)

_ERROR_MALFORMED = const(1)
_ERROR_UNKNOWN = const(2)
_ERROR_REFUSED = const(3)
_ERROR_BUSY = const(4)
_ERROR_VERSION = const(5)
_ERROR_VALUE = const(6)
_ERROR_RIG = const(7)
_ERROR_STORAGE = const(8)

_COMMAND_HELLO = const(1)
_COMMAND_FROM = const(2)
_COMMAND_ACKNOWLEDGE = const(3)
_COMMAND_TIME = const(4)
_COMMAND_RAW_START = const(5)
_COMMAND_RAW_STOP = const(6)
_COMMAND_RIG_BEGIN = const(7)
_COMMAND_RIG_PART = const(8)
_COMMAND_RIG_COMMIT = const(9)
_COMMAND_ERASE = const(10)
_COMMAND_MAGNETS = const(11)

# Bytes of payload that each command needs at least, by code.
_LEAST = b"\x00\x02\x04\x04\x08\x00\x00\x06\x02\x00\x04\x01"
_LARGEST_RIG = const(4096)
_MOST_ANSWERS = const(16)


class Control:
    """Obeys commands. board: has ``journal``, ``session``, ``tap``, ``clock_us()``, ``uptime_s()``, ``at_rest`` and
    ``take_rig(text)``, which returns what is wrong, or an empty text.
    """

    def __init__(self, board):
        self._board = board
        self.answers = []  # type: list[bytes]
        self.refused = 0
        self._rig = bytearray()
        self._rig_crc = 0
        self._timed_s = -_TIME_AGAIN_S
        self.forget()

    def forget(self):
        # type: () -> None
        """Another host: nothing of the last one holds."""
        self.answers = []
        self.heard = False  # it speaks our protocol
        self.start = -1  # the sequence number from which it wants records, until that was seen to
        self.arrived = None  # type: int | None  # the last one that it has; None: it has not asked for any yet
        self._stale = False  # its acknowledgements may mean another journal's records
        self._rig = bytearray()

    def other_journal(self):
        # type: () -> None
        """The numbers that the host knows mean nothing any more: it has to ask anew."""
        self.start = -1
        self.arrived = None
        self._stale = True

    def obey(self, data, trusted):
        # type: (bytes, bool) -> None
        """Take the commands of one or several writes; ``trusted``: those may change things."""
        at = 0
        while at < len(data):
            if at + 7 > len(data) or at + 7 + data[at + 2] > len(data):
                break
            code, tag, size = data[at : at + 3]
            end = at + 3 + size
            if checksum(data[at:end]) != data[end : end + 4]:
                break
            self._answer(code, tag, *self._obey_one(code, data[at + 3 : end], trusted))
            at = end + 4
        else:
            return
        self._answer(0, 0, _ERROR_MALFORMED, b"")

    def _answer(self, code, tag, error, content):
        self.refused += 0 < error < _ERROR_BUSY
        if (code != _COMMAND_ACKNOWLEDGE or error) and len(self.answers) < _MOST_ANSWERS:
            answer = struct.pack(wire.ANSWER_HEAD_FORMAT, code, tag, error) + content
            self.answers.append(answer + checksum(answer))

    def _obey_one(self, code, payload, trusted):
        # type: (int, bytes, bool) -> tuple[int, bytes]
        """The answer's error and content."""
        if not _COMMAND_HELLO <= code <= _COMMAND_MAGNETS:
            return _ERROR_UNKNOWN, b""
        if len(payload) < _LEAST[code]:
            return _ERROR_VALUE, b""
        if code == _COMMAND_HELLO:
            return self._hello(payload[0], payload[1])
        if code == _COMMAND_TIME:
            return self._time(struct.unpack_from("<Q", payload)[0], trusted)
        if code == _COMMAND_RAW_STOP:
            self._board.tap.stop()
            return 0, b""
        if code <= _COMMAND_ACKNOWLEDGE:
            return self._deliver(code, struct.unpack_from("<I", payload)[0]), b""
        if code == _COMMAND_MAGNETS:
            return 0, self._board.session.learnt_magnets(payload[0])
        if not trusted:
            return _ERROR_REFUSED, b""
        if code == _COMMAND_RAW_START:
            self._board.tap.start()
            return 0, struct.pack("<Q", self._board.clock_us())
        return self._change(code, payload), b""

    def _hello(self, lowest, highest):
        journal = self._board.journal
        common = lowest <= wire.PROTOCOL_VERSION <= highest
        self.heard = self.heard or common
        content = struct.pack(
            wire.HELLO_FORMAT, wire.PROTOCOL_VERSION, journal.id, journal.oldest, journal.next
        )
        return 0 if common else _ERROR_VERSION, content

    def _deliver(self, code, sequence):
        journal = self._board.journal
        if sequence >= journal.next + (code == _COMMAND_FROM):
            return _ERROR_VALUE
        if code == _COMMAND_FROM:
            self.heard = True
            self._stale = False
            self.start = sequence
            self.arrived = sequence - 1
        elif self._stale:
            return _ERROR_VALUE
        else:
            if self.arrived is not None:
                self.arrived = max(self.arrived, sequence)
            journal.acknowledged = max(journal.acknowledged, sequence + 1)
        return 0

    def _time(self, wall_us, trusted):
        board = self._board
        now_us = board.clock_us()
        # A stranger is told the board's time, but dates nobody else's reps.
        if trusted and board.uptime_s() - self._timed_s >= _TIME_AGAIN_S:
            self._timed_s = board.uptime_s()
            board.journal.put(_RECORD_TIME, struct.pack(wire.TIME_FORMAT, now_us, wall_us))
        return 0, struct.pack("<QH", now_us, board.journal.boot & 0xFFFF)

    def _change(self, code, payload):
        # type: (int, bytes) -> int
        board = self._board
        if code == _COMMAND_RIG_BEGIN:
            size, self._rig_crc = struct.unpack_from("<HI", payload)
            if size > _LARGEST_RIG:
                return _ERROR_VALUE
            self._rig = bytearray(size)
        elif code == _COMMAND_RIG_PART:
            at = payload[0] | payload[1] << 8
            end = at + len(payload) - 2
            if end > len(self._rig):
                return _ERROR_VALUE
            self._rig[at:end] = payload[2:]
        elif not board.at_rest:
            return _ERROR_BUSY
        elif code == _COMMAND_RIG_COMMIT:
            return self._commit()
        elif payload[:4] != struct.pack("<I", board.journal.id):
            return _ERROR_VALUE
        else:
            board.journal.wipe()
        return 0

    def _commit(self):
        if not self._rig or binascii.crc32(self._rig) & 0xFFFFFFFF != self._rig_crc:
            return _ERROR_VALUE
        try:
            return _ERROR_RIG if self._board.take_rig(bytes(self._rig)) else 0
        except OSError:
            return _ERROR_STORAGE
