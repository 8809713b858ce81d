"""Circuit symbols as IEC 60617 has them (from memory), each along a wire from left to right; 40 units long."""

from __future__ import annotations

from brakebeat.drawings.svg import Picture

LONG = 40.0


def resistor(to: Picture, x: float, y: float, text: str) -> float:
    """Returns where the wire goes on, as all symbols do."""
    to.box(x, y - 6, LONG, 12)
    to.words(x + LONG / 2, y - 10, text, 10, "middle")
    return x + LONG


def resistor_up(to: Picture, x: float, y: float, top: float, text: str) -> None:
    """Upright, from the wire at ``y`` to the rail at ``top``."""
    middle = 0.5 * (y + top)
    to.line((x, y), (x, middle + 13))
    to.box(x - 5, middle - 13, 10, 26)
    to.line((x, middle - 13), (x, top))
    to.words(x + 9, middle + 4, text, 10)
    dot(to, x, y)


def capacitor_up(to: Picture, x: float, y: float, top: float, text: str) -> None:
    """Upright, between the wires at ``y`` and ``top``."""
    middle = 0.5 * (y + top)
    to.line((x, y), (x, middle + 3))
    to.line((x - 9, middle + 3), (x + 9, middle + 3), width=2.5)
    to.line((x - 9, middle - 3), (x + 9, middle - 3), width=2.5)
    to.line((x, middle - 3), (x, top))
    to.words(x + 13, middle + 4, text, 10)
    dot(to, x, y)
    dot(to, x, top)


def lamp(to: Picture, x: float, y: float, text: str) -> float:
    """A light-emitting diode that conducts to the right."""
    to.line((x, y), (x + LONG, y))
    to.shape((x + 11, y - 9), (x + 11, y + 9), (x + 27, y))
    to.line((x + 27, y - 9), (x + 27, y + 9), width=2.5)
    for shift in (0, 7):
        to.line((x + 18 + shift, y - 11), (x + 24 + shift, y - 19), width=1.2)
        to.line((x + 20 + shift, y - 19), (x + 24 + shift, y - 19), (x + 24 + shift, y - 15), width=1.2)
    to.words(x + LONG / 2, y + 22, text, 10, "middle")
    return x + LONG


def buzzer(to: Picture, x: float, y: float, text: str) -> float:
    """A passive buzzer."""
    to.line((x, y), (x + LONG, y))
    to.circle(x + LONG / 2, y, 13, fill="white")
    to.line((x + LONG / 2 - 4, y - 7), (x + LONG / 2 - 4, y + 7), width=2.5)
    to.line((x + LONG / 2 + 1, y - 5), (x + LONG / 2 + 6, y), (x + LONG / 2 + 1, y + 5), width=1.2)
    to.words(x + LONG / 2, y + 26, text, 10, "middle")
    return x + LONG


def button(to: Picture, x: float, y: float, text: str) -> float:
    """A push button that closes when pressed."""
    to.line((x, y), (x + 10, y))
    to.line((x + 30, y), (x + LONG, y))
    to.line((x + 10, y - 9), (x + 30, y - 9), width=2.5)
    to.line((x + 20, y - 9), (x + 20, y - 17))
    for end in (10, 30):
        to.circle(x + end, y, 2.2, fill="white", stroke=1.2)
    to.words(x + LONG / 2, y + 20, text, 10, "middle")
    return x + LONG


def ground(to: Picture, x: float, y: float) -> None:
    """Ground below the end of a wire."""
    to.line((x, y), (x, y + 10))
    for step, half in enumerate((9, 6, 3)):
        to.line((x - half, y + 10 + 4 * step), (x + half, y + 10 + 4 * step), width=2.0)


def rail(to: Picture, x: float, y: float, text: str) -> None:
    """A supply rail above the end of a wire."""
    to.line((x - 9, y), (x + 9, y), width=2.0)
    to.words(x, y - 4, text, 10, "middle", bold=True)


def dot(to: Picture, x: float, y: float) -> None:
    """Two wires joined."""
    to.circle(x, y, 2.5, fill="black", stroke=0)


def diode_up(to: Picture, x: float, y: float, top: float) -> None:
    """A diode that conducts upwards, from the wire at ``y`` to that at ``top``."""
    middle = 0.5 * (y + top)
    to.line((x, y), (x, top))
    to.shape((x - 7, middle + 6), (x + 7, middle + 6), (x, middle - 6))
    to.line((x - 7, middle - 6), (x + 7, middle - 6), width=2.5)


def npn(to: Picture, x: float, y: float) -> tuple[float, float]:
    """A transistor with its base at (x, y); collector at the returned x, 28 above, emitter as far below."""
    to.circle(x + 14, y, 16, fill="white")
    to.line((x, y), (x + 10, y))
    to.line((x + 10, y - 9), (x + 10, y + 9), width=2.5)
    to.line((x + 10, y - 4), (x + 22, y - 14), (x + 22, y - 28))
    to.line((x + 10, y + 4), (x + 22, y + 14), (x + 22, y + 28))
    to.shape((x + 21, y + 13), (x + 15, y + 12), (x + 18, y + 7), fill="black", width=0.5)
    return x + 22, 28.0
