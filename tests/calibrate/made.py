"""Recordings for the calibrations: simulated ones with their truth, and exact ones from textbook motions."""

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.simulate import Sensed, Wheel, preset, sense_fully, spin_down

DEGREE_RAD = np.pi / 180


def spun(
    seed: int, kind: str = "clean", magnets: int = 6, wheel: Wheel | None = None, **sensor: object
) -> tuple[Sensed, Wheel]:
    """A hand-spun wheel with magnets up to 2° off, friction drawn."""
    rng = np.random.default_rng([seed, 77])
    drawn = Wheel(
        friction_torque_nm=rng.uniform(0.05, 0.2),
        friction_viscous_nm_s=rng.uniform(0.0005, 0.003),
        friction_drag_nm_s2=float(rng.choice([0.0, 3e-5])),
    )
    wheel = wheel or drawn
    motion = spin_down(wheel, 30 * rng.uniform(0.7, 1.2), push_s=rng.uniform(0.8, 3))
    values = {"placement_rad": 2 * DEGREE_RAD} | sensor
    return sense_fully(motion, preset(kind, magnets, **values), seed), wheel


def edges(turned_rad: np.ndarray, t_s: np.ndarray, magnets: int, **header: float) -> Recording:
    """The recording of evenly spaced magnets on a shaft at angles ``turned_rad`` at times ``t_s``, both rising."""
    spacing = 2 * np.pi / magnets
    places = np.arange(0.5, turned_rad[-1] / spacing) * spacing
    times = np.interp(places, turned_rad, t_s)
    keys = {"pulses_per_rev": str(magnets)} | {key: repr(float(value)) for key, value in header.items()}
    return Recording(np.round(times * 1e6).astype(np.int64), np.zeros(len(times), np.int8), keys)
