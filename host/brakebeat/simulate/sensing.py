"""From motion to a recording and its truth document."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.results import finite
from brakebeat.simulate.edges import TURN_RAD, Edges, true_edges
from brakebeat.simulate.faults import KINDS, TRUE, Clock, Stamps, stamp
from brakebeat.simulate.motion import Motion
from brakebeat.simulate.sensor import Sensor
from brakebeat.simulate.truth import Settings, true_reps

TRUTH_SCHEMA = 1


@dataclass(frozen=True)
class Sensed:
    """A recording with all that is known about how it came to be.

    ``stamps`` are parallel to the recording's edges; ``stamps.source`` points into ``edges``.
    """

    recording: Recording
    truth: dict[str, Any]
    motion: Motion
    edges: Edges
    stamps: Stamps
    clock: Clock


def sense(motion: Motion, sensor: Sensor, seed: int = 0, settings: Settings | None = None) -> Recording:
    """The recording that a sensor makes of a motion."""
    return sense_fully(motion, sensor, seed, settings).recording


def sense_fully(motion: Motion, sensor: Sensor, seed: int = 0, settings: Settings | None = None) -> Sensed:
    """The recording, its truth document and everything in between; the seed draws the sensor's luck.

    Raises InputError where nothing of the motion is recorded, or the sensor's settings do not go together.
    """
    settings = settings or Settings()
    build, luck = np.random.default_rng([seed, 2]), np.random.default_rng([seed, 3])
    offsets = sensor.drawn_offsets_rad(build) if sensor.kind == "magnets" else np.zeros(sensor.pulses)
    drawn = float(build.uniform(0.0, TURN_RAD / sensor.pulses))
    phase = drawn if sensor.phase_rad is None else sensor.phase_rad
    span = (max(sensor.from_s, motion.start_s), min(sensor.until_s, motion.end_s))
    if not span[0] < span[1]:
        raise InputError(f"from_s: {span[0]:g} leaves nothing: the motion ends at {motion.end_s:.1f} s")
    drawn_count = int(build.integers(0, sensor.ticks_wrap)) if sensor.ticks_wrap else 0
    first_us = float(drawn_count if sensor.first_count is None else sensor.first_count)
    clock = Clock(first_us - span[0] * 1e6 * (1.0 + sensor.drift_ppm * 1e-6), sensor.drift_ppm)
    edges = true_edges(motion, sensor, offsets, phase)
    stamps = stamp(edges, sensor, clock, span, luck)
    recording = Recording(stamps.t_us, stamps.step, _header(motion, sensor, settings))
    truth = _truth(motion, sensor, settings, clock, span, edges, stamps, offsets)
    return Sensed(recording, truth, motion, edges, stamps, clock)


def _header(motion: Motion, sensor: Sensor, settings: Settings) -> dict[str, str]:
    header = {"pulses_per_rev": str(sensor.pulses)}
    if sensor.ticks_wrap:
        header["ticks_wrap"] = str(sensor.ticks_wrap)
    return header | motion.wheel.header() | settings.header()


def _truth(
    motion: Motion,
    sensor: Sensor,
    settings: Settings,
    clock: Clock,
    span: tuple[float, float],
    edges: Edges,
    stamps: Stamps,
    offsets: NDArray[np.float64],
) -> dict[str, Any]:
    """The truth document.

    ``magnet_offsets_rad`` runs in order of passing from the first true edge recorded, measured along that
    edge's sense (positive: passes later than even spacing has it); ``magnet_offsets_by_id_rad`` in φ's
    direction. Both have mean zero. ``zero_index`` is the number of the recorded edge nearest φ = 0 in the
    first passage, ``zero_edge_rad`` its distance from φ = 0 along the turning.
    """
    reps, incomplete = true_reps(motion, settings, clock.us, span)
    zero = _zero_edge(edges, stamps, clock, reps[0].rep.extension_us if reps else None)
    first = _first_true(edges, stamps)
    document = {
        "schema": TRUTH_SCHEMA,
        "reps": [rep.to_document() for rep in reps],
        "incomplete": incomplete,
        "pulses": len(stamps.t_us),
        "recorded": {kind: int((stamps.kind == code).sum()) for code, kind in enumerate(KINDS)},
        "passed": int(((edges.t_s >= span[0]) & (edges.t_s <= span[1])).sum()),
        "rig": dataclasses.asdict(motion.wheel)
        | dataclasses.asdict(settings)
        | {"pulses_per_rev": sensor.pulses},
        "sensor": _sensor_document(sensor),
        "clock": {"start_us": clock.us(span[0]), "end_us": clock.us(span[1]), "drift_ppm": clock.drift_ppm},
        "first_sense": None if first is None else first[1],
        "zero_index": None if zero is None else zero[0],
        "zero_edge_rad": None if zero is None else zero[1],
        "magnet_offsets_rad": None,
        "magnet_offsets_by_id_rad": None,
    }
    if sensor.kind == "magnets":
        document["magnet_offsets_by_id_rad"] = offsets.tolist()
        if first is not None:
            document["magnet_offsets_rad"] = in_order_of_passing(offsets, *first).tolist()
    clean: dict[str, Any] = finite(document)
    return clean


def in_order_of_passing(offsets_rad: NDArray[np.float64], first: int, sense: int) -> NDArray[np.float64]:
    """Offsets by magnet id in the order of passing from magnet ``first`` on, along ``sense`` (±1)."""
    order = (first + sense * np.arange(len(offsets_rad))) % len(offsets_rad)
    return sense * offsets_rad[order] + 0.0  # no negative zeros


def _first_true(edges: Edges, stamps: Stamps) -> tuple[int, int] | None:
    true = stamps.source[stamps.kind == TRUE]
    return (int(edges.mark[true[0]]), int(edges.sense[true[0]])) if len(true) else None


def _zero_edge(
    edges: Edges, stamps: Stamps, clock: Clock, extension_us: int | None
) -> tuple[int, float] | None:
    if extension_us is None:
        return None
    near = np.flatnonzero((stamps.kind == TRUE) & (np.abs(stamps.t_us - extension_us) < 500_000))
    if not len(near):
        return None
    angle = edges.angle_rad[stamps.source[near]]
    best = int(np.argmin(np.abs(angle)))
    return int(near[best]), float(angle[best] * edges.sense[stamps.source[near[best]]])


def _sensor_document(sensor: Sensor) -> dict[str, Any]:
    document = dataclasses.asdict(sensor)
    for end in ("from_s", "until_s"):
        document[end] = document[end] if math.isfinite(document[end]) else None
    return document
