"""The table for people: uncertainties in plain notation, values rounded to the same place."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.measured import with_uncertainty
from brakebeat.reference import analyse
from brakebeat.reference.show import table
from brakebeat.simulate import default_recording, preset

WRITTEN = re.compile(r"(-?\d+(?:\.(\d+))?) ± (\d+(?:\.(\d+))?)")


@pytest.mark.parametrize(
    ("value", "spread", "written"),
    [
        (512.43, 12.4, "512 ± 12"),
        (1234.5, 132.0, "1230 ± 130"),
        (1234.5, 0.0, "1234"),
        (27.3149, 0.0412, "27.31 ± 0.04"),
        (0.25149, 0.0249, "0.251 ± 0.025"),
        (5.0, 0.9996, "5.0 ± 1.0"),
        (99.9, 35.6, "100 ± 40"),
        (-0.0004, 0.2, "0.00 ± 0.20"),
        (12345.6, None, "12350"),
        (0.00012, None, "0.00012"),
        (7.0, float("inf"), "7"),
    ],
)
def test_one_or_two_digits_of_the_uncertainty(value, spread, written):
    assert with_uncertainty(value, spread) == written


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
def test_no_exponents_and_the_value_to_the_same_place(value, spread):
    told, place, doubt, own_place = WRITTEN.fullmatch(with_uncertainty(value, spread)).groups()
    assert place == own_place or len(place) == len(own_place)
    # One digit stands for 3.55 to 9.5 or so, two for 10 to 35: never more than a seventh of it is rounded away.
    assert float(doubt) == pytest.approx(spread, rel=0.15)
    assert len(doubt.replace(".", "").strip("0")) <= 2
    # At most half the last digit's worth is rounded off the value: half the uncertainty at the very most.
    assert abs(float(told) - value) <= 0.51 * float(doubt)


def test_every_uncertainty_of_a_table():
    recording, _ = default_recording(65, sensor=preset("dirty", 6), reps=3)
    said = table(analyse(recording))
    assert len(WRITTEN.findall(said)) == said.count("±") - said.count("± is") > 10
    assert "e+" not in said
    assert "e-" not in said
