"""The picture of a set: what is on it, where, and the file that it becomes."""

import copy

import numpy as np
import pytest
from matplotlib.collections import FillBetweenPolyCollection
from PIL import Image

from brakebeat.errors import InputError
from brakebeat.plot import draw_set
from brakebeat.plot.curve import Curve
from brakebeat.plot.set_picture import set_figure
from brakebeat.results import Analysis

from .made_up import MadeUpTrace, make_set

WINDOW = (0.15, 0.35)


@pytest.fixture
def figure():
    trace, firmware, reference = make_set()
    return set_figure(trace, firmware, reference, "barn wheel", WINDOW)


def lines(figure):
    return {line.get_label(): line for line in figure.axes[0].lines}


def test_file_is_a_png_with_something_on_it(tmp_path):
    trace, firmware, reference = make_set()
    path = draw_set(trace, firmware, reference, tmp_path / "set.png", "barn wheel", WINDOW)
    with Image.open(path) as picture:
        picture.verify()
    with Image.open(path) as picture:
        assert picture.size == (2100, 1050)
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    # Shading, hatching, curve and words: a blank frame has a handful of colours and is nearly all white.
    assert len(np.unique(pixels, axis=0)) > 500
    assert 0.1 < (pixels != 255).any(axis=1).mean() < 0.9
    assert [entry.name for entry in tmp_path.iterdir()] == ["set.png"]


def test_legend_units_and_title(figure):
    words = {text.get_text() for text in figure.legends[0].get_texts()}
    assert {
        "concentric phase",
        "eccentric phase",
        "brake window",
        "late cue sounds",
        "drop-off cue sounds",
    } <= words
    assert "firmware (MicroPython): peak" in words
    axes = figure.axes[0]
    assert "rad/s" in axes.get_ylabel()
    assert axes.get_xlabel().endswith(", s")
    assert axes.get_title(loc="left") == "barn wheel"


def test_firmware_points_lie_where_the_firmware_says(figure):
    _, firmware, _ = make_set()
    peaks = lines(figure)["firmware (MicroPython): peak"]
    assert list(peaks.get_ydata()) == [rep.peak_rad_s for rep in firmware.reps]
    assert list(peaks.get_xdata()) == pytest.approx([rep.peak_us / 1e6 for rep in firmware.reps])


def test_every_cue_has_its_mark_at_its_time(figure):
    _, firmware, _ = make_set()
    marks = {"late": "X", "drop_off": "P"}
    drawn = [(line.get_marker(), line.get_xdata()[0]) for line in figure.axes[0].lines]
    for cue in firmware.cues:
        assert (marks[cue.kind], pytest.approx(cue.t_us / 1e6)) in drawn
    assert sum(marker in marks.values() for marker, _ in drawn) == 3


def test_every_rep_is_numbered_and_its_brake_named(figure):
    words = [text.get_text() for text in figure.axes[0].texts]
    assert [word for word in words if word.isdigit()] == list("12345678")
    assert "late 0.55" in words
    assert words.count("momentum") == 2


def test_brake_window_lies_where_the_rep_passed_it(figure):
    _, _, reference = make_set()
    bands = [
        c
        for c in figure.axes[0].collections
        if isinstance(c, FillBetweenPolyCollection) and "." in c.get_hatch()
    ]
    assert len(bands) == 8
    # Speed is all but constant from extension to onset in the made-up set (exactly so before the onset).
    rep = reference.reps[4]
    x = bands[4].get_paths()[0].vertices[:, 0]
    for edge, part in ((x.min(), WINDOW[0]), (x.max(), WINDOW[1])):
        assert edge == pytest.approx(
            rep.extension_us / 1e6 + part * rep.concentric_rad / rep.peak_rad_s, abs=1e-3
        )


def test_phases_differ_without_colour(figure):
    hatches = {c.get_hatch() for c in figure.axes[0].collections if isinstance(c, FillBetweenPolyCollection)}
    assert len(hatches) == 3


def test_nothing_found_still_makes_a_picture(tmp_path):
    trace = MadeUpTrace(np.array([0.0, 1.0]), np.zeros(2))
    nothing = Analysis("cpython", 2)
    assert (
        draw_set(trace, nothing, copy.copy(nothing), tmp_path / "empty.png", "nothing").stat().st_size > 1000
    )


def test_a_rep_without_onset_or_timing(tmp_path):
    trace, firmware, reference = make_set()
    for analysis in (firmware, reference):
        for rep in analysis.reps[4:6]:
            rep.brake_onset_us = rep.brake_fraction = None
        analysis.reps[4].brake_timing, analysis.reps[5].brake_timing = None, "none"
    figure = set_figure(trace, firmware, reference, "x")
    assert "not braked" in [text.get_text() for text in figure.axes[0].texts]
    assert len(lines(figure)["reference: brake onset"].get_xdata()) == 6


def test_a_place_that_cannot_be_written(tmp_path):
    with pytest.raises(InputError, match="nowhere"):
        draw_set(*make_set(), tmp_path / "nowhere" / "set.png", "x")


def test_curve_turns_with_any_sign():
    t_s = np.linspace(0, 10, 1001)
    curve = Curve(MadeUpTrace(t_s, -2 * t_s))
    # Constant acceleration: angle = t².
    assert curve.when_turned(0.0, 9.0) == pytest.approx(3, abs=1e-3)
    assert curve.when_turned(3.0, 16.0) == pytest.approx(5, abs=1e-3)
    assert curve.when_turned(0.0, 1e6) == 10
    assert curve.at(2.5) == pytest.approx(5)


def test_one_wild_rep_does_not_flatten_the_rest():
    trace, firmware, reference = make_set()
    reference.reps[3].peak_rad_s = 3000.0
    assert set_figure(trace, firmware, reference, "x").axes[0].get_ylim()[1] < 150
