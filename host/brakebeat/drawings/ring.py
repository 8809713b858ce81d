"""A template for magnets on a ring, to scale in mm on an A4 sheet: a flat ring, and a strip to wrap round the shaft."""

from __future__ import annotations

import math
from dataclasses import dataclass

from brakebeat.drawings.svg import Picture, number
from brakebeat.errors import InputError

_PAGE = (210.0, 297.0)
_MARGIN = 10.0
RULER_MM = 100.0
_CENTRE = (105.0, 128.0)
# Between magnets there must be room for the field to fade, or the switch never lets go: two diameters from centre
# to centre at the least (common practice, no source).
_LEAST_SPACING = 2.0
_MOST_MAGNETS = 24
_WALL = 3.0


@dataclass(frozen=True)
class Ring:
    """What is drawn; lengths in mm, since a printer and a caliper speak it. ``circle_mm``: through the magnets'
    centres."""

    shaft_mm: float
    magnets: int
    magnet_mm: float
    circle_mm: float

    @property
    def spacing_mm(self) -> float:
        """From one magnet's centre to the next one's, straight across."""
        return self.circle_mm * math.sin(math.pi / self.magnets) if self.magnets > 1 else self.circle_mm

    @property
    def outer_mm(self) -> float:
        """Diameter of the ring itself."""
        return self.circle_mm + self.magnet_mm + 2.0 * _WALL

    def places(self) -> list[tuple[float, float]]:
        """Centres of the magnets around (0, 0), the first one on top, on clockwise; y points down as on a page."""
        turns = [2.0 * math.pi * k / self.magnets for k in range(self.magnets)]
        radius = 0.5 * self.circle_mm
        return [(radius * math.sin(turn), -radius * math.cos(turn)) for turn in turns]


def ring_for(shaft_mm: float, magnets: int, magnet_mm: float, circle_mm: float | None = None) -> Ring:
    """A ring that can be built and fits the page.

    Without ``circle_mm`` the smallest round number that leaves the magnets room. Raises ``InputError`` naming the
    option that is wrong.
    """
    if not 1 <= magnets <= _MOST_MAGNETS:
        raise InputError(
            f"--magnets: {magnets} is outside 1 to {_MOST_MAGNETS}; an encoder suits finer counts"
        )
    least = shaft_mm + magnet_mm + 2.0 * _WALL
    if magnets > 1:
        least = max(least, _LEAST_SPACING * magnet_mm / math.sin(math.pi / magnets))
    ring = Ring(shaft_mm, magnets, magnet_mm, math.ceil(least) if circle_mm is None else circle_mm)
    if ring.circle_mm < least - 1e-9:
        raise InputError(
            f"--circle: {ring.circle_mm:g} mm leaves no room for {magnets} magnets of {magnet_mm:g} mm round a "
            f"shaft of {shaft_mm:g} mm: {math.ceil(least)} mm at least, or fewer or smaller magnets"
        )
    if ring.outer_mm > _PAGE[0] - 2.0 * _MARGIN:
        raise InputError(
            f"--magnets: a ring of {ring.outer_mm:.0f} mm does not fit an A4 sheet ({_PAGE[0] - 2 * _MARGIN:.0f} mm): "
            "fewer or smaller magnets, or mark the wheel itself with a protractor"
        )
    return ring


def template(ring: Ring) -> str:
    """The sheet as SVG text; one unit is one millimetre."""
    plural = "magnet" if ring.magnets == 1 else "magnets"
    title = f"Brakebeat magnet ring: {ring.magnets} {plural} of {number(ring.magnet_mm)} mm"
    to = Picture(*_PAGE, title, unit="mm")
    to.words(_MARGIN, 15, f"{title}, shaft {number(ring.shaft_mm)} mm", 5, bold=True)
    to.words(
        _MARGIN, 21, "Print at 100 % (no fitting to the page), then measure the ruler before you cut.", 3.5
    )
    to.words(
        _MARGIN,
        26.5,
        "All with the same pole outwards, held mechanically: a loose magnet is a projectile.",
        3.5,
    )
    _flat(to, ring)
    _ruler(to, _MARGIN, 240.0)
    _strip(to, ring)
    return to.text()


def _flat(to: Picture, ring: Ring) -> None:
    x, y = _CENTRE
    to.circle(x, y, 0.5 * ring.outer_mm, stroke=0.3, kind="outer")
    to.circle(x, y, 0.5 * ring.circle_mm, stroke=0.1, kind="circle")
    to.circle(x, y, 0.5 * ring.shaft_mm, stroke=0.3, kind="shaft")
    _cross(to, x, y, 4.0)
    for count, (dx, dy) in enumerate(ring.places(), 1):
        to.circle(x + dx, y + dy, 0.5 * ring.magnet_mm, stroke=0.2, kind="magnet")
        _cross(to, x + dx, y + dy, 0.5 * ring.magnet_mm + 1.0)
        far = 1.0 + (0.5 * ring.magnet_mm + _WALL + 4.0) / (0.5 * ring.circle_mm)
        to.words(x + dx * far, y + dy * far + 1.2, str(count), 3.5, "middle")
    below = y + 0.5 * ring.outer_mm + 12.0
    to.words(
        x,
        below,
        f"through the centres {number(ring.circle_mm)} mm, ring {number(ring.outer_mm)} mm, from centre to centre "
        f"{number(ring.spacing_mm)} mm",
        3.2,
        "middle",
    )


def _cross(to: Picture, x: float, y: float, half: float) -> None:
    to.line((x - half, y), (x + half, y), width=0.1)
    to.line((x, y - half), (x, y + half), width=0.1)


def _ruler(to: Picture, x: float, y: float) -> None:
    """A scale of exactly 100 mm."""
    to.line((x, y), (x + RULER_MM, y), width=0.2)
    for mm in range(int(RULER_MM) + 1):
        tall = 5.0 if mm % 10 == 0 else 3.5 if mm % 5 == 0 else 2.0
        to.line((x + mm, y), (x + mm, y - tall), width=0.15)
        if mm % 10 == 0:
            to.words(x + mm, y + 4, str(mm), 3, "middle")
    to.words(x + RULER_MM + 8, y, "must measure 100 mm", 3.5)


def _strip(to: Picture, ring: Ring) -> None:
    """The shaft's own circumference with a mark for each magnet, where it fits the page."""
    around = math.pi * ring.shaft_mm
    if around > _PAGE[0] - 2.0 * _MARGIN - 6.0:
        to.words(_MARGIN, 262, "The strip for this shaft is longer than the page: use the ring.", 3.5)
        return
    x, y, high = _MARGIN, 260.0, 14.0
    to.words(x, y - 4, f"Strip to wrap round the shaft: {number(around)} mm; its ends just meet.", 3.5)
    to.box(x, y, around, high, stroke=0.2)
    for count in range(ring.magnets):
        at = x + around * (count + 0.5) / ring.magnets
        to.line((at, y), (at, y + high), width=0.15)
        if around > 6.0 * ring.magnets or count % 4 == 0:
            to.words(at + 0.6, y + 4, str(count + 1), 3)
    note = "If the ends gap or overlap, the shaft is not what was typed in: measure it again."
    if ring.magnets > 1 and around < _LEAST_SPACING * ring.magnet_mm * ring.magnets:
        note = "These magnets stand too close on the shaft itself: use the ring; the strip only marks angles."
    to.words(x, y + high + 5, note, 3.2)
