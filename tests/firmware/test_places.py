"""A const with an underscore exists in its own file only, so files repeat it: the copies must agree."""

import re
from pathlib import Path

import pytest

import brakebeat.bench
from brakebeat.board.files import BOARD_PACKAGE, firmware_dir

_CONST = re.compile(r"^(_[A-Z0-9_]+) = const\(([^()]+)\)", re.M)


_FIRMWARE = firmware_dir() / BOARD_PACKAGE
_READERS = [
    _FIRMWARE / "session.py",
    _FIRMWARE / "strokes.py",
    _FIRMWARE / "stretch.py",
    _FIRMWARE / "mending.py",
    Path(brakebeat.bench.__file__).parent / "vm" / "hot_path.py",
]


def consts(path: Path) -> dict[str, str]:
    """The consts of a file, as written."""
    return dict(_CONST.findall(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", _READERS, ids=lambda path: path.stem)
def test_places_in_the_detectors_state_are_the_detectors(path):
    text = path.read_text(encoding="utf-8")
    own, theirs = consts(_FIRMWARE / "detector.py"), consts(path)
    shared = own.keys() & theirs.keys()
    assert {key: theirs[key] for key in shared} == {key: own[key] for key in shared}
    # Whatever reads the state by a const reads it by one of these.
    assert set(re.findall(r"state\[(_[A-Z0-9_]+)\]", text)) <= own.keys()
