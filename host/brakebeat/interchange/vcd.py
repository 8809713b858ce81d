"""Value Change Dumps (IEEE 1364-2005, section 18), as logic analysers and waveform viewers have them.

Parsing and writing the format is pyvcd's; here one channel's edges become a pulse recording, and back.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from vcd.reader import ScalarChange, Token, TokenKind, VarDecl, VCDParseError, VectorChange, tokenize
from vcd.writer import VCDWriter

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.atomic import replacing
from brakebeat.formats.recording import Recording
from brakebeat.formats.rig_model import LARGEST_TIME_US

Edge = Literal["rising", "falling", "both"]
EDGES: tuple[Edge, ...] = ("falling", "rising", "both")

_UNIT_US = {"s": 1e6, "ms": 1e3, "us": 1.0, "ns": 1e-3, "ps": 1e-6, "fs": 1e-9}
_SENSE = "sense"
_PULSE_US = 1


@dataclass(frozen=True)
class Channel:
    """A one-bit variable: ``name`` with its scopes (``top.hall``), ``code`` as the dump abbreviates it."""

    name: str
    code: str


def list_channels(path: str | os.PathLike[str]) -> list[Channel]:
    """All one-bit channels of a dump, in its order. Raises ``InputError`` naming the file."""
    with _opened(path) as stream:
        channels, _ = _declarations(_tokens(stream, path), path)
    return channels


def read_vcd(
    path: str | os.PathLike[str],
    channel: str,
    edge: Edge = "falling",
    *,
    sense_channel: str | None = None,
) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
    """The edges of one channel: whole microseconds from the dump's 0, (n,), and steps, (n,).

    Args:
        channel: a name or, where that is clear, the end of one (``hall`` for ``top.hall``).
        edge: which changes count; a change from or to ``x`` or ``z`` is none.
        sense_channel: a channel that is high while the shaft turns forwards: steps are then ±1, else 0.

    Raises ``InputError`` naming file, channel or line, and what to do.
    """
    with _opened(path) as stream:
        tokens = _tokens(stream, path)
        channels, tick_us = _declarations(tokens, path)
        code = _chosen(channels, channel, path).code
        sense_code = None if sense_channel is None else _chosen(channels, sense_channel, path).code
        times, steps = _edges(tokens, code, sense_code, edge, path)
    if not times:
        raise InputError(
            f"{path}: channel {channel!r} has no {edge} edge; choose another --edge, or another --channel of "
            + ", ".join(repr(each.name) for each in channels)
        )
    t_us = np.floor(np.array(times, float) * tick_us + 1e-9)
    if t_us[-1] > LARGEST_TIME_US:
        raise InputError(f"{path}: times beyond 2^53 us; is the timescale right?")
    return t_us.astype(np.int64), np.array(steps, np.int8)


def write_vcd(path: str | os.PathLike[str], recording: Recording, channel: str = "hall") -> None:
    """Write a recording's edges as a dump in microseconds, whole or not at all.

    Each edge is a fall of ``channel``, which rises again half-way to the next edge; where the recording tells
    the sense, a second channel ``sense`` is high while the shaft turns forwards. ``read_vcd`` gives the same
    times back, but for edges within the same microsecond: a wire cannot fall twice at once.
    """
    t_us, step = recording.t_us, recording.step
    keep = np.append(True, np.diff(t_us) > 1)
    times, steps = t_us[keep], step[keep]
    rises = (times + np.maximum(np.diff(times, append=times[-1] + 2000) // 2, _PULSE_US)).tolist()
    with (
        replacing(path) as unfinished,
        unfinished.open("w", encoding="utf-8", newline="\n") as stream,
        VCDWriter(stream, timescale="1 us", version="brakebeat", init_timestamp=0) as writer,
    ):
        hall = writer.register_var("brakebeat", channel, "wire", size=1, init=1)
        sense = None
        if steps.any():
            sense = writer.register_var("brakebeat", _SENSE, "wire", size=1, init=1)
        for time, way, rise in zip(times.tolist(), steps.tolist(), rises, strict=True):
            if sense is not None and way:
                writer.change(sense, time, int(way > 0))
            writer.change(hall, time, 0)
            writer.change(hall, rise, 1)


def _opened(path: str | os.PathLike[str]) -> io.BufferedReader:
    try:
        return Path(path).open("rb")
    except (OSError, ValueError) as error:
        raise unreadable(path, error) from error


def _tokens(stream: io.BufferedReader, path: str | os.PathLike[str]) -> Iterator[Token]:
    """The dump's tokens; what pyvcd cannot read becomes an error with the line."""
    try:
        yield from tokenize(stream)
    except VCDParseError as error:
        raise InputError(
            f"{path}:{error.loc.line}: no Value Change Dump (IEEE 1364) from here on "
            f"({error.args[-1]}); export it again"
        ) from error
    except (ValueError, IndexError, KeyError, UnicodeDecodeError, OverflowError, RecursionError) as error:
        raise InputError(
            f"{path}: no Value Change Dump (IEEE 1364), or a damaged one ({error}); export it again"
        ) from error


def _declarations(tokens: Iterator[Token], path: str | os.PathLike[str]) -> tuple[list[Channel], float]:
    """One-bit channels and the length of a tick, µs; leaves ``tokens`` after the definitions."""
    scopes: list[str] = []
    channels: list[Channel] = []
    tick_us = None
    for token in tokens:
        if token.kind is TokenKind.SCOPE:
            scopes.append(token.scope.ident)
        elif token.kind is TokenKind.UPSCOPE:
            del scopes[-1:]
        elif token.kind is TokenKind.TIMESCALE:
            scale = token.timescale
            tick_us = int(scale.magnitude) * _UNIT_US[scale.unit.value]
        elif token.kind is TokenKind.VAR:
            variable: VarDecl = token.var
            if variable.size == 1:
                channels.append(Channel(".".join([*scopes, variable.ref_str]), variable.id_code))
        elif token.kind is TokenKind.ENDDEFINITIONS:
            if tick_us is None:
                raise InputError(f"{path}:{token.span.start.line}: no $timescale above; export it again")
            if not channels:
                raise InputError(f"{path}: no one-bit channel in it; export the sensor's wire as one")
            return channels, tick_us
    raise InputError(f"{path}: ends before $enddefinitions; it is no Value Change Dump, or it is cut")


def _chosen(channels: list[Channel], wanted: str, path: str | os.PathLike[str]) -> Channel:
    exact = [each for each in channels if each.name == wanted]
    near = exact or [each for each in channels if each.name.endswith("." + wanted)]
    if len({each.code for each in near}) == 1:
        return near[0]
    names = ", ".join(repr(each.name) for each in channels[:40])
    fault = "is not clear" if near else "is not in it"
    raise InputError(f"{path}: channel {wanted!r} {fault}; choose one of {names}")


def _edges(
    tokens: Iterator[Token], code: str, sense_code: str | None, edge: Edge, path: str | os.PathLike[str]
) -> tuple[list[int], list[int]]:
    time = 0
    level: str | None = None
    forwards: str | None = None
    times: list[int] = []
    senses: list[str | None] = []
    for token in tokens:
        if token.kind is TokenKind.CHANGE_TIME:
            if token.time_change < time:
                raise InputError(
                    f"{path}:{token.span.start.line}: time {token.time_change} runs backwards (from {time}); export "
                    "it again"
                )
            time = token.time_change
            continue
        change = _bit(token)
        if change is None:
            continue
        which, value = change
        if which == sense_code:
            forwards = value
            # Both wires may change at one time, in either order in the file.
            for back in range(len(times) - 1, -1, -1):
                if times[back] != time:
                    break
                senses[back] = value
        if which == code:
            if level in ("0", "1") and value in ("0", "1") and value != level:
                rising = value == "1"
                if edge == "both" or rising == (edge == "rising"):
                    times.append(time)
                    senses.append(forwards)
            level = value
    steps = {"1": 1, "0": -1}
    return times, [steps.get(sense or "", 0) for sense in senses]


def _bit(token: Token) -> tuple[str, str] | None:
    """(code, value) of a change of one bit; some tools write it as a vector."""
    if token.kind is TokenKind.CHANGE_SCALAR:
        scalar: ScalarChange = token.scalar_change
        return scalar.id_code, scalar.value.lower()
    if token.kind is TokenKind.CHANGE_VECTOR:
        vector: VectorChange = token.vector_change
        return vector.id_code, str(vector.value).lower()
    return None
