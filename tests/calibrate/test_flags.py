"""DEVELOPERS lists every flag of a calibration, with its meaning."""

import re
from pathlib import Path

from brakebeat.calibrate.result import FLAGS

DEVELOPERS = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_flag_is_listed_with_its_meaning():
    listed = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", DEVELOPERS, re.MULTILINE))
    assert {name: meaning for name, meaning in listed.items() if name in FLAGS} == FLAGS


def test_every_flag_is_used():
    code = "".join(path.read_text(encoding="utf-8") for path in _sources() if path.name != "result.py")
    unused = [name for name in FLAGS if f'"{name}"' not in code]
    assert not unused


def _sources():
    return (Path(__file__).resolve().parents[2] / "host" / "brakebeat" / "calibrate").glob("*.py")
