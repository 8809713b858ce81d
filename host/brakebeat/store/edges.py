"""A recording's edges packed for the store, and its digest.

Packed: version byte 1, then zlib of the first time (8 bytes) and the differences of the times (unsigned, in as
few of 1, 2, 4 or 8 bytes as the greatest needs, all lowest bytes first, then the next ones, …) and, where a
step is not 0, the steps (1 byte each). All little-endian.
"""

from __future__ import annotations

import hashlib
import struct
import zlib

import numpy as np

from brakebeat.errors import InputError
from brakebeat.formats.edge_text import Steps, Times

_VERSION = 1
_HEAD = struct.Struct("<qIBB")  # first time, count, bytes a difference, steps follow


def digest(t_us: Times, step: Steps) -> str:
    """What makes the edges themselves: 64 hex digits, whatever header stands above them."""
    sha = hashlib.sha256(np.ascontiguousarray(t_us, dtype="<i8").tobytes())
    sha.update(np.ascontiguousarray(step, dtype="i1").tobytes())
    return sha.hexdigest()


def pack(t_us: Times, step: Steps) -> bytes:
    """``t_us`` (n,) never decreasing and ``step`` (n,), n ≥ 1, as bytes."""
    gaps = np.diff(np.asarray(t_us, dtype=np.int64)).astype(np.uint64)
    greatest = int(gaps.max(initial=0))
    width = next(width for width in (1, 2, 4, 8) if greatest < 1 << (8 * width))
    planes = gaps.astype(f"<u{width}").view(np.uint8).reshape(-1, width).T
    sensed = bool(np.any(step))
    head = _HEAD.pack(int(t_us[0]), len(t_us), width, sensed)
    steps = np.ascontiguousarray(step, dtype="i1").tobytes() if sensed else b""
    return bytes([_VERSION]) + zlib.compress(head + planes.tobytes() + steps, 9)


def unpack(packed: bytes) -> tuple[Times, Steps]:
    """What ``pack`` packed. Raises ``InputError`` for bytes that it did not make."""
    if not packed or packed[0] != _VERSION:
        raise InputError("stored edges are of a newer kind; update Brakebeat")
    try:
        data = zlib.decompress(packed[1:])
        first, count, width, sensed = _HEAD.unpack_from(data)
        size = (count - 1) * width
        planes = np.frombuffer(data, np.uint8, size, _HEAD.size).reshape(width, count - 1)
        steps = np.zeros(count, np.int8)
        if sensed:
            steps = np.frombuffer(data, np.int8, count, _HEAD.size + size).copy()
        gaps = np.ascontiguousarray(planes.T).view(f"<u{width}").reshape(-1)
    except (zlib.error, struct.error, ValueError) as error:
        raise InputError(f"stored edges are damaged ({error}); go back to a backup of the store") from error
    times = np.empty(count, np.int64)
    times[0] = first
    times[1:] = first + np.cumsum(gaps.astype(np.int64))
    return times, steps
