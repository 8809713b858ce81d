"""What README and DEVELOPERS say of the code still holds."""

import re
from pathlib import Path

import pytest

from brakebeat.check import FIGURES
from brakebeat.cli import COMMANDS
from brakebeat.results import FLAGS

TOP = Path(__file__).resolve().parents[2]
README = (TOP / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_flag_is_listed_with_its_meaning():
    listed = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", DEVELOPERS, re.MULTILINE))
    assert {name: meaning for name, meaning in listed.items() if name in FLAGS} == FLAGS


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_paths_that_are_named_exist(text):
    named = re.findall(r"`((?:firmware|host|tests|hardware_notes|\.ci|\.readme)/[\w./-]+)`", text)
    named += re.findall(r"\]\((?!https?:)([^)#]+)\)", text)
    missing = [path for path in named if not (TOP / path).exists()]
    assert not missing


def test_commands_that_the_readme_names_exist():
    named = set(re.findall(r"\bbrakebeat ([a-z]+)\b", README))
    assert named <= set(COMMANDS)
    assert {"demo", "replay", "check", "watch"} <= named


def test_limits_have_a_reason_each():
    text = (TOP / "host/brakebeat/check/limits.toml").read_text(encoding="utf-8")
    for figure in FIGURES:
        assert re.search(rf"^\[{figure}\]\n# ", text, re.MULTILINE), figure
