"""A rig file in figures and in words."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from brakebeat.formats.rig import Rig
from brakebeat.results import SCHEMA, finite
from brakebeat.rigs.resolution import (
    SPEEDS_RAD_S,
    expected,
    measured_on,
    placement_percent,
    step_rad_s,
    two_digits,
)
from brakebeat.screen import RPM_PER_RAD_S
from brakebeat.wording import counted

_DEGREE_RAD = math.pi / 180.0
# Fewer edges a turn tell too little of the way back for a cue in it (the README counts the false late cues).
LEAST_FOR_LATE_CUE = 4


def document(rig: Rig) -> dict[str, Any]:
    """The rig and what it gives, as one JSON document."""
    magnets = rig.pulses_per_rev
    clean: dict[str, Any] = finite(
        {
            "schema": SCHEMA,
            "rig": rig.model_dump(mode="json"),
            "spacing_rad": 2.0 * math.pi / magnets,
            "steps": [
                {
                    "speed_rad_s": speed,
                    "one_gap_rad_s": step_rad_s(speed, magnets),
                    "one_turn_rad_s": step_rad_s(speed, magnets, magnets),
                }
                for speed in SPEEDS_RAD_S
            ],
            "placement_known": placement_known(rig),
            "one_degree_off_percent": placement_percent(_DEGREE_RAD, magnets),
            "expected": [dataclasses.asdict(row) for row in expected(rig)],
            "unknown": unknown(rig),
        }
    )
    return clean


def placement_known(rig: Rig) -> bool:
    """Whether it is known where each edge of a turn lies."""
    return rig.magnet_offsets_rad is not None or rig.pulses_per_rev == 1 or rig.board.sensor == "quadrature"


def unknown(rig: Rig) -> dict[str, str]:
    """What the rig does not say yet, and what that costs."""
    costs = {
        "inertia_kg_m2": "no torque, power or energy (brakebeat calibrate inertia)",
        "drum_radius_m": "no force (brakebeat calibrate strap)",
    }
    missing = {key: cost for key, cost in costs.items() if getattr(rig, key) is None}
    if not placement_known(rig):
        missing["magnet_offsets_rad"] = "each set learns the magnets anew (brakebeat calibrate magnets)"
    if not any((rig.friction_torque_nm, rig.friction_viscous_nm_s, rig.friction_drag_nm_s2)):
        missing["friction_torque_nm"] = "friction counts as the athlete's work (brakebeat calibrate friction)"
    return missing


def words(rig: Rig) -> str:
    """Lines for a screen."""
    magnets = rig.pulses_per_rev
    lines = [
        f"{rig.name or 'rig'}: {counted(magnets, 'edge')} a turn, one each {2.0 * math.pi / magnets:.4f} rad "
        f"({360.0 / magnets:.3g}°)",
        "one tick of the clock (1 us) is a step of the speed of",
    ]
    for speed in SPEEDS_RAD_S:
        lines.append(
            f"  {step_rad_s(speed, magnets):.2g} rad/s over one gap, "
            f"{step_rad_s(speed, magnets, magnets):.2g} rad/s over one turn, at {speed:g} rad/s "
            f"({speed * RPM_PER_RAD_S:.0f} rpm)"
        )
    if placement_known(rig):
        lines.append("where each edge lies is known")
    else:
        lines.append(
            f"a magnet that sits 1° off and is not known makes one gap's speed "
            f"{placement_percent(_DEGREE_RAD, magnets):.2g} % wrong"
        )
    rows = expected(rig)
    if rows:
        lines.append(f"worst errors to be expected ({measured_on()}):")
    for row in rows:
        peak = (
            "peak speed not measured"
            if row.peak_percent is None
            else f"peak speed {two_digits(row.peak_percent)} %"
        )
        part = "" if row.fraction is None else f", brake fraction {row.fraction:.2g}"
        sort = "dirty edges, placement within 1°" if row.kind.startswith("dirty") else "clean edges"
        lines.append(f"  {sort}, {row.magnets} a turn: {peak}{part}")
    low, high = rig.brake_window
    lines.append(f"brake window: {low:.2f} to {high:.2f} of the way back")
    if rig.cues.late_cue and magnets < LEAST_FOR_LATE_CUE:
        lines.append(
            f"late cue: on, but with {counted(magnets, 'edge')} a turn it also sounds at reps that are braked in time: "
            "late_cue = false under [cues] turns it off"
        )
    lines += [f"not known: {key}: {cost}" for key, cost in unknown(rig).items()]
    return "\n".join(lines)
