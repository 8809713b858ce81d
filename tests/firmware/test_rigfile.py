"""The board's reader of rig files: whatever lies on the board, it starts with a sane rig and says what is wrong.

That it reads what the host writes, key by key, is tried in `tests/formats`.
"""

import tempfile
from array import array
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig, read_rig, write_rig
from tests.firmware.loaded import rigfile, session

GOOD = "pulses_per_rev = 6\ninertia_kg_m2 = 0.12\n\n[cues]\nlate_cue = true\n"


def load(text: str | bytes) -> tuple[dict, str | None]:
    """What the board makes of a file with this content; the path in a message is cut to the file's name."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
        rig, problem = rigfile.load(str(path))
        return rig, problem and problem.replace(str(path), "rig.toml")


def test_every_kind_of_line():
    text = (
        "# a comment\n"
        'name = "the # 1 wheel = ours" # and another\n'
        '"pulses_per_rev"=12\r\n'
        "  inertia_kg_m2   =   7e-2\n"
        "drum_radius_m = 0.015 # m\n"
        "magnet_offsets_rad = [0.01, -0.02, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0.01,] # twelve\n"
        "zero_index = 1_000\n"
        "[ cues ] # a table\n"
        "late_cue = false\n"
        "[board]\n"
        "sensor_pin = 3"
    )
    rig, problem = load(text)
    assert problem is None
    expected = rigfile.defaults() | {
        "name": "the # 1 wheel = ours",
        "pulses_per_rev": 12,
        "inertia_kg_m2": 0.07,
        "drum_radius_m": 0.015,
        "magnet_offsets_rad": [0.01, -0.02, *[0] * 9, 0.01],
        "zero_index": 1000,
        "cues.late_cue": False,
        "board.sensor_pin": 3,
    }
    assert rig == expected


@given(st.text(st.characters(codec="utf-8", exclude_characters='"\\', exclude_categories=["Cc"]), min_size=1))
def test_any_name_that_the_host_allows(name):
    rig = Rig(pulses_per_rev=6, name=name[:20])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        write_rig(path, rig)
        values, problem = rigfile.load(str(path))
    assert problem is None
    assert values["name"] == rig.name


@pytest.mark.parametrize(
    "line",
    [
        "friction_torque_nm",
        "friction_torque_nm =",
        "friction_torque_nm = 0,1",
        "friction_torque_nm = 0.1.2",
        "friction_torque_nm = nan",
        "friction_torque_nm = -inf",
        "friction_torque_nm = 1e999",
        "friction_torque_nm = True",
        'name = "barn wheel',
        "magnet_offsets_rad = [0.01,",
        "magnet_offsets_rad = [0.01, x]",
        "magnet_offsets_rad = [[0.01]]",
        "[cues",
    ],
)
def test_a_bad_line_is_named_by_its_number(line):
    rig, problem = load(GOOD + line + "\nrest_gap_s = 12\n")
    assert problem is not None
    assert problem == f"rig.toml: line 6: cannot be read: {line}; default rig in use"
    assert rig == rigfile.defaults()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pulses_per_rev = 0", "pulses_per_rev: cannot be 0"),
        ("pulses_per_rev = 10001", "pulses_per_rev: cannot be 10001"),
        ("pulses_per_rev = 6.0", "pulses_per_rev: cannot be 6.0"),
        ('pulses_per_rev = "six"', "pulses_per_rev: cannot be 'six'"),
        ("inertia_kg_m2 = 0", "inertia_kg_m2: cannot be 0"),
        ("drum_radius_m = 0.0", "drum_radius_m: cannot be 0.0"),
        ("brake_target = -0.1", "brake_target: cannot be -0.1"),
        ('rest_gap_s = "10"', "rest_gap_s: cannot be '10'"),
        ("rest_gap_s = [10]", "rest_gap_s: cannot be [10]"),
        ("magnet_offsets_rad = [0.1]", "one number for each of the 6 magnets is needed"),
        ("magnet_offsets_rad = 0.1", "one number for each of the 6 magnets is needed"),
        ('brake_preset = "soon"', "brake_preset: 'soon' is unknown"),
        ("[cues]\nplanned_reps = -1", "cues.planned_reps: cannot be -1"),
    ],
)
def test_a_value_that_the_detector_cannot_take_is_named_by_its_key(text, words):
    rig, problem = load(text)
    assert problem is not None
    assert words in problem
    assert rig == rigfile.defaults()


@pytest.mark.parametrize("data", [b"\xff\xfe", b'name = "b\xe4rn"\n', b"\xc3\x28"])
def test_bytes_that_are_no_utf_8(data):
    rig, problem = load(data)
    assert problem is not None
    assert problem.startswith("rig.toml: ")
    assert rig == rigfile.defaults()


def test_a_file_that_cannot_be_read():
    rig, problem = rigfile.load("/nowhere/rig.toml")
    assert problem == "/nowhere/rig.toml: cannot be read, copy a rig file to the board; default rig in use"
    assert rig == rigfile.defaults()


def test_presets_stand_for_their_numbers():
    rig, problem = load('brake_preset = "last_third"\n')
    assert problem is None
    assert (rig["brake_target"], rig["brake_tolerance"]) == rigfile.PRESETS["last_third"]


def test_defaults_are_fresh_each_time():
    rigfile.defaults()["pulses_per_rev"] = 99
    assert rigfile.defaults()["pulses_per_rev"] == 6


KEYS = [*rigfile.DEFAULTS, "name", "board.sensor", "[cues]", "[board]"]
SOUP = st.sampled_from([*list("\"'[]=#.,_-+\n\t \\{}"), "1", "0", "1e9", "true", "nan", "é", *KEYS])
NUMBERS = st.integers(-2, 2**70) | st.floats() | st.booleans().map(lambda value: str(value).lower())
VALUES = NUMBERS.map(str) | st.lists(NUMBERS).map(str) | st.sampled_from(['"own"', '"last_third"', '""', ""])
PRESETS = (NUMBERS | st.sampled_from(['"own"', '"last_third"', '"soon"'])).map("brake_preset = {}".format)
LINES = st.lists(st.tuples(st.sampled_from(KEYS), VALUES).map(" = ".join) | PRESETS).map("\n".join)


def test_a_preset_that_is_a_list():
    rig, problem = load("brake_preset = [1]")
    assert problem is not None
    assert "brake_preset" in problem
    assert rig == rigfile.defaults()


def usable(rig: dict) -> bool:
    """True where the detector starts with it and takes edges."""
    board = session.Session(rig, lambda record: None, lambda kind, rep, t_us: None)
    board.feed(array("i", range(0, 400_000, 4_000)), array("b", [0] * 100), 100)
    board.poll(20_000_000)
    return True


@settings(max_examples=150)
@given(LINES | st.lists(SOUP).map("".join) | st.text() | st.binary())
@example("pulses_per_rev = true")
def test_whatever_lies_on_the_board_it_starts(content):
    rig, problem = load(content)
    if problem is None:
        assert rig.keys() >= rigfile.DEFAULTS.keys()
    else:
        assert rig == rigfile.defaults()
    assert usable(rig)


@settings(max_examples=100)
@given(LINES)
def test_no_stricter_than_the_host(text):
    """What the host takes for a rig, the board takes too, and with the same values."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        path.write_text(text, "utf-8")
        try:
            expected = read_rig(path).board_dict()
        except InputError:
            return
        values, problem = rigfile.load(str(path))
    assert problem is None
    # The board fills in only what it needs itself.
    assert {key: expected[key] for key in values.keys() & expected.keys()} == {
        key: value for key, value in values.items() if value is not None
    }
