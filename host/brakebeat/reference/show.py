"""An analysis as a table for people: every number with its unit, uncertainties behind ±."""

from __future__ import annotations

from brakebeat.measured import with_uncertainty
from brakebeat.results import Analysis, PhaseFigures, Rep
from brakebeat.wording import counted

UNKNOWN = "–"


def table(analysis: Analysis) -> str:
    """The whole analysis in lines of text."""
    lines = [_summary(analysis)]
    starts = {first: number for number, (first, _) in enumerate(analysis.sets)}
    for rep in analysis.reps:
        if rep.index in starts:
            lines.append(f"\nset {starts[rep.index] + 1}")
        lines += _rep_lines(rep)
    lines.append("\n" + _quality(analysis))
    return "\n".join(lines)


def line(analysis: Analysis) -> str:
    """The whole analysis in a few words."""
    found = f"{counted(len(analysis.reps), 'rep')} in {counted(len(analysis.sets), 'set')}"
    return f"{counted(analysis.pulses, 'edge')}, {found}"


def _summary(analysis: Analysis) -> str:
    return f"{line(analysis)} (reference; ± is one standard uncertainty)"


def _rep_lines(rep: Rep) -> list[str]:
    momentum = ", momentum" if rep.momentum else ""
    said = rep.uncertainty
    fraction = _with(rep.brake_fraction, said.get("brake_fraction"), "of the way")
    lines = [
        f"  rep {rep.index + 1}{momentum}: from {rep.start_us * 1e-6:.3f} s, "
        f"phi = 0 at {rep.extension_us * 1e-6:.3f} s, "
        f"to {rep.end_us * 1e-6:.3f} s",
        f"    peak {_with(rep.peak_rad_s, said.get('peak_rad_s'), 'rad/s')} at {rep.peak_us * 1e-6:.3f} s; "
        f"out {rep.concentric_rad:.2f} rad, back {rep.eccentric_rad:.2f} rad",
        f"    brake {rep.brake_timing or 'unknown'}: {fraction}",
        _phase_line("concentric", rep.concentric, said),
        _phase_line("eccentric", rep.eccentric, said),
    ]
    if rep.flags:
        lines.append(f"    flags: {', '.join(rep.flags)}")
    return lines


def _phase_line(name: str, figures: PhaseFigures, said: dict[str, float]) -> str:
    def part(key: str, unit: str) -> str:
        return _with(getattr(figures, key), said.get(f"{name}.{key}"), unit)

    return (
        f"    {name}: {part('duration_s', 's')}, {part('energy_j', 'J')}, mean {part('mean_power_w', 'W')}, "
        f"peak {part('peak_power_w', 'W')}, {part('peak_torque_nm', 'N·m')}, {part('peak_force_n', 'N')}"
    )


def _with(value: float | None, spread: float | None, unit: str) -> str:
    if value is None:
        return f"{UNKNOWN} {unit}"
    return f"{with_uncertainty(value, spread)} {unit}"


def _quality(analysis: Analysis) -> str:
    q = analysis.quality
    return (
        f"edges: {q.bounced} bounced, {q.missed} missed, {q.spurious} spurious; "
        f"stretches that are no rep: {q.incomplete}"
    )
