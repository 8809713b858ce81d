"""What brakes the wheel when nobody does: torque against speed, from a hand-spun wheel that runs out."""

from __future__ import annotations

import numpy as np

from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.spin import Spin, inseparable, read_spin
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

TERMS = ("friction_torque_nm", "friction_viscous_nm_s", "friction_drag_nm_s2")


def calibrate_friction(
    recording: Recording, inertia_kg_m2: float | None = None, inertia_sigma_kg_m2: float | None = None
) -> Calibration:
    """Friction terms in N·m, N·m·s, N·m·s² of a free run.

    ``inertia_kg_m2`` wins over the recording's own; its standard uncertainty is carried through where given.
    Raises ``InputError`` where there is no inertia or no free run.
    """
    return friction_of(read_spin(recording), inertia_for(recording, inertia_kg_m2), inertia_sigma_kg_m2)


def inertia_for(recording: Recording, inertia_kg_m2: float | None = None) -> float:
    """The inertia given, else the recording's. Raises ``InputError`` where there is neither."""
    inertia = recording.rig.inertia_kg_m2 if inertia_kg_m2 is None else inertia_kg_m2
    if inertia is None:
        raise InputError(
            f"{recording.path}: inertia_kg_m2 is not in the header: friction is inertia times deceleration. "
            "Give --inertia KG_M2 or a --rig file that has it (`brakebeat calibrate inertia` finds it)"
        )
    return inertia


def friction_of(spin: Spin, inertia_kg_m2: float, inertia_sigma_kg_m2: float | None = None) -> Calibration:
    """The same from a spin that has been read."""
    terms, sigma = spin.terms()
    spread = np.hypot(inertia_kg_m2 * sigma, terms * (inertia_sigma_kg_m2 or 0.0))
    middle = 0.5 * (spin.law.speed_rad_s[0] + spin.law.speed_rad_s[-1])
    result = Calibration(
        "friction",
        dict(zip(TERMS, (inertia_kg_m2 * terms).tolist(), strict=True)),
        dict(zip(TERMS, spread.tolist(), strict=True)),
        [flag for flag in spin.flags if flag != "magnet_unseen"],
        details={
            "turns": round(spin.fit.turns, 2),
            "fastest_rad_s": spin.law.coasting.speed_rad_s,
            "slowest_rad_s": float(spin.law.speed_rad_s[-1]),
            "inertia_kg_m2": inertia_kg_m2,
            "at_middle_speed": {
                "speed_rad_s": middle,
                "torque_nm": inertia_kg_m2 * float(spin.law.coasting.slowing_rad_s2(middle)),
            },
        },
    )
    result.flag(*inseparable(spin.law))
    if inertia_sigma_kg_m2 is None:
        result.flag("inertia_assumed_exact")
    return result
