"""Turns strokes that pass φ = 0 between two turnarounds into reps with their figures and uncertainties."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brakebeat.formats.rig import Rig
from brakebeat.reference.curve.ends import Stroke, sampled
from brakebeat.reference.figures.one_change import Changes, changes
from brakebeat.reference.figures.onset import Onset, brakes, find_onset, knows_braking
from brakebeat.reference.figures.peak_power import peak_power_w
from brakebeat.reference.figures.phases import SAMPLE_S, WINDOW_S, Phase, best_window, phase_figures
from brakebeat.reference.figures.ramp import sharpened
from brakebeat.reference.figures.stroke_edges import StrokeEdges
from brakebeat.reference.rig_physics import Physics
from brakebeat.reference.zero import Zero
from brakebeat.results import BrakeTiming, Rep

# Fewer edges than this in a phase leave its acceleration to the penalty alone.
FEW_EDGES = 5
# The top of a course that errs lies too high, in standard deviations of the error (found on simulated athletes).
_TOO_GREAT = 0.3
# A half pull may be followed by a whole way back, hardly by more.
MOST_WOUND = 3.0


def stroke_phases(stroke: Stroke, zero: Zero) -> tuple[Phase, Phase] | None:
    """The concentric and the eccentric phase of a stroke; None where it does not pass φ = 0."""
    t, along, _ = sampled(stroke, SAMPLE_S)
    angle = along - stroke.sense * zero.angle_rad
    passed = np.flatnonzero((angle[:-1] < 0.0) & (angle[1:] >= 0.0))
    if not len(passed):
        return None
    at = int(passed[0])
    share = -angle[at] / (angle[at + 1] - angle[at])
    extension = float(t[at] + share * (t[at + 1] - t[at]))
    if extension - stroke.begin.t_s < 2 * SAMPLE_S or stroke.finish.t_s - extension < 2 * SAMPLE_S:
        return None
    concentric = _phase(stroke, zero, stroke.begin.t_s, extension, 1)
    return concentric, _phase(stroke, zero, extension, stroke.finish.t_s, -1)


def rep_phases(stroke: Stroke, zero: Zero | None) -> tuple[Phase, Phase] | None:
    """The phases of a stroke that is a rep; None for any other."""
    if zero is None or not (stroke.begin.known and stroke.finish.known):
        return None
    phases = stroke_phases(stroke, zero)
    if phases is None or not _goes_somewhere(stroke, phases):
        return None
    if phases[1].angle_rad[-1] > MOST_WOUND * -phases[0].angle_rad[0]:
        # No strap winds up that much more than was pulled off: it was let go, and the wheel ran out.
        return None
    return phases


def _goes_somewhere(stroke: Stroke, phases: tuple[Phase, Phase]) -> bool:
    """Whether each phase turns the shaft so far that edges can show it: half a spacing at least."""
    least = 0.5 * stroke.fit.spacing_rad
    return bool(-phases[0].angle_rad[0] > least and phases[1].angle_rad[-1] > least)


def _phase(stroke: Stroke, zero: Zero, start_s: float, end_s: float, sign: int) -> Phase:
    count = max(int(np.ceil((end_s - start_s) / SAMPLE_S)), 2) + 1
    t = np.linspace(start_s, end_s, count)
    speed = np.maximum(stroke.along(t, 1), 0.0)
    # The ends of a rep are standstill by definition; extrapolation leaves a trace of speed there.
    if sign > 0:
        speed[0] = 0.0
    else:
        speed[-1] = 0.0
    return Phase(t, stroke.along(t) - stroke.sense * zero.angle_rad, speed, stroke.along(t, 2), sign)


def make_rep(stroke: Stroke, phases: tuple[Phase, Phase], zero: Zero, rig: Rig, origin_us: int) -> Rep:
    """A rep with all its figures (index and momentum are set later); times on the recording's clock."""
    concentric, eccentric = phases
    physics = Physics(rig)

    def us(t_s: float) -> int:
        return origin_us + round((t_s + stroke.delay_s) * 1e6)

    edges = StrokeEdges.of(stroke, zero.angle_rad)
    power_sd = [_peak_power_sd(stroke, phase, physics) for phase in phases]
    peak_s, peak = _peak(concentric, eccentric)
    rep = Rep(
        index=0,
        momentum=False,
        start_us=us(stroke.begin.t_s - stroke.lag_s),
        extension_us=us(float(eccentric.t_s[0])),
        end_us=us(stroke.finish.t_s),
        peak_us=us(peak_s),
        peak_rad_s=peak,
        concentric_rad=float(-concentric.angle_rad[0]),
        eccentric_rad=float(eccentric.angle_rad[-1]),
        concentric=phase_figures(concentric, physics, stroke.lag_s, power_sd[0]),
        eccentric=phase_figures(eccentric, physics, 0.0, power_sd[1]),
    )
    changed = [_changes(edges, phase, physics) for phase in phases]
    for at, figures in enumerate((rep.concentric, rep.eccentric)):
        told = changed[at]
        if told is not None and figures.peak_power_w is not None:
            figures.peak_power_w, power_sd[at] = peak_power_w(figures.peak_power_w, power_sd[at], told)
    onset = None
    counts = [int(((edges.t_s >= p.t_s[0]) & (edges.t_s <= p.t_s[-1])).sum()) for p in phases]
    if min(counts) < FEW_EDGES:
        rep.flags.append("few_edges")
        _withhold(rep)
    elif knows_braking(physics):
        speed_sd = float(stroke.fit.spread([(float(eccentric.t_s[0]), 1)])[0])
        onset = find_onset(eccentric, physics) if brakes(eccentric, physics, speed_sd) else None
        rep.brake_timing = "none"
        if onset is not None:
            onset = sharpened(onset, edges, eccentric, physics, stroke.fit.noise.jerk_density)
            if not onset.held:
                onset = _with_the_changes(onset, eccentric, changed[1])
            rep.brake_onset_us = us(onset.t_s)
            rep.brake_fraction = onset.angle_rad / rep.concentric_rad
            rep.brake_timing = _timing(rep.brake_fraction, rig)
    if zero.assumed:
        rep.flags.append("zero_assumed")
    _state_uncertainty(rep, stroke, phases, zero, physics, onset, peak_s)
    for name, sd in zip(("concentric", "eccentric"), power_sd, strict=True):
        if getattr(rep, name).peak_power_w is not None:
            rep.uncertainty[f"{name}.peak_power_w"] = sd
    return rep


def _peak(concentric: Phase, eccentric: Phase) -> tuple[float, float]:
    """Time and height of the greatest speed."""
    t = np.concatenate([concentric.t_s, eccentric.t_s[1:]])
    speed = np.concatenate([concentric.speed_rad_s, eccentric.speed_rad_s[1:]])
    top = int(np.argmax(speed))
    return float(t[top]), float(speed[top])


def _withhold(rep: Rep) -> None:
    """Take back what rests on acceleration."""
    for figures in (rep.concentric, rep.eccentric):
        figures.peak_power_w = figures.peak_torque_nm = figures.peak_force_n = None


def _timing(fraction: float, rig: Rig) -> BrakeTiming:
    opens, closes = rig.brake_window
    if fraction > closes:
        return "late"
    return "early" if fraction < opens else "inside"


def _state_uncertainty(
    rep: Rep,
    stroke: Stroke,
    phases: tuple[Phase, Phase],
    zero: Zero,
    physics: Physics,
    onset: Onset | None,
    peak_s: float,
) -> None:
    """Standard uncertainties from the fit's covariance and that of φ = 0."""
    extension_s = float(phases[1].t_s[0])
    functions = [(peak_s, 1), (extension_s, 0), (extension_s, 1)]
    if onset is not None:
        functions.append((onset.t_s, 2))
    spread = stroke.fit.spread(functions)
    speed = max(float(phases[1].speed_rad_s[0]), 1e-3)
    said = rep.uncertainty
    said["peak_rad_s"] = float(spread[0])
    rep.peak_rad_s -= _TOO_GREAT * said["peak_rad_s"]
    said["start_us"] = stroke.begin.t_sd_s * 1e6
    said["end_us"] = stroke.finish.t_sd_s * 1e6
    extension_sd_s = float(np.hypot(spread[1], zero.sd_rad)) / speed
    said["extension_us"] = extension_sd_s * 1e6
    if onset is not None and rep.brake_fraction is not None:
        passing = float(np.interp(onset.t_s, phases[1].t_s, phases[1].speed_rad_s))
        # The spline's own doubt takes jerk for noise; when within a spacing a brake came, no edge tells.
        own = np.hypot(spread[3] / onset.jerk_rad_s3 * passing, stroke.fit.spacing_rad / np.sqrt(12.0))
        shift = zero.sd_rad * (1.0 + rep.brake_fraction)
        said["brake_fraction"] = float(np.hypot(own, shift)) / rep.concentric_rad
        said["brake_onset_us"] = float(own / max(passing, 1e-3)) * 1e6
    if physics.inertia_kg_m2 is None:
        return
    for name, phase, end in (
        ("concentric", phases[0], stroke.begin),
        ("eccentric", phases[1], stroke.finish),
    ):
        figures = getattr(rep, name)
        energy_sd = physics.inertia_kg_m2 * speed * float(spread[2])
        said[f"{name}.energy_j"] = energy_sd
        if figures.mean_power_w and figures.energy_j:
            relative = np.hypot(
                energy_sd / figures.energy_j, np.hypot(end.t_sd_s, extension_sd_s) / phase.duration_s
            )
            said[f"{name}.mean_power_w"] = float(abs(figures.mean_power_w) * relative)


def _changes(edges: StrokeEdges, phase: Phase, physics: Physics) -> Changes | None:
    """The courses that the torque may have taken around the greatest power."""
    inertia = physics.inertia_kg_m2 or 1.0
    start = best_window(phase.t_s, phase.sign * 0.5 * inertia * phase.speed_rad_s**2)
    return None if start is None else changes(edges, phase, physics, start + 0.5 * WINDOW_S)


def _with_the_changes(onset: Onset, phase: Phase, told: Changes | None) -> Onset:
    """The mean of the onset and of the one that courses of the torque have: they err for different reasons."""
    if told is None:
        return onset
    t_s = float(np.clip(0.5 * (onset.t_s + told.mean_onset_s()), phase.t_s[0], phase.t_s[-1]))
    return replace(onset, t_s=t_s, angle_rad=float(np.interp(t_s, phase.t_s, phase.angle_rad)))


def _peak_power_sd(stroke: Stroke, phase: Phase, physics: Physics) -> float:
    """Standard uncertainty of the greatest 50 ms mean of the power, W (0 where there is none)."""
    inertia = physics.inertia_kg_m2 or 0.0
    start = best_window(phase.t_s, phase.sign * 0.5 * inertia * phase.speed_rad_s**2)
    if start is None:
        return 0.0
    ends = np.array([start, start + WINDOW_S])
    covariance = stroke.fit.covariance([(float(end), 1) for end in ends])
    gain = inertia * np.interp(ends, phase.t_s, phase.speed_rad_s) * np.array([-1.0, 1.0]) / WINDOW_S
    return float(np.sqrt(max(gain @ covariance @ gain, 0.0)))
