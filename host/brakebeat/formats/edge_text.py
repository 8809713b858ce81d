"""Turns the lines below the column line into arrays and back, a block at a time, no Python object an edge."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]
Steps = NDArray[np.int8]

_NEWLINE, _RETURN, _COMMA, _PLUS, _MINUS, _ZERO = b"\n\r,+-0"
# 10^16 - 1 fits an int64 with room to spare; longer numbers take the slow way, to their error message.
_MOST_DIGITS = 16


@dataclass(frozen=True)
class Fault:
    """What is wrong with line ``row`` of a block (counted from 0)."""

    row: int
    text: str


def parse_block(block: bytes) -> tuple[Times, Steps, Fault | None]:
    """Times (as written) and steps of a block of whole lines, each ended by a newline.

    On a fault the arrays hold the rows before it. A blank line gives no row and is a fault unless only blank
    lines follow it in the block; the caller has to see to blank lines at a block's end.
    """
    quick = parse_quickly(np.frombuffer(block, np.uint8))
    if quick is not None:
        return *quick, None
    return parse_slowly(block)


def parse_quickly(text: NDArray[np.uint8]) -> tuple[Times, Steps] | None:
    """The whole block at once, or None where any line is out of the ordinary."""
    ends = np.flatnonzero(text == _NEWLINE)
    commas = np.flatnonzero(text == _COMMA)
    if ends.size != commas.size or ends.size == 0:
        return None
    starts = np.concatenate(([0], ends[:-1] + 1))
    ends -= text[ends - 1] == _RETURN
    digits = commas - starts
    step_width = ends - commas - 1
    if digits.min() < 1 or digits.max() > _MOST_DIGITS or step_width.min() < 1 or step_width.max() > 2:
        return None
    times = _decimal_numbers(text, commas, digits)
    steps = _step_numbers(text, commas, ends, step_width)
    return None if times is None or steps is None else (times, steps)


def _decimal_numbers(text: NDArray[np.uint8], ends: Times, digits: Times) -> Times | None:
    """The numbers whose last digit stands before ``ends``, ``digits`` long; None where one is no number."""
    numbers = np.zeros(ends.size, np.int64)
    shortest = int(digits.min())
    for place in range(int(digits.max())):
        # Unsigned: whatever is no digit lands above 9.
        digit = text[ends - 1 - place] - np.uint8(_ZERO)
        if place >= shortest:
            digit[digits <= place] = 0
        if digit.max() > 9:
            return None
        numbers += digit * np.int64(10**place)
    return numbers


def _step_numbers(text: NDArray[np.uint8], commas: Times, ends: Times, width: Times) -> Steps | None:
    last = text[ends - 1] - np.uint8(_ZERO)
    sign = text[commas + 1]
    signed = width == 2
    good_sign = (last == 1) & ((sign == _PLUS) | (sign == _MINUS))
    if last.max() > 1 or not np.all(good_sign | ~signed):
        return None
    steps = last.astype(np.int8)
    np.negative(steps, out=steps, where=signed & (sign == _MINUS))
    return steps


def parse_slowly(block: bytes) -> tuple[Times, Steps, Fault | None]:
    """Line by line: harmless oddities are understood, anything else is worded as a fault."""
    times: list[int] = []
    steps: list[int] = []
    blank: int | None = None
    fault: Fault | None = None
    for row, line in enumerate(block.split(b"\n")[:-1]):
        line = line.strip(b" \t\r")
        if not line:
            blank = row if blank is None else blank
            continue
        if blank is not None:
            fault = Fault(blank, "a blank line among the edges; remove it")
            break
        parsed = _parse_line(line)
        if isinstance(parsed, str):
            fault = Fault(row, parsed)
            break
        times.append(parsed[0])
        steps.append(parsed[1])
    return np.array(times, np.int64), np.array(steps, np.int8), fault


def _parse_line(line: bytes) -> tuple[int, int] | str:
    """Time and step of one line, or what is wrong with it and what to do."""
    if b"\0" in line:
        return (
            "NUL bytes: the file is damaged (power lost while it was written?); cut it off before this line"
        )
    try:
        text = line.decode()
    except UnicodeDecodeError:
        return "not UTF-8 text: the file is damaged; cut it off before this line"
    if text.startswith("#"):
        return "a header line among the edges; move it above the column line `t_us,step`"
    fields = [field.strip(" \t") for field in text.split(",")]
    if len(fields) != 2:
        missing = "the step column is missing" if len(fields) < 2 else f"{len(fields)} columns"
        return f"{missing} in {shorten(text)}; write `t_us,step`, such as `1250000,0` (is the file cut here?)"
    time, step = fields
    if not re.fullmatch(r"[0-9]+", time, re.ASCII):
        if re.fullmatch(r"-[0-9]+", time, re.ASCII):
            return f"time {shorten(time)} is negative; count the board's clock from 0 up"
        return f"time {shorten(time)} is not a whole number of microseconds; write it as digits only"
    if len(time.lstrip("0")) > _MOST_DIGITS:
        return f"time {shorten(time)} is beyond any clock (2^53 us); is the line damaged?"
    if not re.fullmatch(r"[+-]?1|[+-]?0", step, re.ASCII):
        return f"step {shorten(step)} is not -1, 0 or +1; write 0 where the sensor does not know the sense"
    return int(time), int(step)


def shorten(text: str) -> str:
    """``text`` quoted for a message, its middle left out where it is long."""
    return repr(text if len(text) <= 40 else text[:30] + "…" + text[-5:])


def format_block(times: Times, steps: Steps) -> bytes:
    """The lines of edges, each ended by a newline: ``times`` (n,) from 0 up, ``steps`` (n,) of -1, 0, +1."""
    if times.size == 0:
        return b""
    width = len(str(int(times.max())))
    rows = np.empty((times.size, width + 4), np.uint8)
    kept = np.ones(rows.shape, bool)
    rest = times.copy()
    for column in range(width - 1, -1, -1):
        kept[:, column] = (rest > 0) | (column == width - 1)
        rest, digit = np.divmod(rest, 10)
        rows[:, column] = digit + _ZERO
    rows[:, width] = _COMMA
    rows[:, width + 1] = np.where(steps < 0, _MINUS, _PLUS)
    kept[:, width + 1] = steps != 0
    rows[:, width + 2] = np.abs(steps) + _ZERO
    rows[:, width + 3] = _NEWLINE
    return rows[kept].tobytes()
