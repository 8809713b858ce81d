"""The page on the protocol is the one that `wire.py` makes."""

from pathlib import Path

from brakebeat.board.protocol_page import PAGE, page

TOP = Path(__file__).resolve().parents[2]


def test_the_page_is_current():
    """If not: `python -m brakebeat.board.protocol_page`."""
    assert (TOP / PAGE).read_text(encoding="utf-8") == page()


def test_it_names_every_field_and_number():
    text = page()
    for word in (
        "journal_overwritten",
        "speed_milli_rad_s",
        "| 10 | ERASE |",
        "| 3 | REFUSED |",
        "| 324 | | | end |",
    ):
        assert word in text
