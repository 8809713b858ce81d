"""A const with an underscore exists in its own file only, so files repeat it: the copies must agree."""

import re
from pathlib import Path

import pytest

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir

_CONST = re.compile(r"^(_[A-Z0-9_]+) = const\(([^()]+)\)", re.M)


def consts(name: str) -> dict[str, str]:
    """The consts of a file of the firmware, as written."""
    path: Path = firmware_dir() / BOARD_PACKAGE / f"{name}.py"
    return dict(_CONST.findall(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", ["session", "stretch"])
def test_places_in_the_detectors_state_are_the_detectors(name):
    text = (firmware_dir() / BOARD_PACKAGE / f"{name}.py").read_text(encoding="utf-8")
    own, theirs = consts("detector"), consts(name)
    shared = own.keys() & theirs.keys()
    assert {key: theirs[key] for key in shared} == {key: own[key] for key in shared}
    # Whatever reads the state by a const reads it by one of these.
    assert set(re.findall(r"state\[(_[A-Z0-9_]+)\]", text)) <= own.keys()
