"""The table of boards: every row makes a rig that the host takes, and names parts that there are."""

from pathlib import Path

import pytest

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir
from brakebeat.board.table import board_of, files_for, sources, supported_boards
from brakebeat.formats.rig_model import Board

BOARDS = {board.name: board for board in supported_boards()}

# Pins that a board does not lead out or needs itself, from the makers' data sheets, from memory: strapping pins,
# flash, USB, serial console; inputs without pull-up or output on the ESP32 are 34 to 39.
TAKEN = {
    "Raspberry Pi Pico W": {23, 24, 25, 29},
    "Raspberry Pi Pico 2 W": {23, 24, 25, 29},
    "ESP32": {0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 15},
    "ESP32-S3": {0, 3, 19, 20, *range(26, 38), 43, 44, 45, 46},
    "ESP32-C3": {2, 8, 9, *range(11, 22)},
}
ANALOGUE = {
    "Raspberry Pi Pico W": {26, 27, 28},
    "Raspberry Pi Pico 2 W": {26, 27, 28},
    "ESP32": set(range(32, 40)),
    "ESP32-S3": set(range(1, 11)),
    "ESP32-C3": set(range(5)),
}


def test_the_boards_by_name():
    assert set(BOARDS) == set(TAKEN)
    assert all(board.radio for board in BOARDS.values())


@pytest.mark.parametrize("name", BOARDS)
def test_default_pins(name):
    pins = BOARDS[name].pins
    # The rig file's own checks: every key exists, no pin twice.
    Board(sensor="quadrature", **pins)
    assert not TAKEN[name] & set(pins.values())
    assert pins["supply_pin"] in ANALOGUE[name]
    if name == "ESP32":
        assert all(pin < 34 for key, pin in pins.items() if key != "supply_pin")
    # A PIO reads neighbours.
    assert pins["sensor_pin_b"] == pins["sensor_pin"] + 1


@pytest.mark.parametrize("name", BOARDS)
def test_every_board_has_a_source_that_says_what_it_can(name):
    board = BOARDS[name]
    for source in (board.hall_source, board.encoder_source):
        facts = sources()[source]
        assert facts.resolution_us >= 1
        assert facts.highest_hz >= 600
        assert facts.losses


def test_only_the_board_without_a_pulse_counter_infers():
    inferring = {name for name, board in BOARDS.items() if not sources()[board.hall_source].counted}
    assert inferring == {"ESP32-C3"}


@pytest.mark.parametrize(
    ("machine", "name"),
    [
        ("Raspberry Pi Pico W with RP2040", "Raspberry Pi Pico W"),
        ("Raspberry Pi Pico 2 W with RP2350", "Raspberry Pi Pico 2 W"),
        ("Generic ESP32 module with ESP32", "ESP32"),
        ("Generic ESP32S3 module with Octal-SPIRAM with ESP32S3", "ESP32-S3"),
        ("ESP32C3 module with ESP32C3", "ESP32-C3"),
    ],
)
def test_a_board_is_known_by_its_chip(machine, name):
    board = board_of(machine)
    assert board is not None
    assert board.name == name
    assert board_of("linux [GCC 12.2.0] version") is None


def test_every_port_gets_its_own_files_only():
    rp2, esp32 = files_for("rp2"), files_for("esp32")
    every = {path.name for path in (firmware_dir() / BOARD_PACKAGE).glob("*.py")}
    assert rp2 | esp32 == every
    assert "app.py" in rp2 & esp32
    assert rp2 - esp32 == {"pio.py"}
    assert esp32 - rp2 == {"pulse.py"}


def _rows(page: str, first: str) -> dict[str, list[str]]:
    """The rows of the table whose head begins with ``first``, by first cell."""
    lines = page.split(f"| {first} |", 1)[1].split("\n")[2:]
    rows = {}
    for line in lines:
        if not line.startswith("|"):
            break
        name, *cells = [cell.strip() for cell in line.strip("|").split("|")]
        rows[name] = cells
    return rows


def test_the_hardware_notes_say_the_same():
    page = (Path(__file__).parents[2] / "hardware_notes" / "sources.md").read_text("utf-8")
    assert _rows(page, "board") == {
        board.name: [*map(str, board.pins.values()), board.hall_source, board.encoder_source]
        for board in BOARDS.values()
    }
    told = _rows(page, "source")
    assert {name: cells[:2] for name, cells in told.items()} == {
        name: [str(facts.resolution_us), str(facts.highest_hz)] for name, facts in sources().items()
    }
    for name, facts in sources().items():
        assert told[name][2].split(":")[0] == facts.losses.split(":")[0]
