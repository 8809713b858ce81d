"""The hardware notes' drawings and tables are those that the code makes; diagrams have the boards' own pins."""

import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest

from brakebeat.board.table import supported_boards
from brakebeat.drawings.__main__ import main
from brakebeat.drawings.pages import TABLES, drawings, outdated, refreshed
from brakebeat.drawings.wiring import pin_name, wiring
from brakebeat.errors import InputError
from brakebeat.mechanics import kinetic_energy_j

NOTES = Path(__file__).resolve().parents[2] / "hardware_notes"


def test_nothing_is_stale():
    """If not: `python -m brakebeat.drawings`."""
    assert sorted(outdated(NOTES)) == []


def test_no_drawing_is_left_over():
    assert {path.name for path in NOTES.glob("*.svg")} == set(drawings())


def test_every_table_is_used_in_a_page():
    used = set()
    for page in NOTES.glob("*.md"):
        used |= set(re.findall(r"<!-- table: (\w+) -->", page.read_text(encoding="utf-8")))
    assert used == set(TABLES)


def test_a_changed_drawing_is_found_and_mended(tmp_path, capsys):
    folder = tmp_path / "notes"
    shutil.copytree(NOTES, folder)
    name = next(iter(drawings()))
    (folder / name).write_text("<svg/>", encoding="utf-8")
    page = folder / "wheel.md"
    page.write_text(page.read_text(encoding="utf-8").replace("500 J", "501 J"), encoding="utf-8")
    assert main([str(folder), "--check"]) == 1
    out = capsys.readouterr().out
    assert name in out
    assert "wheel.md" in out
    assert main([str(folder)]) == 0
    assert main([str(folder), "--check"]) == 0
    assert page.read_text(encoding="utf-8") == (NOTES / "wheel.md").read_text(encoding="utf-8")


def test_wrong_calls_say_what_to_do(tmp_path, capsys):
    assert main([str(tmp_path)]) == 2
    assert "hardware_notes" in capsys.readouterr().err
    with pytest.raises(InputError, match=r"a\.md: <!-- table: nonsense -->"):
        refreshed("<!-- table: nonsense -->\n<!-- end -->", "a.md")


@pytest.mark.parametrize("board", supported_boards(), ids=lambda board: board.name)
def test_a_diagram_shows_each_pin_of_the_table_once(board):
    root = ElementTree.fromstring(wiring(board))
    words = [item.text for item in root.iter("{http://www.w3.org/2000/svg}text")]
    shown = [word for word in words if re.fullmatch(r"GP(IO)?\d+", word)]
    assert shown == [pin_name(board, pin) for pin in board.pins.values()]
    assert [word for word in words if word.endswith(("_pin", "_pin_b"))] == list(board.pins)
    height = float(root.get("height"))
    assert all(0 < float(item.get("y")) < height for item in root.iter("{http://www.w3.org/2000/svg}text"))


def test_the_energy_is_the_code_s_own():
    text = (NOTES / "wheel.md").read_text(encoding="utf-8")
    row = next(line for line in text.splitlines() if line.startswith("| 0.1 |"))
    assert f"{float(kinetic_energy_j(0.1, 100.0)):.0f} J" in row
