"""Magnet rings are to scale, and what cannot be built is refused with a reason."""

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.drawings.ring import ring_for, template
from brakebeat.errors import InputError

SVG = "{http://www.w3.org/2000/svg}"


def _circles(root, kind):
    found = [item for item in root.iter(f"{SVG}circle") if item.get("class") == kind]
    return [tuple(float(item.get(name)) for name in ("cx", "cy", "r")) for item in found]


@given(st.floats(8, 60), st.integers(1, 24), st.floats(3, 8))
def test_one_unit_is_a_millimetre_and_magnets_sit_evenly(shaft_mm, magnets, magnet_mm):
    try:
        ring = ring_for(shaft_mm, magnets, magnet_mm)
    except InputError as error:
        assert "A4" in str(error)  # noqa: PT017
        return
    root = ElementTree.fromstring(template(ring))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("210mm", "297mm", "0 0 210 297")
    ((x, y, shaft),) = _circles(root, "shaft")
    assert 2 * shaft == pytest.approx(shaft_mm, abs=0.011)
    places = _circles(root, "magnet")
    assert len(places) == magnets
    for number, (px, py, radius) in enumerate(places):
        assert 2 * radius == pytest.approx(magnet_mm, abs=0.011)
        assert math.hypot(px - x, py - y) == pytest.approx(ring.circle_mm / 2, abs=0.015)
        # Clockwise from the top.
        assert math.remainder(
            math.atan2(px - x, y - py) - 2 * math.pi * number / magnets, 2 * math.pi
        ) == pytest.approx(0, abs=0.02 / ring.circle_mm * 2)
        # Between the shaft and the ring's edge, with a wall on either side.
        assert math.hypot(px - x, py - y) - radius > shaft + 2.9
    gaps = [
        math.dist(a[:2], b[:2]) for a, b in zip(places, places[1:] + places[:1], strict=True) if magnets > 1
    ]
    assert all(gap >= 2 * magnet_mm - 0.03 for gap in gaps)


def test_the_ruler_is_a_hundred_millimetres():
    root = ElementTree.fromstring(template(ring_for(30, 6, 8)))
    lines = [
        [tuple(map(float, point.split(","))) for point in item.get("points").split()]
        for item in root.iter(f"{SVG}polyline")
    ]
    level = [line for line in lines if line[0] == (10.0, 240.0)]
    assert [(10.0, 240.0), (110.0, 240.0)] in level
    ticks = {line[0][0] for line in lines if line[0][1] == 240.0 and line[1][1] < 240.0}
    assert ticks == {10.0 + mm for mm in range(101)}


def test_the_strip_goes_once_round_the_shaft():
    root = ElementTree.fromstring(template(ring_for(30, 6, 8)))
    boxes = [float(item.get("width")) for item in root.iter(f"{SVG}rect") if item.get("height") == "14"]
    assert boxes == [pytest.approx(math.pi * 30, abs=0.006)]
    assert "longer than the page" in template(ring_for(70, 6, 8))
    # Twelve magnets of 5 mm have no room on 94 mm.
    assert "too close on the shaft" in template(ring_for(30, 12, 5))
    assert "too close on the shaft" not in template(ring_for(30, 6, 5))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--shaft", "30", "--magnets", "0"], "--magnets: 0"),
        (["--shaft", "30", "--magnets", "25"], "--magnets: 25"),
        (["--shaft", "30", "--magnets", "24", "--magnet", "15"], "A4"),
        (["--shaft", "30", "--magnets", "6", "--circle", "35"], "--circle: 35 mm leaves no room"),
    ],
)
def test_what_cannot_be_built_is_refused(words, says, tmp_path, capsys):
    out = tmp_path / "ring.svg"
    assert main(["rig", "template", *words, "--out", str(out)]) == 2
    assert says in capsys.readouterr().err
    assert not out.exists()


def test_the_command_writes_the_sheet_and_cautions(tmp_path, capsys):
    out = tmp_path / "ring.svg"
    assert main(["rig", "template", "--shaft", "25.4", "--magnets", "4", "--out", str(out)]) == 0
    err = capsys.readouterr().err
    assert "Caution" in err
    assert "100 %" in err
    assert re.search(r"shaft 25\.4 mm", out.read_text(encoding="utf-8"))
