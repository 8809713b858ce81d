"""What lies on a set's picture, layer by layer, from the shading up to the words.

The colours are Okabe and Ito's set, made to be told apart with any colour vision; every layer also differs
from the others by hatching or shape.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from brakebeat.plot.curve import Curve
from brakebeat.results import Analysis, Cue, Rep

BLUE, ORANGE, GREEN, VERMILION, PURPLE = "#0072b2", "#e69f00", "#009e73", "#d55e00", "#cc79a7"


@dataclass(frozen=True)
class CueLook:
    """How a cue appears; ``height`` as part of the axis, ``side`` of the mark on which its word stands."""

    marker: str
    colour: str
    word: str
    legend: str
    height: float
    side: int


# Cues at the extension and cues soon after it would write over each other at one height and side.
CUE_LOOKS = {
    "late": CueLook("X", VERMILION, "late", "late cue sounds", 0.865, 1),
    "drop_off": CueLook("P", PURPLE, "drop-off", "drop-off cue sounds", 0.80, -1),
    "window": CueLook("o", GREEN, "window", "window cue sounds", 0.80, 1),
    "set_done": CueLook("*", BLUE, "set done", "set-done cue sounds", 0.865, -1),
}
ENGINE_WORDS = {"micropython": "firmware (MicroPython)", "cpython": "firmware (CPython)"}


def draw_phases(
    axes: Axes, curve: Curve, reps: Sequence[Rep], brake_window: tuple[float, float] | None
) -> None:
    """Shade the area under the curve by phase; the brake window on top where each rep passed it."""
    for first, rep in enumerate(reps):
        start, middle, end = (t * 1e-6 for t in (rep.start_us, rep.extension_us, rep.end_us))
        _shade(axes, curve, start, middle, BLUE, "", 0.16, _once(first, "concentric phase"))
        _shade(axes, curve, middle, end, ORANGE, "////", 0.30, _once(first, "eccentric phase"))
        if brake_window is None:
            continue
        opens, closes = (
            min(curve.when_turned(middle, part * rep.concentric_rad), end) for part in brake_window
        )
        if closes > opens:
            _shade(axes, curve, opens, closes, GREEN, "....", 0.45, _once(first, "brake window"))


def draw_reference(axes: Axes, curve: Curve, reps: Sequence[Rep]) -> None:
    """The reference's curve and its brake onsets."""
    axes.plot(curve.t_s, curve.speed_rad_s, color="black", linewidth=1.3, label="reference: speed")
    onsets = [rep.brake_onset_us * 1e-6 for rep in reps if rep.brake_onset_us is not None]
    _points(
        axes,
        [(t, curve.at(t)) for t in onsets],
        marker="D",
        markersize=11,
        markerfacecolor="white",
        markeredgecolor="black",
        markeredgewidth=1.3,
        label="reference: brake onset",
    )


def draw_firmware(axes: Axes, curve: Curve, firmware: Analysis) -> None:
    """The board's peaks, brake onsets, starts and ends, where the board says that they are."""
    name = ENGINE_WORDS.get(firmware.engine, "firmware")
    reps = firmware.reps
    style: dict[str, Any] = {"color": VERMILION, "zorder": 4}
    peaks = [(rep.peak_us * 1e-6, rep.peak_rad_s) for rep in reps]
    _points(axes, peaks, marker="+", markersize=14, markeredgewidth=2, label=f"{name}: peak", **style)
    onsets = [rep.brake_onset_us * 1e-6 for rep in reps if rep.brake_onset_us is not None]
    at_onsets = [(t, curve.at(t)) for t in onsets]
    _points(axes, at_onsets, marker="d", markersize=5, label=f"{name}: brake onset", **style)
    ends = [(t * 1e-6, 0.0) for rep in reps for t in (rep.start_us, rep.end_us)]
    _points(axes, ends, marker="|", markersize=16, markeredgewidth=1.6, label=f"{name}: start, end", **style)


def draw_cues(axes: Axes, curve: Curve, cues: Sequence[Cue]) -> None:
    """A stem from the curve up to a marker and a word for each sound, at the instant it starts."""
    top = axes.get_ylim()[1]
    seen: set[str] = set()
    for cue in cues:
        look = CUE_LOOKS[cue.kind]
        t_s, height = cue.t_us * 1e-6, look.height * top
        axes.plot([t_s] * 2, [curve.at(t_s), height], color=look.colour, linewidth=1.2, linestyle=":")
        label = None if cue.kind in seen else look.legend
        face = {"markerfacecolor": look.colour, "markeredgecolor": "black"}
        _points(axes, [(t_s, height)], marker=look.marker, markersize=11, label=label, zorder=5, **face)
        beside: dict[str, Any] = {"xytext": (9 * look.side, -4), "ha": "left" if look.side > 0 else "right"}
        axes.annotate(
            look.word,
            (t_s, height),
            textcoords="offset points",
            fontsize=10,
            fontweight="bold",
            color=look.colour,
            **beside,
        )
        seen.add(cue.kind)


def draw_labels(axes: Axes, curve: Curve, reps: Sequence[Rep]) -> None:
    """Above each hump: which rep it is (counted from 1, as people do) and how its brake was timed."""
    top = axes.get_ylim()[1]
    for rep in reps:
        words = "momentum" if rep.momentum else _timing_words(rep)
        middle_s = (rep.start_us + rep.end_us) / 2e6
        axes.text(
            middle_s, 0.985 * top, f"{rep.index + 1}", ha="center", va="top", fontsize=14, fontweight="bold"
        )
        axes.text(middle_s, 0.94 * top, words, ha="center", va="top", fontsize=9.5, color="#404040")


def _timing_words(rep: Rep) -> str:
    if rep.brake_timing is None:
        return ""
    if rep.brake_fraction is None:
        return "not braked"
    return f"{rep.brake_timing} {rep.brake_fraction:.2f}"


def _shade(
    axes: Axes,
    curve: Curve,
    start: float,
    end: float,
    colour: str,
    hatch: str,
    alpha: float,
    label: str | None,
) -> None:
    t_s, speed = curve.piece(start, end)
    style: dict[str, Any] = {"facecolor": colour, "edgecolor": colour, "linewidth": 0}
    axes.fill_between(t_s, 0, speed, alpha=alpha, hatch=hatch, label=label, **style)


def _points(axes: Axes, points: Sequence[tuple[float, float]], **style: Any) -> None:
    axes.plot([t for t, _ in points], [y for _, y in points], linestyle="none", **style)


def _once(position: int, label: str) -> str | None:
    """A label for the first of many alike, so that the legend names them once."""
    return label if position == 0 else None
