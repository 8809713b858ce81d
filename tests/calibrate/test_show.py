"""A calibration in words: units stand behind their values, as on every screen."""

from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.show import words


def test_details_have_their_units():
    details = {
        "turns": 71.5,
        "fastest_rad_s": 29.94,
        "inertia_kg_m2": 0.12,
        "time_scatter_us": 5.0,
        "held_from_s": 2.5,
    }
    said = words(Calibration("zero", {"zero_index": 4}, {"zero_index": 0.5}, [], details=details))
    assert [line.strip() for line in said.splitlines()[1:]] == [
        "turns: 71.5",
        "fastest: 29.94 rad/s",
        "inertia: 0.12 kg·m²",
        "time scatter: 5 µs",
        "held from: 2.5 s",
    ]
