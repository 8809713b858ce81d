"""The comparison in one picture: each method's error on each kind of recording, the bound below them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from brakebeat.bench.peak_methods.peaks import METHODS, ConditionScore
from brakebeat.formats.atomic import atomic_write

_TITLES = {
    "interval": "plain interval method",
    "revolution": "average over a revolution",
    "firmware": "Brakebeat firmware",
    "reference": "Brakebeat reference",
}
# Told apart by shape as well as by colour; the colours keep apart for colour-blind eyes (Okabe and Ito's).
_LOOKS = {
    "interval": ("s", "#999999"),
    "revolution": ("^", "#E69F00"),
    "firmware": ("o", "#D55E00"),
    "reference": ("D", "#0072B2"),
}
_SHIFT = 0.16
# Beyond this an error only says "useless"; the marker then sits at the edge.
_TOP_PERCENT = 100.0
_FOOT_PERCENT = 0.0002


def draw(scores: Sequence[ConditionScore], path: str | Path) -> Path:
    """Write the picture (PNG, 1800 by 1050 pixels); ``InputError`` where it cannot be written."""
    figure = Figure(figsize=(12, 7), dpi=150, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    _frame(axes, scores)
    _draw_bounds(axes, scores)
    for place, method in enumerate(METHODS):
        _draw_method(axes, scores, method, _SHIFT * (place - 0.5 * (len(METHODS) - 1)))
    axes.legend(loc="upper left", ncols=2, fontsize=9, framealpha=1.0)
    with atomic_write(path) as stream:
        figure.savefig(stream, format="png", metadata={"Software": "brakebeat"})
    return Path(path)


def _frame(axes: Axes, scores: Sequence[ConditionScore]) -> None:
    axes.set_yscale("log")
    axes.set_ylim(_FOOT_PERCENT, 10 * _TOP_PERCENT)
    axes.set_xlim(-0.6, len(scores) - 0.4)
    axes.set_xticks(range(len(scores)), [one.condition.replace("-", "\n", 1) for one in scores], fontsize=9)
    axes.set_xlabel("recordings: sensor and edges per revolution")
    axes.set_ylabel("error of a rep's peak speed, %")
    axes.yaxis.set_major_formatter(lambda percent, _: f"{percent:g}")
    axes.set_title(
        "Peak speed: root mean square error (marker) and worst rep (line up), "
        f"{min(one.n for one in scores)} reps or more each"
    )
    axes.grid(axis="y", which="major", color="0.85")
    for between in range(1, len(scores)):
        axes.axvline(between - 0.5, color="0.92", linewidth=0.8)
    axes.set_axisbelow(True)


def _draw_bounds(axes: Axes, scores: Sequence[ConditionScore]) -> None:
    for place, one in enumerate(scores):
        axes.hlines(
            100 * one.bound,
            place - 0.42,
            place + 0.42,
            color="black",
            linewidth=2,
            # A label that begins with an underscore stays out of the legend.
            label="Cramér–Rao bound, turn about the peak" if place == 0 else "_",
        )


def _draw_method(axes: Axes, scores: Sequence[ConditionScore], method: str, shift: float) -> None:
    marker, colour = _LOOKS[method]
    label = _TITLES[method]
    for place, one in enumerate(scores):
        found = one.methods[method]
        if found.rms is None or found.worst is None:
            continue
        rms, worst = 100 * found.rms, 100 * found.worst
        at = place + shift
        axes.vlines(at, min(rms, _TOP_PERCENT), min(worst, _TOP_PERCENT), color=colour, linewidth=1.2)
        axes.plot(at, min(rms, _TOP_PERCENT), marker, color=colour, markersize=7, label=label)
        label = "_"
        if worst > _TOP_PERCENT:
            axes.annotate(
                "more", (at, _TOP_PERCENT), xytext=(0, 6), textcoords="offset points", ha="center", fontsize=7
            )
