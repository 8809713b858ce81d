"""Inertia by every method that the input allows, and whether they agree."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from brakebeat.calibrate.added import inertia_from_added
from brakebeat.calibrate.fall_edges import Fall, read_falls
from brakebeat.calibrate.fall_given import Given
from brakebeat.calibrate.falling import friction_known, inertia_of_fall
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.solids import Bolts, Part, inertia_of_parts
from brakebeat.calibrate.spin import Spin, read_spin
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

_DISAGREE = 2.5


@dataclass(frozen=True)
class Masses:
    """What `--falling-mass` and its fellows say; standard uncertainties, ``None`` where none was given."""

    masses_kg: tuple[float, ...]
    mass_sigma_rel: float = 0.002
    radius_sigma_m: float | None = None
    left_on_drum_m: float = 0.0
    left_given: bool = False
    gravity_m_s2: float | None = None


class Inertia:
    """Collects methods one after the other; ``result`` weighs them together."""

    def __init__(self) -> None:
        self._found: dict[str, tuple[float, float, dict[str, float]]] = {}
        self._flags: list[str] = []
        self.falls: list[tuple[Fall, Given, float]] = []
        # Without and with the added inertia.
        self.spins: tuple[Spin, Spin] | None = None

    def add_falling(self, recordings: list[Recording], masses: Masses) -> None:
        """One or two falling masses: each with the friction that is known, two also without."""
        falls = _falls(recordings, masses)
        givens = [
            _given(recordings[min(number, len(recordings) - 1)], mass, masses)
            for number, mass in enumerate(masses.masses_kg)
        ]
        if masses.radius_sigma_m is None:
            self._flags.append("radius_assumed_exact")
        if givens[0].strap_thickness_m and not masses.left_given:
            self._flags.append("zero_from_peak")
        single = []
        for fall, given in zip(falls, givens, strict=True):
            known = friction_known(given, fall)
            value = inertia_of_fall(fall, known)
            single.append(value)
            self.falls.append((fall, known, value[0]))
            if fall.run_out is not None:
                self._flags.append("friction_from_run_out")
            elif len(falls) == 1 and not any(given.friction):
                self._flags.append("friction_left_out")
                single[-1] = _at_most(fall, known, value)
        for number, value in enumerate(single):
            name = "falling_mass" if len(single) == 1 else f"falling_mass_{number + 1}"
            if len(single) == 1 or any(self.falls[number][1].friction) or falls[number].run_out:
                self._found[name] = value
        if len(falls) == 2:
            self._found["two_masses"] = two_masses(falls, givens)
            if len(self._found) == 1:
                self._flags.append("friction_from_masses")

    def add_added(self, recordings: list[Recording], added_kg_m2: float, sigma_kg_m2: float) -> None:
        """Two spin-downs, without and with a known inertia bolted on."""
        bare, loaded = (read_spin(recording) for recording in recordings)
        self._flags += [flag for spin in (bare, loaded) for flag in spin.flags if flag != "magnet_unseen"]
        self.spins = bare, loaded
        self._found["added_inertia"] = inertia_from_added(bare, loaded, added_kg_m2, sigma_kg_m2)

    def add_parts(self, parts: list[Part], bolts: list[Bolts], length_sigma_m: float) -> None:
        """Dimensions and materials."""
        self._found["dimensions"] = inertia_of_parts(parts, bolts, length_sigma_m)
        if any(part.memory_only for part in parts):
            self._flags.append("density_from_memory")

    def result(self) -> Calibration:
        """The best of all methods. Raises ``InputError`` where there is none."""
        if not self._found:
            raise InputError(
                "inertia: say how it was measured: --falling-mass KG, --added-inertia KG_M2, or --disc, --annulus "
                "and --bolts with the wheel's dimensions"
            )
        values = np.array([value for value, _, _ in self._found.values()])
        sigmas = np.array([sigma for _, sigma, _ in self._found.values()])
        # Falling masses share radius, scales and gravity: together they are no surer than the best of them.
        weight = 1.0 / np.maximum(sigmas, 1e-12) ** 2
        best = float((weight * values).sum() / weight.sum())
        sigma = float(sigmas.min())
        agree = all(
            abs(values[i] - values[j]) <= _DISAGREE * np.hypot(sigmas[i], sigmas[j])
            for i in range(len(values))
            for j in range(i)
        )
        if not agree:
            sigma = max(sigma, float(np.ptp(values)) / 2.0)
        methods: dict[str, dict[str, Any]] = {
            name: {"inertia_kg_m2": value, "uncertainty": spread, "by_source": parts}
            for name, (value, spread, parts) in self._found.items()
        }
        result = Calibration("inertia", {"inertia_kg_m2": best}, {"inertia_kg_m2": sigma}, methods=methods)
        result.flag(*self._flags)
        if not agree:
            result.flag("methods_disagree")
        return result


def _at_most(
    fall: Fall, given: Given, value: tuple[float, float, dict[str, float]]
) -> tuple[float, float, dict[str, float]]:
    """``value`` with the friction that is left out as a part of its uncertainty.

    What slows the wheel after the landing is friction, and perhaps the strap: no more friction than that. Where
    the recording ends with the landing nothing is known; friction of half the mass's pull is thought possible.
    """
    inertia, sigma, parts = value
    if fall.after is not None:
        slowing = (max(fall.after.slowing_rad_s2, 0.0), 0.0, 0.0)
        share = inertia - inertia_of_fall(fall, dataclasses.replace(given, slowing=slowing))[0]
    else:
        share = 0.5 * inertia
    parts = parts | {"friction": float(np.hypot(parts.get("friction", 0.0), share))}
    return inertia, float(np.hypot(sigma, share)), parts


def two_masses(falls: list[Fall], givens: list[Given]) -> tuple[float, float, dict[str, float]]:
    """Inertia from two falls with the same unknown constant friction: the torque at which both agree.

    Friction that depends on speed stays as ``givens`` have it.
    """
    inertia, torque = _crossing(falls, givens)
    sources: dict[str, float] = {}
    found = [
        inertia_of_fall(
            fall, dataclasses.replace(g, friction=(torque, *g.friction[1:]), friction_sigma=(0, 0, 0))
        )
        for fall, g in zip(falls, givens, strict=True)
    ]
    # How each fall's own scatter moves the crossing.
    step = 0.01 * torque if torque > 0.0 else 0.01
    slopes = [
        (inertia_of_fall(f, dataclasses.replace(g, friction=(torque + step, *g.friction[1:])))[0] - v[0])
        / step
        for f, g, v in zip(falls, givens, found, strict=True)
    ]
    apart = slopes[1] - slopes[0]
    shares = [slopes[1] / apart, -slopes[0] / apart]
    own = [np.hypot(v[2]["edges"], v[2].get("landing", 0.0)) for v in found]
    sources["edges"] = float(np.hypot(shares[0] * own[0], shares[1] * own[1]))
    sources["mass_kg"] = float(
        np.hypot(shares[0] * found[0][2].get("mass_kg", 0.0), shares[1] * found[1][2].get("mass_kg", 0.0))
    )
    for name in ("drum_radius_m", "strap_thickness_m", "left_on_drum_m", "gravity_m_s2"):
        # One drum, one strap, one place on Earth: these move both falls alike.
        sources[name] = abs(sum(share * v[2].get(name, 0.0) for share, v in zip(shares, found, strict=True)))
    return inertia, float(np.sqrt(sum(part**2 for part in sources.values()))), sources


def _crossing(falls: list[Fall], givens: list[Given]) -> tuple[float, float]:
    """Inertia and constant friction torque at which both falls give the same inertia."""

    def apart(torque: float) -> tuple[float, float]:
        values = [
            inertia_of_fall(fall, _bare(given, torque))[0] for fall, given in zip(falls, givens, strict=True)
        ]
        return values[0] - values[1], values[0]

    low, high = 0.0, 0.05 * min(g.mass_kg * g.drum_radius_m * g.gravity_m_s2 for g in givens)
    difference_low, _ = apart(low)
    for _ in range(12):
        difference_high, inertia = apart(high)
        if abs(high - low) < 1e-7 or difference_high == difference_low:
            break
        target = high - difference_high * (high - low) / (difference_high - difference_low)
        low, difference_low, high = high, difference_high, target
    return inertia, high


def _bare(given: Given, torque: float) -> Given:
    """Without uncertainties (they cost a fit each) and with another constant friction."""
    return dataclasses.replace(
        given,
        friction=(torque, *given.friction[1:]),
        friction_sigma=(0.0, 0.0, 0.0),
        mass_sigma_kg=0.0,
        drum_radius_sigma_m=0.0,
        gravity_sigma_m_s2=0.0,
        strap_thickness_sigma_m=0.0,
    )


def _falls(recordings: list[Recording], masses: Masses) -> list[Fall]:
    count = len(masses.masses_kg)
    if not 1 <= count <= 2 or len(recordings) not in (1, count):
        raise InputError(
            f"--falling-mass: {count} masses and {len(recordings)} recordings: give one or two masses, and one "
            "recording for each or one with both falls"
        )
    if len(recordings) == count:
        return [read_falls(recording, 1)[0] for recording in recordings]
    return read_falls(recordings[0], count)


def _given(recording: Recording, mass_kg: float, masses: Masses) -> Given:
    rig = recording.rig
    if rig.drum_radius_m is None:
        raise InputError(
            f"{recording.path}: drum_radius_m is not in the header: the mass turns the wheel by it. Give a --rig "
            "file that has it (`brakebeat calibrate strap` finds it)"
        )
    given = Given(
        mass_kg,
        rig.drum_radius_m,
        rig.strap_thickness_m,
        masses.left_on_drum_m,
        (rig.friction_torque_nm, rig.friction_viscous_nm_s, rig.friction_drag_nm_s2),
        mass_sigma_kg=masses.mass_sigma_rel * mass_kg,
        drum_radius_sigma_m=masses.radius_sigma_m or 0.0,
    )
    if masses.gravity_m_s2 is not None:
        given = dataclasses.replace(given, gravity_m_s2=masses.gravity_m_s2, gravity_sigma_m_s2=0.001)
    return given
