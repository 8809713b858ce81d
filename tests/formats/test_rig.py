"""Rig files: what is understood, what is refused and in which words, what is written."""

import importlib.util
import math
import re
import tempfile
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.board.files import firmware_dir
from brakebeat.errors import InputError
from brakebeat.formats.rig import BRAKE_PRESETS, Board, Cues, Rig, read_rig, write_rig
from brakebeat.formats.rig_errors import known_keys


def _refusal(tmp_path, text: str | bytes) -> list[str]:
    """The lines of the message with which a rig file is refused, its path cut off."""
    path = tmp_path / "rig.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as caught:
        read_rig(path)
    lines = str(caught.value).split("\n")
    assert all(line.startswith(str(path)) for line in lines)
    return [line.removeprefix(str(path)) for line in lines]


def test_every_fault_at_once_with_its_line(tmp_path):
    lines = _refusal(
        tmp_path,
        "\n".join(
            [
                "# my rig",
                "pulses_per_rev = 6.5",
                "inertia_kgm2 = 0.07",
                "inertia_kg_m2 = -0.07",
                "drum_radius_m = 15  # mm!",
                "",
                "[cues]",
                "late_cue = 1",
                "[board]",
                'sensor = "hal"',
                "buzzer_pin = 7",
                "led_pin = 7",
            ]
        ),
    )
    assert [int(re.match(r":(\d+): ", line)[1]) for line in lines] == [2, 4, 5, 8, 10, 12, 3]
    assert "pulses_per_rev = 6.5: must be a whole number from 1 to 10000" in lines[0]
    assert "inertia_kg_m2 = -0.07: must be a number from 1e-06 to 1000 kg·m²" in lines[1]
    assert "drum_radius_m = 15: must be a number from 0.001 to 1 m" in lines[2]
    assert "cues.late_cue = 1: must be true or false" in lines[3]
    assert "must be one of 'hall', 'hall_pair', 'quadrature'" in lines[4]
    assert "GPIO 7 is taken by buzzer_pin" in lines[5]
    assert "did you mean 'inertia_kg_m2'?" in lines[6]


NUMBERS = {
    key: field for key, field in known_keys().items() if re.search(r"int|float", str(field.annotation))
}


@pytest.mark.parametrize(
    "value", ["nan", "inf", "-1e9", "1e9", "true", '"0.1"', "[]", "1979-05-27", "{a = 1}"]
)
@pytest.mark.parametrize("key", sorted(NUMBERS))
def test_every_number_is_guarded(key: str, value: str, tmp_path):
    count = "" if key == "pulses_per_rev" else "pulses_per_rev = 6\n"
    table, _, name = key.rpartition(".")
    text = f"{count}[{table}]\n{name} = {value}\n" if table else f"{count}{name} = {value}\n"
    (line,) = _refusal(tmp_path, text)
    assert re.match(rf":{text.count(chr(10))}: {re.escape(key)}( |:)", line)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ": pulses_per_rev is missing"),
        ("inertia_kg_m2 = 0.07\n", ": pulses_per_rev is missing"),
        ("pulses_per_rev = 6\ninertia = \n", ":2: not TOML"),
        ("pulses_per_rev = 6\npulses_per_rev = 8\n", ":2: not TOML"),
        ("pulses_per_rev = 6\n[cues\n", ":2: not TOML"),
        ("pulses_per_rev = 6\ncues = true\n", ":2: cues = True: must be a table"),
        ("pulses_per_rev = 6\n[sounds]\nlate_cue = true\n", ":2: unknown key 'sounds'"),
        (
            "pulses_per_rev = 6\nlate_cue = true\n",
            ":2: unknown key 'late_cue'; did you mean 'cues.late_cue'?",
        ),
        (
            "pulses_per_rev = 6\n[cues]\nlatecue = true\n",
            ":3: unknown key 'cues.latecue'; did you mean 'cues.late",
        ),
        (
            "pulses_per_rev = 6\n[board]\nbrake_target = 1\n",
            ":3: unknown key 'board.brake_target'; did you mean 'br",
        ),
        (
            "pulses_per_rev = 6\nxyzzy = 1\n",
            ":2: unknown key 'xyzzy'; correct or remove it (the known ones: name,",
        ),
        (
            "pulses_per_rev = 3\nmagnet_offsets_rad = [0, 0.1]\n",
            ":2: magnet_offsets_rad = [0, 0.1]: 2 offsets for 3",
        ),
        ("pulses_per_rev = 3\nmagnet_offsets_rad = [0, 0, 1.1]\n", "half the spacing (1.047 rad)"),
        ("pulses_per_rev = 3\nmagnet_offsets_rad = [0, 0, '1']\n", "'1' (item 2): must be a list of numbers"),
        (
            "pulses_per_rev = 6\nbrake_preset = 'late'\n",
            "must be one of 'own', 'first_quarter', 'last_third'",
        ),
        (
            "pulses_per_rev = 6\nbrake_preset = 'last_third'\nbrake_target = 0.3\n",
            ":3: brake_target = 0.3: brake_pr",
        ),
        ('pulses_per_rev = 6\nname = ""\n', "text of 1 to 20 characters"),
        ("pulses_per_rev = 6\nname = 'a\"b'\n", "without quotes"),
        (
            "pulses_per_rev = 6\n[board]\nsensor = 'hall_pair'\nsensor_pin = 3\n",
            ":2: board: sensor 'hall_pair' has two",
        ),
        (b'pulses_per_rev = 6\nname = "J\xf6rg"\n', ":2: not UTF-8"),
        (b"pulses_per_rev = 6\n\0\n", ":2: not TOML"),
        (b"# " + b"x" * 300_000, ": too big for a rig file"),
        ("a = " + "[" * 5000 + "\n", ": not TOML"),
    ],
)
def test_refusals(text, words, tmp_path):
    assert words in "\n".join(_refusal(tmp_path, text))


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match=r"rig\.toml: cannot be read"):
        read_rig(tmp_path / "rig.toml")
    with pytest.raises(InputError, match="cannot be read"):
        read_rig(tmp_path)


def test_presets_stand_for_their_numbers(tmp_path):
    path = tmp_path / "rig.toml"
    for name, (target, tolerance) in BRAKE_PRESETS.items():
        path.write_text(f'pulses_per_rev = 6\nbrake_preset = "{name}"\n')
        rig = read_rig(path)
        assert (rig.brake_target, rig.brake_tolerance) == (target, tolerance)
        assert rig.brake_window == (target - tolerance, target + tolerance)


def test_last_third_is_where_the_literature_has_it():
    # Braking delayed to the last third of the eccentric phase: Beato et al., Front Physiol 2021;12:732802.
    target, tolerance = BRAKE_PRESETS["last_third"]
    assert 2 / 3 < target < 1
    assert tolerance < 1 / 3


def test_dotted_keys_and_tables_are_the_same(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text("\ufeffpulses_per_rev = 6\ncues.late_cue = false\r\n", "utf-8")
    assert read_rig(path).cues.late_cue is False


@st.composite
def rigs(draw):
    """Any rig that the model allows."""
    count = draw(st.integers(1, 24))
    spacing = math.pi / count
    offset = st.floats(-0.99 * spacing, 0.99 * spacing)
    pins = draw(st.lists(st.integers(0, 48), min_size=4, max_size=4, unique=True))
    names = ("sensor_pin", "sensor_pin_b", "buzzer_pin", "led_pin")
    preset = draw(st.sampled_from(["own", *BRAKE_PRESETS]))
    window = {"brake_target": draw(st.floats(0, 1)), "brake_tolerance": draw(st.floats(0, 0.5))}
    return Rig(
        pulses_per_rev=count,
        name=draw(
            st.none()
            | st.text(
                st.characters(codec="ascii", exclude_characters='"\\', exclude_categories=["Cc"]),
                min_size=1,
                max_size=20,
            )
        ),
        inertia_kg_m2=draw(st.none() | st.floats(1e-6, 1e3)),
        drum_radius_m=draw(st.none() | st.floats(1e-3, 1)),
        strap_thickness_m=draw(st.floats(0, 0.05)),
        drum_taper_m_per_rad=draw(st.floats(-0.01, 0.01)),
        friction_torque_nm=draw(st.floats(0, 100)),
        zero_index=draw(st.none() | st.integers(0, 2**30)),
        magnet_offsets_rad=draw(st.none() | st.lists(offset, min_size=count, max_size=count).map(tuple)),
        brake_preset=preset,
        **(window if preset == "own" else {}),
        cues=Cues(window_cue=draw(st.booleans()), planned_reps=draw(st.none() | st.integers(1, 1000))),
        board=Board(
            sensor=draw(st.sampled_from(["hall", "hall_pair"])), **dict(zip(names, pins, strict=True))
        ),
    )


@given(rigs())
def test_written_comes_back(rig):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        write_rig(path, rig)
        assert read_rig(path) == rig
        # Plain TOML for anybody, not only for the library that wrote it.
        assert tomllib.loads(path.read_text("utf-8"))["pulses_per_rev"] == rig.pulses_per_rev


@pytest.fixture(scope="module")
def rigfile():
    """The board's own reader, run here."""
    spec = importlib.util.spec_from_file_location("rigfile", firmware_dir() / "brakebeat_fw" / "rigfile.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_board_and_host_fall_back_on_the_same(rigfile):
    host = Rig(pulses_per_rev=rigfile.DEFAULTS["pulses_per_rev"]).board_dict()
    board = {key: value for key, value in rigfile.DEFAULTS.items() if value is not None}
    assert board == {key: host[key] for key in board}
    assert rigfile.DEFAULTS.keys() <= known_keys().keys()
    assert rigfile.PRESETS == BRAKE_PRESETS


@settings(max_examples=60)
@given(rigs())
def test_the_board_reads_what_the_host_writes(rigfile, rig):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        write_rig(path, rig)
        values, problem = rigfile.load(str(path))
    assert problem is None
    assert {key: value for key, value in values.items() if value is not None} == rig.board_dict()


def test_comments_say_meaning_range_and_unit(tmp_path):
    path = tmp_path / "rig.toml"
    write_rig(path, Rig(pulses_per_rev=6), {"inertia_kg_m2": "weigh it\nfirst"}, title="Barn wheel")
    text = path.read_text("utf-8")
    assert text.startswith("# Barn wheel\n")
    assert "# thickness of the strap: a number from 0 to 0.05 m\nstrap_thickness_m = 0.0\n" in text
    assert "# weigh it first\n# inertia_kg_m2 is not known yet\n" in text
    assert "Take the strap off and let the wheel stop" in text
    for key in known_keys():
        assert re.search(rf"^(# )?{key.rpartition('.')[2]} (= |is not known yet)", text, re.MULTILINE)


def test_half_a_file_is_never_left(tmp_path):
    path = tmp_path / "absent" / "rig.toml"
    with pytest.raises(InputError, match="cannot be written"):
        write_rig(path, Rig(pulses_per_rev=6))
    assert list(tmp_path.iterdir()) == []


@given(st.text(max_size=200))
def test_any_text_gets_an_answer(text):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        path.write_text(text, "utf-8", errors="replace")
        with pytest.raises(InputError, match=r"rig\.toml"):
            read_rig(path)


KEYS = st.sampled_from([*known_keys(), "cues", "board", "inertia"])
VALUES = st.sampled_from(
    [
        "1",
        "0.5",
        "-1",
        "true",
        '"hall"',
        "[1, 2]",
        "[[1]]",
        "{}",
        "{x = 1}",
        "nan",
        "1e999",
        "0x1F",
        "''",
        '"""',
        "2020-01-01",
    ]
)


@given(
    st.lists(
        st.tuples(KEYS, VALUES).map(" = ".join) | st.sampled_from(["[cues]", "[board]", "[[cues]]", "[x]"])
    )
)
def test_any_lines_get_an_answer(lines):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        path.write_text("\n".join(["pulses_per_rev = 6", *lines]), "utf-8")
        message = ""
        try:
            read_rig(path)
        except InputError as error:
            message = str(error)
        assert all(line.startswith(str(path)) for line in message.split("\n") if message)
