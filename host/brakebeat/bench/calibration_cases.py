"""What each calibration is tried on: a rig drawn at random, a recording made for the purpose, its truth.

Measured inputs (masses, radii, lengths) are off by chance, as scales, calipers and tapes are, and each calibration
is told by how much; the rig's own true values are taken out of the recording's header where it would help itself.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.friction import TERMS, friction_of
from brakebeat.calibrate.inertia import Inertia, Masses
from brakebeat.calibrate.magnets import magnets_of
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.spin import read_spin
from brakebeat.calibrate.strap import calibrate_strap
from brakebeat.formats.recording import Recording
from brakebeat.simulate import Motion, Sensed, Wheel, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import falling_mass, slow_pulls

Array = NDArray[np.float64]

DEGREE_RAD = math.pi / 180.0
_SLOWEST_RAD_S = 2.0
# Standard uncertainties of kitchen scales, a caliper on the drum, a tape along the strap. An instrument keeps to its
# limits: errors are even within them, which lie sqrt(3) standard uncertainties off (JCGM 100:2008, 4.3.7).
_SCALES, _CALIPER, _TAPE_M = 0.001, 0.002, 0.0005


@dataclass(frozen=True)
class Outcome:
    """Errors of all stated values, their standard uncertainties, (k,) each, and the one error that is judged."""

    error: Array
    sigma: Array
    judged: float


@dataclass(frozen=True)
class Case:
    """``run(seed)`` makes a recording and calibrates from it; ``judged`` is meant to stay below ``limit``."""

    kind: str
    on: str
    unit: str
    limit: float
    run: Callable[[int], Outcome]

    @property
    def name(self) -> str:
        """For the command line."""
        return f"{self.kind}-{self.on}".replace(", ", "-").replace(" ", "-")


def _magnets(kind: str, magnets: int) -> Callable[[int], Outcome]:
    def run(seed: int) -> Outcome:
        sensed = _spun(seed, kind, magnets, _rig(seed))
        found = magnets_of(read_spin(sensed.recording))
        truth = np.array(sensed.truth["magnet_offsets_rad"])
        offsets, sigma = (
            np.array(part["offsets_rad"], float) for part in (found.estimate, found.uncertainty)
        )
        if "first_edge_uncertain" in found.flags:
            # Then the table is promised up to a rotation only.
            turn = min(range(magnets), key=lambda shift: np.abs(np.roll(offsets, shift) - truth).max())
            offsets, sigma = np.roll(offsets, turn), np.roll(sigma, turn)
        error = offsets - truth
        return Outcome(error, sigma, float(np.abs(error).max()) / DEGREE_RAD)

    return run


def _friction(kind: str, magnets: int) -> Callable[[int], Outcome]:
    def run(seed: int) -> Outcome:
        wheel = _rig(seed)
        sensed = _spun(seed, kind, magnets, wheel)
        # The inertia is taken as exact: its own error goes through in proportion, and would hide the fit's.
        found = friction_of(read_spin(sensed.recording), wheel.inertia_kg_m2)
        error = _values(found, TERMS) - np.array([getattr(wheel, name) for name in TERMS])
        sigma = np.array([found.uncertainty[name] for name in TERMS], float)
        speed = np.linspace(_SLOWEST_RAD_S, float(found.details["fastest_rad_s"]), 20)
        curve = np.stack([np.ones(len(speed)), speed, speed**2])
        relative = np.abs(error @ curve / wheel.friction_nm(speed))
        return Outcome(error, sigma, 100.0 * float(relative.max()))

    return run


def _falling(kind: str, magnets: int, runs_on: bool) -> Callable[[int], Outcome]:
    """One mass with the wheel running on after it has landed, or two masses that end with the landing."""

    def run(seed: int) -> Outcome:
        rng = np.random.default_rng([seed, 82])
        wheel = dataclasses.replace(_rig(seed), friction_viscous_nm_s=0.0, friction_drag_nm_s2=0.0)
        wheel = _rig(seed) if runs_on else wheel
        masses = [float(rng.uniform(4.0, 8.0))] if runs_on else [3.0, 8.0]
        wound, left = float(rng.uniform(0.9, 1.3)), float(rng.choice([0.0, 0.1]))
        radius = wheel.drum_radius_m * (1.0 + _CALIPER * _off(rng))
        recordings = []
        for number, mass in enumerate(masses):
            motion = falling_mass(wheel, mass, wound, left_m=left, runs_on=runs_on)
            recording = _sensed(motion, kind, magnets, seed + 7 * number).recording
            recordings.append(
                _told(recording, drum_radius_m=radius, strap_thickness_m=wheel.strap_thickness_m)
            )
        read = tuple(mass * (1.0 + _SCALES * _off(rng)) for mass in masses)
        found = Inertia()
        found.add_falling(recordings, Masses(read, _SCALES, _CALIPER * wheel.drum_radius_m, left, True))
        return _inertia(found, wheel)

    return run


def _added(kind: str, magnets: int) -> Callable[[int], Outcome]:
    def run(seed: int) -> Outcome:
        rng = np.random.default_rng([seed, 83])
        bare = _rig(seed)
        loaded = dataclasses.replace(bare, inertia_kg_m2=bare.inertia_kg_m2 + 0.05)
        recordings = [
            _spun(seed + 7 * number, kind, magnets, wheel).recording
            for number, wheel in enumerate((bare, loaded))
        ]
        found = Inertia()
        found.add_added(recordings, 0.05 * (1.0 + _CALIPER * _off(rng)), _CALIPER * 0.05)
        return _inertia(found, bare)

    return run


def _strap(kind: str, magnets: int, thickness_known: bool) -> Callable[[int], Outcome]:
    def run(seed: int) -> Outcome:
        rng = np.random.default_rng([seed, 84])
        wheel = dataclasses.replace(_rig(seed), drum_radius_m=float(rng.uniform(0.012, 0.03)))
        lengths = [float(rng.uniform(0.25, 0.35))] * 8
        motion = slow_pulls(wheel, lengths, speed_m_s=float(rng.uniform(0.05, 0.2)), pause_s=3.0)
        recording = _told(_sensed(motion, kind, magnets, seed).recording)
        found = calibrate_strap(
            recording,
            [length + _TAPE_M * _off(rng) for length in lengths],
            length_sigma_m=_TAPE_M,
            strap_thickness_m=wheel.strap_thickness_m if thickness_known else None,
        )
        truth = np.array([wheel.drum_radius_m, wheel.strap_thickness_m])
        names = ("drum_radius_m", "strap_thickness_m")[: 1 if thickness_known else 2]
        error = _values(found, names) - truth[: len(names)]
        sigma = np.array([found.uncertainty[name] for name in names], float)
        return Outcome(error, sigma, 100.0 * abs(float(error[0])) / wheel.drum_radius_m)

    return run


def _off(rng: np.random.Generator) -> float:
    """An instrument's error in standard uncertainties."""
    return float(rng.uniform(-1.0, 1.0)) * math.sqrt(3.0)


def _rig(seed: int) -> Wheel:
    rng = np.random.default_rng([seed, 80])
    return Wheel(
        inertia_kg_m2=float(rng.uniform(0.05, 0.2)),
        drum_radius_m=float(rng.uniform(0.012, 0.02)),
        strap_thickness_m=float(rng.choice([0.0, 0.001, 0.0015, 0.002])),
        friction_torque_nm=float(rng.uniform(0.05, 0.2)),
        friction_viscous_nm_s=float(rng.uniform(0.0, 0.003)),
        friction_drag_nm_s2=float(rng.choice([0.0, 3e-5])),
    )


def _spun(seed: int, kind: str, magnets: int, wheel: Wheel) -> Sensed:
    rng = np.random.default_rng([seed, 85])
    motion = spin_down(wheel, float(rng.uniform(20.0, 36.0)), push_s=float(rng.uniform(0.8, 3.0)))
    return _sensed(motion, kind, magnets, seed)


def _sensed(motion: Motion, kind: str, magnets: int, seed: int) -> Sensed:
    return sense_fully(motion, preset(kind, magnets, placement_rad=2.0 * DEGREE_RAD), seed)


def _told(recording: Recording, **known: float) -> Recording:
    """The recording with a header that has what was measured, and nothing else of the rig."""
    header = {"pulses_per_rev": recording.header["pulses_per_rev"]}
    header |= {key: repr(float(value)) for key, value in known.items()}
    return Recording(recording.t_us, recording.step, header, path=recording.path)


def _inertia(found: Inertia, wheel: Wheel) -> Outcome:
    result = found.result()
    error = _values(result, ("inertia_kg_m2",)) - wheel.inertia_kg_m2
    sigma = np.array([result.uncertainty["inertia_kg_m2"]], float)
    return Outcome(error, sigma, 100.0 * abs(float(error[0])) / wheel.inertia_kg_m2)


def _values(found: Calibration, names: tuple[str, ...]) -> Array:
    return np.array([found.estimate[name] for name in names], float)


CASES: tuple[Case, ...] = (
    *(
        Case("magnets", f"{kind}, {count}", "°", 0.1, _magnets(kind, count))
        for kind, count in (("clean", 2), ("clean", 6), ("dirty", 6), ("dirty", 24))
    ),
    *(
        Case("friction", f"{kind}, {count}", "%", 5.0, _friction(kind, count))
        for kind, count in (("clean", 6), ("dirty", 6), ("dirty", 24))
    ),
    *(
        Case("inertia", f"{name}, {kind}, 6", "%", 1.0, _falling(kind, 6, runs_on))
        for name, runs_on in (("one mass", True), ("two masses", False))
        for kind in ("clean", "dirty")
    ),
    *(Case("inertia", f"added, {kind}, 6", "%", 1.0, _added(kind, 6)) for kind in ("clean", "dirty")),
    *(
        Case("strap", f"{name}, {kind}, {count}", "%", 0.5, _strap(kind, count, known))
        for name, known in (("thickness known", True), ("thickness fitted", False))
        for kind, count in (("clean", 6), ("clean", 12))
    ),
    Case("strap", "thickness fitted, dirty, 6", "%", 0.5, _strap("dirty", 6, False)),
)
