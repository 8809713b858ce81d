"""The fit of a calibration as a picture: what was measured, what was fitted, what is left over."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from brakebeat.calibrate.fall_edges import Fall
from brakebeat.calibrate.fall_given import Given
from brakebeat.calibrate.falling import course_of_fall
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.spin import Spin
from brakebeat.formats.atomic import atomic_write
from brakebeat.formats.recording import Recording

_BLUE, _GREEN, _RED = "#0b6fa4", "#3a7d44", "#b5452c"


def draw_spin(spin: Spin, result: Calibration, path: str | Path) -> None:
    """Speed over time with the friction law on it; below, what each edge is off, magnet by magnet."""
    figure, (upper, lower) = _figure(f"{result.kind}: {spin.recording.path}")
    _spin_on(upper, lower, spin, "", _BLUE)
    _finish_spins(figure, upper, lower, path)


def draw_spins(bare: Spin, loaded: Spin, result: Calibration, path: str | Path) -> None:
    """The same for two runs, the wheel bare and with an inertia added."""
    figure, (upper, lower) = _figure(f"inertia {result.estimate['inertia_kg_m2']:.5g} kg·m²")
    _spin_on(upper, lower, bare, "bare, ", _BLUE)
    _spin_on(upper, lower, loaded, "loaded, ", _GREEN)
    _finish_spins(figure, upper, lower, path)


def _spin_on(upper: Axes, lower: Axes, spin: Spin, which: str, color: str) -> None:
    law, magnets = spin.law, spin.magnets
    turns = (law.t_s[magnets:] - law.t_s[:-magnets]) / np.maximum(
        law.place[magnets:] - law.place[:-magnets], 1
    )
    upper.plot(
        0.5 * (law.t_s[magnets:] + law.t_s[:-magnets]),
        2.0 * np.pi / magnets / turns,
        ".",
        color="#777777",
        label=f"{which}measured, turn by turn",
    )
    upper.plot(law.t_s, law.speed_rad_s, color=color, label=f"{which}fitted")
    left = np.degrees(law.residual_rad)
    lower.plot(law.t_s[law.used], left[law.used], ".", color=color, markersize=3, label=f"{which}used")
    cut = ~law.used & (np.abs(left) < 20.0)
    lower.plot(law.t_s[cut], left[cut], "x", color=_RED, markersize=5, label=f"{which}left out")


def _finish_spins(figure: Figure, upper: Axes, lower: Axes, path: str | Path) -> None:
    upper.set(xlabel="time from the first edge, s", ylabel="angular velocity, rad/s")
    lower.set(xlabel="time from the first edge, s", ylabel="left over, degrees")
    for axes in (upper, lower):
        axes.legend(frameon=False)
    _save(figure, path)


def draw_falls(falls: list[tuple[Fall, Given]], result: Calibration, path: str | Path) -> None:
    """Angle over time of each fall with the fitted motion on it, and what the fit leaves over."""
    figure, (upper, lower) = _figure(f"inertia {result.estimate['inertia_kg_m2']:.5g} kg·m²")
    for number, (fall, given) in enumerate(falls, 1):
        course = course_of_fall(fall, given)
        t_s, used = course.t_s - course.t_s[0], course.used
        upper.plot(t_s, course.turned_rad, "o", markersize=3, label=f"{given.mass_kg:g} kg")
        upper.plot(t_s, course.turned_rad - course.left_rad, linewidth=1, label="fitted")
        lower.plot(t_s[used], np.degrees(course.left_rad[used]), ".", label=f"fall {number}")
        if not used.all():
            upper.plot(t_s[~used], course.turned_rad[~used], "x", color=_RED, label="left out")
    upper.set(xlabel="time from the fall's first edge, s", ylabel="shaft angle, rad")
    upper.legend(frameon=False)
    lower.set(xlabel="time from the fall's first edge, s", ylabel="left over, degrees")
    lower.legend(frameon=False)
    _save(figure, path)


def draw_strap(result: Calibration, path: str | Path) -> None:
    """Length against angle from φ = 0, with the fitted drum on it, and what it leaves over."""
    figure, (upper, lower) = _figure("strap")
    turned, pulled = np.array(result.details["turned_rad"]), np.array(result.details["pulled_m"])
    wound, length = np.cumsum(turned[::-1]), np.cumsum(pulled[::-1])
    radius, thickness = result.estimate["drum_radius_m"], result.estimate["strap_thickness_m"]
    assert isinstance(radius, float)
    assert isinstance(thickness, float)
    fine = np.linspace(0.0, float(wound[-1]), 200)
    upper.plot(wound, length, "o", label="pulled")
    upper.plot(fine, radius * fine + thickness / (4.0 * np.pi) * fine**2, label="fitted drum")
    upper.set(xlabel="angle from φ = 0, rad", ylabel="strap on the drum, m")
    upper.legend(frameon=False)
    fitted = radius * wound + thickness / (4.0 * np.pi) * wound**2
    lower.plot(wound, 1e3 * (length - fitted), "o")
    lower.set(xlabel="angle from φ = 0, rad", ylabel="left over, mm")
    _save(figure, path)


def draw_zero(recording: Recording, result: Calibration, path: str | Path) -> None:
    """Edges over time with the one nearest φ = 0."""
    figure, (upper, lower) = _figure("zero")
    t_s = (recording.t_us - recording.t_us[0]) * 1e-6
    number = result.estimate["zero_index"]
    assert isinstance(number, int)
    for axes, part in ((upper, slice(None)), (lower, slice(max(number - 12, 0), number + 13))):
        axes.plot(t_s[part], np.arange(len(t_s))[part], ".-", linewidth=0.7)
        axes.plot(t_s[number], number, "o", color=_RED, label=f"edge {number}, nearest φ = 0")
        axes.set(xlabel="time from the first edge, s", ylabel="edge")
        axes.legend(frameon=False)
    _save(figure, path)


def _figure(title: str) -> tuple[Figure, tuple[Axes, Axes]]:
    figure = Figure(figsize=(10, 7), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1)
    figure.suptitle(title)
    for axes in (upper, lower):
        axes.grid(color="#dddddd", linewidth=0.6)
    return figure, (upper, lower)


def _save(figure: Figure, path: str | Path) -> None:
    with atomic_write(path) as stream:
        figure.savefig(stream, format="png", metadata={"Software": "brakebeat"})
