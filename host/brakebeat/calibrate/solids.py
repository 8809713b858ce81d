"""Inertia from a rule, a caliper and scales: discs, annuli and bolts, of materials with known densities."""

from __future__ import annotations

import math
from dataclasses import dataclass

from brakebeat.errors import InputError
from brakebeat.mechanics import annulus_inertia_kg_m2, disc_inertia_kg_m2, point_inertia_kg_m2

_OPENSTAX = "OpenStax, University Physics Volume 1, m58353"
_BS_5268 = "BS 5268-2, mass per area of birch plywood"
_MEMORY = "from memory"


@dataclass(frozen=True)
class Material:
    """``sigma_rel``: by how much pieces of that name differ, as a standard uncertainty: from memory."""

    density_kg_m3: float
    sigma_rel: float
    source: str


MATERIALS: dict[str, Material] = {
    "aluminium": Material(2.70e3, 0.01, _OPENSTAX),
    "iron": Material(7.86e3, 0.01, _OPENSTAX),
    "brass": Material(8.44e3, 0.015, _OPENSTAX),
    "lead": Material(1.13e4, 0.01, _OPENSTAX),
    "concrete": Material(2.40e3, 0.05, _OPENSTAX),
    "oak": Material(7.10e2, 0.08, _OPENSTAX),
    "pine": Material(3.73e2, 0.10, _OPENSTAX),
    # 11.6 kg/m² at 17.1 mm, 8.1 at 11.5, 15.2 at 22.9: 678, 704 and 664 kg/m³.
    "birch-plywood": Material(682.0, 0.03, _BS_5268),
    "steel": Material(7.85e3, 0.01, _MEMORY),
    "mdf": Material(7.5e2, 0.05, _MEMORY),
}


@dataclass(frozen=True)
class Part:
    """One ring of the wheel; ``inner_radius_m`` 0 for a disc. Either weighed (``mass_kg``) or of a material."""

    outer_radius_m: float
    thickness_m: float
    material: str = ""
    inner_radius_m: float = 0.0
    mass_kg: float | None = None

    @property
    def memory_only(self) -> bool:
        """Whether its density has no source."""
        return self.mass_kg is None and MATERIALS[self.material].source == _MEMORY


@dataclass(frozen=True)
class Bolts:
    """``count`` small masses of ``mass_kg`` each on a circle."""

    count: int
    mass_kg: float
    circle_radius_m: float


def material_of(text: str, place: str) -> tuple[str, float | None]:
    """A material's name, or the mass in ``kg=…``. Raises ``InputError`` naming ``place``."""
    if text.startswith("kg="):
        return "", _number(text[3:], place)
    if text not in MATERIALS:
        raise InputError(
            f"{place}: {text!r} is no material that is known ({', '.join(MATERIALS)}); weigh the part and say "
            "kg=3.2"
        )
    return text, None


def part_inertia(part: Part) -> float:
    """kg·m²; the published formulas for discs and annuli."""
    mass = part.mass_kg
    if mass is None:
        area = math.pi * (part.outer_radius_m**2 - part.inner_radius_m**2)
        mass = MATERIALS[part.material].density_kg_m3 * area * part.thickness_m
    if part.inner_radius_m == 0.0:
        return disc_inertia_kg_m2(mass, part.outer_radius_m)
    return annulus_inertia_kg_m2(mass, part.inner_radius_m, part.outer_radius_m)


def inertia_of_parts(
    parts: list[Part], bolts: list[Bolts], length_sigma_m: float = 0.0005, mass_sigma_rel: float = 0.005
) -> tuple[float, float, dict[str, float]]:
    """Inertia of all together, kg·m², its standard uncertainty, and that by source.

    The same rule and scales measured everything, the same batch made every disc: within a source, errors add up.
    """
    total = sum(part_inertia(part) for part in parts)
    total += sum(point_inertia_kg_m2([b.mass_kg] * b.count, [b.circle_radius_m] * b.count) for b in bolts)
    sources = {"lengths": 0.0, "densities": 0.0, "masses": 0.0}
    for part in parts:
        own = part_inertia(part)
        sources["lengths"] += _length_share(part, own) * length_sigma_m
        if part.mass_kg is None:
            sources["densities"] += own * MATERIALS[part.material].sigma_rel
        else:
            sources["masses"] += own * mass_sigma_rel
    for group in bolts:
        own = point_inertia_kg_m2([group.mass_kg] * group.count, [group.circle_radius_m] * group.count)
        sources["lengths"] += 2.0 * own / group.circle_radius_m * length_sigma_m
        sources["masses"] += own * mass_sigma_rel
    return total, math.sqrt(sum(share**2 for share in sources.values())), sources


def _length_share(part: Part, own: float) -> float:
    """Derivative of a part's inertia by a rule that reads too long, by the ends of each length; 1/m · kg·m²."""
    if part.mass_kg is not None:
        square = part.outer_radius_m**2 + part.inner_radius_m**2
        return own * 2.0 * (part.outer_radius_m + part.inner_radius_m) / square
    fourth = part.outer_radius_m**4 - part.inner_radius_m**4
    radii = 4.0 * math.hypot(part.outer_radius_m**3, part.inner_radius_m**3) / fourth
    # A sheet's thickness is measured with a caliper, ten times as well as a radius with a rule.
    return own * math.hypot(radii, 0.1 / part.thickness_m)


def _number(text: str, place: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{place}: {text!r} is no number above 0")
    return value
