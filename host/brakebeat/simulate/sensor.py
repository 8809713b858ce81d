"""The sensor as built: magnets or an encoder, and all that a real one does wrong."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import InputError
from brakebeat.simulate.ranges import inside

DEGREE_RAD = math.pi / 180.0
MAGNETS_MOST = 24
COUNTS_MOST = 2400


@dataclass(frozen=True)
class Lost:
    """A magnet (by id) that gives no edges from ``from_s`` to ``until_s``."""

    magnet: int
    from_s: float
    until_s: float = math.inf


@dataclass(frozen=True)
class Sensor:
    """What turns shaft angle into time-stamped edges.

    Args:
        kind: "magnets" (one hall sensor) or "encoder" (quadrature, decoded, ``pulses`` counts a turn).
        pulses: magnets or counts in one turn.
        gives_sense: two hall sensors: the step of a magnet's edge is ±1 instead of 0.
        placement_rad: placement error of the magnets, the greatest or the standard deviation ("max", "sd").
        offsets_rad: exact placement errors by magnet id instead of drawn ones.
        hysteresis_rad: how far apart the two senses' edges of one magnet lie. A magnet fires on coming
            within half of it; an encoder lags by half of it.
        release_rad: how much wider than that the magnet's field holds the sensor; until the wheel has left
            it, the magnet fires no second time.
        phase_rad: angle of magnet 0 at φ = 0; None draws it.
        jitter_us: standard deviation of the time stamps; latency_us is the same for all.
        missed, bounced: probability for each edge; a bounce adds 1 to 3 edges 20 to 800 µs later.
        spurious_per_s: rate of edges from nowhere.
        drift_ppm: by how much the board's clock runs fast.
        ticks_wrap: modulus of the counter.
        first_count: the counter at the start of the recording; None draws it where the counter wraps, else 0.
        from_s, until_s: the part of the motion that is recorded.
    """

    kind: Literal["magnets", "encoder"] = "magnets"
    pulses: int = 6
    gives_sense: bool = False
    placement_rad: float = 0.0
    placement_kind: Literal["max", "sd"] = "max"
    offsets_rad: tuple[float, ...] | None = None
    hysteresis_rad: float = DEGREE_RAD
    release_rad: float = DEGREE_RAD
    phase_rad: float | None = None
    jitter_us: float = 5.0
    latency_us: float = 20.0
    missed: float = 0.0
    bounced: float = 0.0
    spurious_per_s: float = 0.0
    lost: tuple[Lost, ...] = field(default_factory=tuple)
    drift_ppm: float = 0.0
    ticks_wrap: int | None = None
    first_count: int | None = None
    from_s: float = -math.inf
    until_s: float = math.inf

    def __post_init__(self) -> None:
        most = MAGNETS_MOST if self.kind == "magnets" else COUNTS_MOST
        if not (isinstance(self.pulses, int) and 1 <= self.pulses <= most):
            raise InputError(f"{self.kind}: {self.pulses} a turn is outside 1 to {most}")
        spacing = 2.0 * math.pi / self.pulses
        inside("placement_rad", self.placement_rad, 0.0, 0.25 * spacing)
        inside("hysteresis_rad", self.hysteresis_rad, 0.0, 0.4 * spacing if self.kind == "magnets" else 0.1)
        inside("release_rad", self.release_rad, 0.0, 0.4 * spacing)
        inside("jitter_us", self.jitter_us, 0.0, 1e5)
        inside("latency_us", self.latency_us, 0.0, 1e6)
        inside("missed", self.missed, 0.0, 1.0)
        inside("bounced", self.bounced, 0.0, 1.0)
        inside("spurious_per_s", self.spurious_per_s, 0.0, 1e4)
        inside("drift_ppm", self.drift_ppm, -1e5, 1e5)
        if self.ticks_wrap is not None and not 1000 <= self.ticks_wrap <= 2**53:
            raise InputError(f"ticks_wrap: {self.ticks_wrap} is outside 1000 to 2^53")
        if self.first_count is not None:
            inside("first_count", self.first_count, 0, (self.ticks_wrap or 2**53) - 1)
        if self.offsets_rad is not None and len(self.offsets_rad) != self.pulses:
            raise InputError(
                f"offsets_rad: {len(self.offsets_rad)} given, one for each of {self.pulses} needed"
            )
        if not self.from_s < self.until_s:
            raise InputError(f"from_s: {self.from_s:g} must come before until_s {self.until_s:g}")

    def drawn_offsets_rad(self, rng: np.random.Generator) -> NDArray[np.float64]:
        """Placement error of each magnet by id, mean zero, shape (pulses,)."""
        if self.offsets_rad is not None:
            offsets = np.asarray(self.offsets_rad, float)
            return offsets - offsets.mean()
        if self.placement_kind == "sd":
            offsets = rng.normal(0.0, self.placement_rad, self.pulses)
        else:
            offsets = rng.uniform(-self.placement_rad, self.placement_rad, self.pulses)
        offsets -= offsets.mean()
        greatest = float(np.abs(offsets).max())
        if self.placement_kind == "max" and greatest > self.placement_rad:
            offsets *= self.placement_rad / greatest
        return offsets

    def but(self, **changes: Any) -> Sensor:
        """This sensor with some fields changed."""
        return dataclasses.replace(self, **changes)


# What the benchmarks call clean and dirty; perfect leaves only the whole microseconds.
PRESETS: dict[str, Sensor] = {
    "perfect": Sensor(jitter_us=0.0, latency_us=0.0, hysteresis_rad=0.0, release_rad=0.0),
    "clean": Sensor(jitter_us=5.0, hysteresis_rad=DEGREE_RAD),
    "dirty": Sensor(
        placement_rad=DEGREE_RAD,
        missed=0.01,
        bounced=0.05,
        spurious_per_s=0.3,
        jitter_us=60.0,
        hysteresis_rad=2.0 * DEGREE_RAD,
    ),
}


def preset(
    name: str, pulses: int = 6, kind: Literal["magnets", "encoder"] = "magnets", **changes: Any
) -> Sensor:
    """A preset for a number of magnets or counts, with changes.

    An encoder has no magnets to place and no field that lags by a degree: there the placement is 0 and the
    hysteresis a tenth of a count at most.

    Raises:
        InputError: no such preset.
    """
    if name not in PRESETS:
        raise InputError(f"preset: {name!r} is none of {', '.join(PRESETS)}")
    base = PRESETS[name]
    values: dict[str, Any] = {"kind": kind, "pulses": pulses}
    if kind == "encoder":
        values |= {"placement_rad": 0.0, "release_rad": 0.0}
        values["hysteresis_rad"] = min(base.hysteresis_rad, 0.1 * 2.0 * math.pi / max(pulses, 1))
    return base.but(**(values | changes))
