"""The hardware notes: the fault table is complete, pages are linked and cautioned, links lead somewhere."""

import dataclasses
import re
from pathlib import Path

import pytest

from brakebeat.board.files import load_wire
from brakebeat.results import FLAGS, Quality

NOTES = Path(__file__).resolve().parents[2] / "hardware_notes"
PAGES = sorted(path.name for path in NOTES.glob("*.md"))
FAULTS = (NOTES / "faults.md").read_text(encoding="utf-8")


def _rows(heading):
    """First cells of the table below a heading, and whether each row says all three things."""
    part = FAULTS.split(f"## {heading}\n")[1].split("\n## ")[0]
    rows = [line.strip("|").split(" | ") for line in part.splitlines() if line.startswith("| `")]
    assert rows
    assert all(len(row) == 3 and all(cell.strip() for cell in row) for row in rows)
    return {row[0].strip(" `") for row in rows}


def test_every_quality_counter_has_its_row():
    assert {field.name for field in dataclasses.fields(Quality)} <= _rows("Counters")


def test_every_counter_of_the_status_is_named():
    counters = {name for name, code in load_wire().STATUS_FIELDS if code == "I"}
    # No counters: identities, times, the rig's checksum.
    counters -= {"uptime_s", "journal_next", "journal_oldest", "journal_id", "rig_crc"}
    named = set(re.findall(r"`(\w+)`", FAULTS))
    assert counters <= named, sorted(counters - named)


def test_every_flag_of_a_rep_has_its_row():
    assert _rows("Flags of a rep") == set(FLAGS)


def test_every_error_code_has_its_row():
    names = set(load_wire().ERROR_NAMES.values()) - {"none"}
    assert _rows("Errors of commands") == names
    for code in (1, 2, 3):
        assert f"exit code {code}" in FAULTS


def test_every_page_is_in_the_index():
    index = (NOTES / "README.md").read_text(encoding="utf-8")
    assert set(PAGES) - {"README.md"} <= set(re.findall(r"\]\(([\w.]+\.md)\)", index))


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page):
    text = (NOTES / page).read_text(encoding="utf-8")
    for target, anchor in re.findall(r"\]\((?!https?:)([^)#]*)(?:#([^)]+))?\)", text):
        path = (NOTES / target) if target else NOTES / page
        assert path.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in {heading.lower().replace(" ", "-") for heading in headings}


@pytest.mark.parametrize(
    "page", ["README.md", "wiring.md", "magnets.md", "wheel.md", "calibration.md", "faults.md"]
)
def test_pages_that_ask_to_wire_spin_or_pull_begin_with_a_caution(page):
    head = (NOTES / page).read_text(encoding="utf-8")[:1900].lower()
    assert re.search(r"caution|unplugged|projectile|licensed", head)


def test_local_codes_and_licensed_practice_come_first():
    for page in ("README.md", "wiring.md", "wheel.md"):
        text = (NOTES / page).read_text(encoding="utf-8")
        assert "local codes" in text
        assert "licensed professional" in text
