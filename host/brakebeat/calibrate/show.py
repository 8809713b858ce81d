"""A calibration in words."""

from __future__ import annotations

from brakebeat.calibrate.result import FLAGS, Calibration, Value
from brakebeat.measured import with_uncertainty

_UNITS = {
    "offsets_rad": "rad",
    "friction_torque_nm": "N·m",
    "friction_viscous_nm_s": "N·m·s",
    "friction_drag_nm_s2": "N·m·s²",
    "inertia_kg_m2": "kg·m²",
    "drum_radius_m": "m",
    "strap_thickness_m": "m",
    "zero_index": "",
}
# The longest first, since a shorter one is the end of it.
_ENDS = {
    "_kg_m2": "kg·m²",
    "_m_s2": "m/s²",
    "_kg": "kg",
    "_rad_s": "rad/s",
    "_rad": "rad",
    "_us": "µs",
    "_s": "s",
    "_m": "m",
}
_DEGREES = 57.29577951308232


def words(result: Calibration) -> str:
    """Lines for a screen: each figure with its standard uncertainty, methods, and what is doubtful."""
    lines = []
    for key, value in result.estimate.items():
        sigma = result.uncertainty[key]
        if isinstance(value, list):
            lines += _magnets(value, sigma if isinstance(sigma, list) else [])
        else:
            lines.append(f"{key} = {_pair(value, sigma)} {_UNITS[key]}".rstrip())
    for name, method in result.methods.items():
        by = ", ".join(
            f"{_named(source)} {share:.2g}" for source, share in method["by_source"].items() if share > 0.0
        )
        lines.append(
            f"  {name.replace('_', ' ')}: {_pair(method['inertia_kg_m2'], method['uncertainty'])} kg·m² (± from {by})"
        )
    for key, value in result.details.items():
        if isinstance(value, (int, float)):
            lines.append(f"  {_named(key)}: {value:.6g}{_unit(key)}")
    lines += [f"note: {flag}: {FLAGS[flag]}" for flag in result.flags]
    return "\n".join(lines)


def _unit(key: str) -> str:
    """The unit that a key ends in, for behind its value."""
    return next((f" {unit}" for end, unit in _ENDS.items() if key.endswith(end)), "")


def _named(key: str) -> str:
    """A key in words, without its unit."""
    end = next((end for end in _ENDS if key.endswith(end)), "")
    return key.removesuffix(end).replace("_", " ")


def _magnets(offsets: list[float | None], sigmas: list[float | None]) -> list[str]:
    lines = ["offsets from even spacing, in the order of passing from the recording's first edge:"]
    for number, (offset, sigma) in enumerate(zip(offsets, sigmas, strict=True), 1):
        if offset is None or sigma is None:
            lines.append(f"  magnet {number}: unknown")
        else:
            lines.append(
                f"  magnet {number}: {offset:+.5f} ± {sigma:.5f} rad "
                f"({offset * _DEGREES:+.3f} ± {sigma * _DEGREES:.3f}°)"
            )
    return lines


def _pair(value: Value, sigma: Value) -> str:
    if not isinstance(value, (int, float)):
        return "unknown"
    return with_uncertainty(value, sigma if isinstance(sigma, (int, float)) else None, digits=6)
