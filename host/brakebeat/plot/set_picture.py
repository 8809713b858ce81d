"""One set in one picture: speed against time, phases, brake onsets, cues, both engines."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from brakebeat.formats.atomic import atomic_write
from brakebeat.plot.curve import Curve, TraceLike
from brakebeat.plot.layers import draw_cues, draw_firmware, draw_labels, draw_phases, draw_reference
from brakebeat.results import Analysis, Rep


def draw_set(
    trace: TraceLike,
    firmware: Analysis,
    reference: Analysis,
    path: str | Path,
    title: str,
    brake_window: tuple[float, float] | None = None,
) -> Path:
    """Write the picture of a set to ``path`` (PNG, 2100 by 1050 pixels) and return the path.

    The curve and the shaded phases are the reference's; the firmware's points lie on top of them, so a board
    that is wrong shows as points off the curve. ``brake_window`` is the range of brake fractions that counts
    as well timed (`target - tolerance`, `target + tolerance`); each rep shows it where that rep passed it.
    Phases and points differ by hatching and shape, not by colour alone. A file at ``path`` is replaced whole
    or not at all; ``InputError`` where it cannot be written.
    """
    figure = set_figure(trace, firmware, reference, title, brake_window)
    with atomic_write(path) as stream:
        figure.savefig(stream, format="png", metadata={"Software": "brakebeat"})
    return Path(path)


def set_figure(
    trace: TraceLike,
    firmware: Analysis,
    reference: Analysis,
    title: str,
    brake_window: tuple[float, float] | None = None,
) -> Figure:
    """The picture before it is a file; arguments as for ``draw_set``."""
    figure = Figure(figsize=(14, 7), dpi=150, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    curve = Curve(trace)
    _frame(axes, curve, reference, title, _top(curve, [*firmware.reps, *reference.reps]))
    draw_phases(axes, curve, reference.reps, brake_window)
    draw_reference(axes, curve, reference.reps)
    draw_firmware(axes, curve, firmware)
    draw_cues(axes, curve, firmware.cues)
    draw_labels(axes, curve, firmware.reps or reference.reps)
    handles, words = axes.get_legend_handles_labels()
    if handles:
        figure.legend(handles, words, loc="outside lower center", ncols=5, frameon=False, fontsize=10)
    return figure


def _frame(axes: Axes, curve: Curve, reference: Analysis, title: str, top: float) -> None:
    """Axes, units and limits. Room above the curve is for rep numbers, room below for start and end ticks."""
    reps = reference.reps
    start = reps[0].start_us * 1e-6 if reps else curve.t_s[0]
    end = reps[-1].end_us * 1e-6 if reps else curve.t_s[-1]
    margin = 0.02 * (end - start) + 0.1
    axes.set(
        xlim=(start - margin, end + margin),
        ylim=(-0.07 * top, 1.32 * top),
        xlabel="time on the recording's clock, s",
        ylabel="angular velocity without its sense, rad/s",
    )
    axes.set_title(title, loc="left", fontsize=14, fontweight="bold", pad=10)
    axes.grid(axis="y", color="#d9d9d9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    to_rpm = 30 / np.pi
    right = axes.secondary_yaxis(
        "right", functions=(partial(np.multiply, to_rpm), partial(np.multiply, 1 / to_rpm))
    )
    right.set_ylabel("rpm")
    right.spines["right"].set_visible(False)


def _top(curve: Curve, reps: Sequence[Rep]) -> float:
    """The greatest peak in rad/s that is in proportion: one wild rep must not flatten all others."""
    peaks = [rep.peak_rad_s for rep in reps]
    if not peaks:
        return float(curve.speed_rad_s.max(initial=0.0)) or 1.0
    return max(peak for peak in peaks if peak <= 3 * np.median(peaks)) or 1.0
