"""A frame for a picture: two axes with ticks, names and units, drawn as inline SVG."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from brakebeat.report.markup import el, short

# Drawn small, so that the letters stay readable where a phone shrinks it.
WIDTH, HEIGHT = 420.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 54.0, 14.0, 24.0, 44.0


@dataclass(frozen=True)
class Axis:
    """One axis. ``ticks``: (value, word), without them round numbers are chosen."""

    low: float
    high: float
    name: str
    ticks: tuple[tuple[float, str], ...] | None = None
    mirrored: bool = False

    def marks(self) -> Sequence[tuple[float, str]]:
        """Where there are ticks, and what stands at them; a mirrored axis counts up both ways from 0."""
        if self.ticks is not None:
            return self.ticks
        return [
            (value, _word(abs(value) if self.mirrored else value))
            for value in round_values(self.low, self.high)
        ]


def round_values(low: float, high: float, about: int = 5) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten inside a range, about as many as asked for."""
    low, high = sorted((low, high))
    span = high - low
    if not (math.isfinite(span) and span > 0):
        return [low]
    rough = span / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)]


def _word(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")


def axis_around(values: Iterable[float], name: str, *, from_zero: bool = True, room: float = 0.08) -> Axis:
    """An axis with room for the values, from 0 on unless told otherwise."""
    known = [value for value in values if math.isfinite(value)] or [0.0, 1.0]
    low, high = min(known), max(known)
    if from_zero:
        low = min(low, 0.0)
    span = (high - low) or abs(high) or 1.0
    return Axis(low if from_zero and low == 0.0 else low - room * span, high + room * span, name)


@dataclass(frozen=True)
class Frame:
    """The picture's inside: from values to places."""

    x: Axis
    y: Axis
    height: float = HEIGHT
    left: float = LEFT

    def px(self, value: float) -> float:
        """Place of a value across."""
        return self.left + (value - self.x.low) / (self.x.high - self.x.low) * (WIDTH - self.left - RIGHT)

    def py(self, value: float) -> float:
        """Place of a value from the top."""
        return (
            self.height
            - BOTTOM
            - (value - self.y.low) / (self.y.high - self.y.low) * (self.height - TOP - BOTTOM)
        )

    def line(self, points: Iterable[tuple[float, float]], css: str, words: str | None = None) -> Element:
        """A line through points; a gap where one is not finite. ``words`` is its title."""
        parts, pen = [], "M"
        for x, y in points:
            if not (math.isfinite(x) and math.isfinite(y)):
                pen = "M"
                continue
            parts.append(f"{pen}{short(self.px(x))},{short(self.py(y))}")
            pen = "L"
        return el("path", None if words is None else el("title", words), d="".join(parts), class_=css)

    def text(
        self, x: float, y: float, words: str, anchor: str = "start", css: str = "", dy: float = 0
    ) -> Element:
        """Words at a place given in values."""
        return el(
            "text", words, x=self.px(x), y=self.py(y) + dy, text_anchor=anchor, class_=f"label {css}".strip()
        )

    def across(self, y: float, css: str) -> Element:
        """A line from side to side."""
        return el("line", x1=self.left, x2=WIDTH - RIGHT, y1=self.py(y), y2=self.py(y), class_=css)

    def upright(self, x: float, css: str) -> Element:
        """A line from top to bottom."""
        return el("line", x1=self.px(x), x2=self.px(x), y1=TOP, y2=self.height - BOTTOM, class_=css)

    def box(
        self, x: tuple[float, float], y: tuple[float, float], css: str, words: str | None = None
    ) -> Element:
        """A rectangle between values."""
        left, right = sorted((self.px(x[0]), self.px(x[1])))
        top, bottom = sorted((self.py(y[0]), self.py(y[1])))
        title = None if words is None else el("title", words)
        return el("rect", title, x=left, y=top, width=right - left, height=bottom - top, class_=css)

    def picture(self, title: str, words: str, key: str, *inside: Element | None) -> Element:
        """The whole SVG; ``title`` and ``words`` are what a screen reader says, ``key`` is unique in the page."""
        return el(
            "svg",
            el("title", title, id=f"{key}-t"),
            el("desc", words, id=f"{key}-d"),
            self._scales(),
            list(inside),
            viewBox=f"0 0 {short(WIDTH)} {short(self.height)}",
            role="img",
            aria_labelledby=f"{key}-t {key}-d",
        )

    def _scales(self) -> Element:
        bottom = self.height - BOTTOM
        down = [
            (
                el("line", x1=self.px(v), x2=self.px(v), y1=TOP, y2=bottom, class_="grid"),
                el("text", word, x=self.px(v), y=bottom + 16, text_anchor="middle", class_="tick"),
            )
            for v, word in self.x.marks()
        ]
        over = [
            (
                el("line", x1=self.left, x2=WIDTH - RIGHT, y1=self.py(v), y2=self.py(v), class_="grid"),
                el("text", word, x=self.left - 6, y=self.py(v) + 4, text_anchor="end", class_="tick"),
            )
            for v, word in self.y.marks()
        ]
        names = (
            el("text", self.x.name, x=WIDTH - RIGHT, y=self.height - 8, text_anchor="end", class_="axis"),
            el("text", self.y.name, x=4.0, y=13.0, class_="axis"),
        )
        return el("g", down, over, names, aria_hidden="true")


def mark(kind: str, x: float, y: float, words: str, css: str = "", size: float = 5.0) -> Element:
    """A mark at a place in the picture. Its shape alone tells what it stands for.

    ``kind``: disc, ring, square, diamond, early (a triangle that points left), late (right), cross.
    """
    title = el("title", words) if words else None
    css = f"mark {css}".strip()
    if kind in ("disc", "ring"):
        return el("circle", title, cx=x, cy=y, r=size, class_=f"{css} {kind}")
    s = size
    corners = {
        "square": [(-s, -s), (s, -s), (s, s), (-s, s)],
        "diamond": [(0, -1.3 * s), (1.3 * s, 0), (0, 1.3 * s), (-1.3 * s, 0)],
        "early": [(-1.2 * s, 0), (s, -1.1 * s), (s, 1.1 * s)],
        "late": [(1.2 * s, 0), (-s, -1.1 * s), (-s, 1.1 * s)],
    }.get(kind)
    if corners is None:
        left, right, top, bottom = short(x - s), short(x + s), short(y - s), short(y + s)
        path = f"M{left},{top}L{right},{bottom}M{left},{bottom}L{right},{top}"
        return el("path", title, d=path, class_=f"{css} cross")
    return el(
        "polygon",
        title,
        points=" ".join(f"{short(x + dx)},{short(y + dy)}" for dx, dy in corners),
        class_=css,
    )
