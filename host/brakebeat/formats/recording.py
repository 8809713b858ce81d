"""Pulse recordings (`*.csv`): a header, then one edge a line. Read in blocks, written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, Self

import numpy as np

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.atomic import atomic_write
from brakebeat.formats.edge_text import Steps, Times, format_block, parse_block
from brakebeat.formats.header import LONGEST_LINE, Header, header_text, read_header
from brakebeat.formats.rig import Rig, read_rig, rig_from_header
from brakebeat.formats.unwrap import Unwrapper

BLOCK_BYTES = 1 << 20
_EDGES_A_BLOCK = 1 << 16


@dataclass(frozen=True)
class Recording:
    """Edges of one recording.

    ``t_us`` (n,) int64: microseconds on the recording's clock, unwrapped, never decreasing.
    ``step`` (n,) int8: +1 or -1 where the sensor gives the sense of rotation, else 0.
    ``header``: every key as read, unknown ones too, in order, without the version.
    ``rig_override``: the rig of a `--rig FILE`; what it states wins over the header.
    """

    t_us: Times
    step: Steps
    header: dict[str, str]
    path: str = "<memory>"
    rig_override: Rig | None = field(default=None, repr=False)

    @cached_property
    def rig(self) -> Rig:
        """The rig as the header and ``rig_override`` give it. Raises ``InputError`` for a bad header."""
        return merged_rig(Header(self.header), self.path, self.rig_override)


@dataclass(frozen=True)
class RecordingStream:
    """A recording that is read block by block: ``header`` and ``rig`` at once, the edges as asked for.

    Leaving a ``with`` block closes the file; reading the edges to their end does too.
    """

    header: dict[str, str]
    rig: Rig
    path: str
    rig_override: Rig | None
    chunks: Iterator[tuple[Times, Steps]]
    _file: BinaryIO

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exception: object) -> None:
        self._file.close()


def read_recording(path: str | os.PathLike[str], rig_file: str | os.PathLike[str] | None = None) -> Recording:
    """Read a whole recording (9 bytes an edge, 18 while reading); ``rig_file`` wins over the header.

    Raises ``InputError`` naming file, line, what was wrong and what to do.
    """
    return _whole(open_recording(path, rig_file))


def _whole(stream: RecordingStream) -> Recording:
    times: list[Times] = []
    steps: list[Steps] = []
    for some_times, some_steps in stream.chunks:
        times.append(some_times)
        steps.append(some_steps)
    return Recording(
        np.concatenate(times), np.concatenate(steps), stream.header, stream.path, stream.rig_override
    )


def iter_chunks(
    path: str | os.PathLike[str],
    rig_file: str | os.PathLike[str] | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> Iterator[tuple[Times, Steps]]:
    """The edges as (t_us, step) arrays, in memory bounded by ``block_bytes``; errors as they are met."""
    return open_recording(path, rig_file, block_bytes).chunks


def open_recording(
    path: str | os.PathLike[str],
    rig_file: str | os.PathLike[str] | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> RecordingStream:
    """Read a recording's header and get ready for its edges; errors in the edges come with their block."""
    name = os.fspath(path)
    override = None if rig_file is None else read_rig(rig_file)
    try:
        stream = Path(name).open("rb")  # noqa: SIM115 - the generator of the edges closes it
    except (OSError, ValueError) as error:
        raise unreadable(name, error) from error
    return _begun(stream, name, override, block_bytes)


def parse_recording(data: bytes, name: str, rig_override: Rig | None = None) -> Recording:
    """The recording in a file's bytes, as ``read_recording`` gives it; ``name`` stands for the file in errors.

    Raises ``InputError`` naming file, line, what was wrong and what to do.
    """
    return _whole(_begun(BytesIO(data), name, rig_override, BLOCK_BYTES))


def _begun(stream: BinaryIO, name: str, override: Rig | None, block_bytes: int) -> RecordingStream:
    try:
        header = read_header(stream, name)
        rig = merged_rig(header, name, override)
    except BaseException:
        stream.close()
        raise
    chunks = _chunks(stream, name, header, block_bytes)
    return RecordingStream(header.values, rig, name, override, chunks, stream)


def merged_rig(header: Header, path: str, override: Rig | None) -> Rig:
    """The rig of a header, with what ``override`` states in place of the header's values."""
    spare_count = None if override is None else override.pulses_per_rev
    lines = header.lines if not header.column_line else {**header.lines, "": header.column_line}
    rig = rig_from_header(header.values, path, lines, spare_count)
    return rig if override is None else rig.overridden_by(override)


def _chunks(stream: BinaryIO, path: str, header: Header, block_bytes: int) -> Iterator[tuple[Times, Steps]]:
    """Parse, check and unwrap block after block; closes ``stream``."""
    unwrapper = Unwrapper(int(header.values["ticks_wrap"]) if "ticks_wrap" in header.values else None)
    line = header.column_line + 1
    blank_line: int | None = None
    edges = 0
    with stream:
        for block in _whole_lines(stream, path, line, block_bytes):
            times, steps, fault = parse_block(block)
            if times.size and blank_line is not None:
                raise InputError(f"{path}:{blank_line}: a blank line among the edges; remove it")
            unwrapped, late_fault = unwrapper.unwrap(times)
            fault = late_fault or fault
            if fault is not None:
                raise InputError(f"{path}:{line + fault.row}: {fault.text}")
            lines = block.count(b"\n")
            if times.size < lines and blank_line is None:
                blank_line = line + times.size
            line += lines
            edges += times.size
            if times.size:
                yield unwrapped, steps
    if not edges:
        raise InputError(
            f"{path}:{header.column_line}: no edges below the column line; turn the wheel by hand while "
            "recording and check the sensor's wires and its distance from the magnets"
        )


def _whole_lines(stream: BinaryIO, path: str, line: int, block_bytes: int) -> Iterator[bytes]:
    """Blocks of whole lines, each ended by a newline, the last one too."""
    rest = b""
    while data := stream.read(block_bytes):
        cut = data.rfind(b"\n") + 1
        if cut:
            block = rest + data[:cut]
            rest = data[cut:]
            yield block
            line += block.count(b"\n")
        else:
            rest += data
        if len(rest) > LONGEST_LINE:
            raise InputError(
                f"{path}:{line}: a line longer than {LONGEST_LINE} bytes; the file is damaged here"
            )
    if rest:
        yield rest + b"\n"


def write_recording(
    path: str | os.PathLike[str], t_us: Times, step: Steps, header: Mapping[str, str]
) -> None:
    """Write a recording, whole or not at all.

    ``t_us`` (n,) unwrapped microseconds from 0 up, never decreasing; ``step`` (n,) of -1, 0, +1; ``header``
    goes above them in order. With `ticks_wrap` in the header the counter's modulus is applied: times then
    come back less the whole turns of the counter before the first edge. Raises ``InputError`` for anything
    that could not be read back.
    """
    name = os.fspath(path)
    text = header_text(header)
    rig = rig_from_header(header, name)
    times, steps = _checked_edges(name, t_us, step)
    raw = times if rig.ticks_wrap is None else _wrapped(name, times, rig.ticks_wrap)
    with atomic_write(path) as stream:
        stream.write(text.encode())
        for first in range(0, raw.size, _EDGES_A_BLOCK):
            block = slice(first, first + _EDGES_A_BLOCK)
            stream.write(format_block(raw[block], steps[block]))


def _checked_edges(name: str, t_us: Times, step: Steps) -> tuple[Times, Steps]:
    times, steps = np.asarray(t_us), np.asarray(step)
    if times.ndim != 1 or times.shape != steps.shape or times.size == 0:
        raise InputError(
            f"{name}: {times.shape} times and {steps.shape} steps; give one step for each time, at least one"
        )
    if times.dtype.kind not in "iu" or steps.dtype.kind not in "iu":
        raise InputError(
            f"{name}: times and steps must be whole numbers, not {times.dtype} and {steps.dtype}"
        )
    if not np.isin(steps, (-1, 0, 1)).all():
        raise InputError(f"{name}: a step is not -1, 0 or +1")
    times = times.astype(np.int64)
    _, fault = Unwrapper(None).unwrap(times)
    if fault is not None:
        raise InputError(f"{name}: edge {fault.row}: {fault.text}")
    return times, steps.astype(np.int8)


def _wrapped(name: str, times: Times, modulus: int) -> Times:
    if modulus > np.iinfo(np.int64).max:
        return times
    raw = times % modulus
    back, fault = Unwrapper(modulus).unwrap(raw)
    wrong = np.flatnonzero(back - back[0] != times[: back.size] - times[0])
    if fault is not None or wrong.size:
        row = int(wrong[0]) if wrong.size else fault.row if fault else 0
        raise InputError(
            f"{name}: the pause before edge {row} is too long for ticks_wrap {modulus}: it could not be "
            "told from a shorter one; leave ticks_wrap out to write unwrapped times"
        )
    return raw
