"""Everything that `[dev]` brings along is pinned in `.ci/constraints.txt`, not only what we name."""

import re
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

TOP = Path(__file__).resolve().parents[2]


def _key(name: str) -> str:
    """A package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def _pins() -> dict[str, str]:
    lines = (TOP / ".ci/constraints.txt").read_text("utf-8").splitlines()
    return {_key(name): version for name, version in (line.split("==") for line in lines if line[:1] != "#")}


def _brought() -> dict[str, str]:
    """Package -> version of all that is installed here because we ask for it, or because what we ask for does."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    ahead = [Requirement(each) for each in project["dependencies"] + project["optional-dependencies"]["dev"]]
    found: dict[str, str] = {}
    looked_at = set()
    while ahead:
        wanted = ahead.pop()
        for extra in ["", *wanted.extras]:
            if (_key(wanted.name), extra) in looked_at:
                continue
            looked_at.add((_key(wanted.name), extra))
            try:
                there = distribution(wanted.name)
            except PackageNotFoundError:
                # Not for this system, or not installed: pip alone can tell what it would bring.
                continue
            found[_key(wanted.name)] = there.version
            needs = map(Requirement, there.requires or [])
            ahead += [each for each in needs if each.marker is None or each.marker.evaluate({"extra": extra})]
    return found


@pytest.mark.skipif(sys.platform != "linux", reason="pinned is what CI installs, on Linux")
def test_all_that_is_brought_along_is_pinned():
    pins, brought = _pins(), _brought()
    # Some that nothing names here: they are needed by what is named.
    assert {"numpy", "pytest", "h11", "cffi"} <= brought.keys()
    assert sorted(brought.keys() - pins.keys()) == []
