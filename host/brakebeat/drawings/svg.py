"""A small writer of SVG text: shapes in the drawing's own units, numbers cut to a hundredth, nothing else."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

_FONT = "font-family='DejaVu Sans, Arial, sans-serif'"


class Picture:
    """Collects shapes; ``text`` is the file. ``unit`` is that of width and height as printed (``mm``, or none)."""

    def __init__(self, width: float, height: float, title: str, unit: str = "") -> None:
        size = f"{number(width)}{unit}", f"{number(height)}{unit}"
        self._lines = [
            f"<svg xmlns='http://www.w3.org/2000/svg' width='{size[0]}' height='{size[1]}' "
            f"viewBox='0 0 {number(width)} {number(height)}' {_FONT}>",
            f"<title>{escape(title)}</title>",
            f"<rect width='{number(width)}' height='{number(height)}' fill='white'/>",
        ]

    def line(
        self, *points: tuple[float, float], width: float = 1.5, colour: str = "black", dash: str = ""
    ) -> None:
        """Straight lines from point to point."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        dashes = f" stroke-dasharray='{dash}'" if dash else ""
        self._lines.append(
            f"<polyline points='{path}' fill='none' stroke='{colour}' stroke-width='{number(width)}'{dashes}/>"
        )

    def shape(self, *points: tuple[float, float], fill: str = "white", width: float = 1.5) -> None:
        """A closed outline."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self._lines.append(
            f"<polygon points='{path}' fill='{fill}' stroke='black' stroke-width='{number(width)}'/>"
        )

    def box(
        self, x: float, y: float, width: float, height: float, fill: str = "white", stroke: float = 1.5
    ) -> None:
        """A rectangle by its upper left corner."""
        self._lines.append(
            f"<rect x='{number(x)}' y='{number(y)}' width='{number(width)}' height='{number(height)}' "
            f"fill='{fill}' stroke='black' stroke-width='{number(stroke)}'/>"
        )

    def circle(
        self, x: float, y: float, radius: float, fill: str = "none", stroke: float = 1.5, kind: str = ""
    ) -> None:
        """A circle; ``kind`` is its class, for whoever looks for it."""
        named = f" class={quoteattr(kind)}" if kind else ""
        self._lines.append(
            f"<circle{named} cx='{number(x)}' cy='{number(y)}' r='{number(radius)}' fill='{fill}' "
            f"stroke='black' stroke-width='{number(stroke)}'/>"
        )

    def words(
        self, x: float, y: float, text: str, size: float = 12.0, anchor: str = "start", bold: bool = False
    ) -> None:
        """One line of text, if there is any; ``anchor`` start, middle or end."""
        if not text:
            return
        weight = " font-weight='bold'" if bold else ""
        self._lines.append(
            f"<text x='{number(x)}' y='{number(y)}' font-size='{number(size)}' text-anchor='{anchor}'{weight}>"
            f"{escape(text)}</text>"
        )

    def text(self) -> str:
        """The whole file."""
        return "\n".join([*self._lines, "</svg>", ""])


def number(value: float) -> str:
    """To a hundredth, without needless zeros, the same on every computer."""
    assert math.isfinite(value)
    return f"{round(value, 2):.2f}".rstrip("0").rstrip(".") or "0"
