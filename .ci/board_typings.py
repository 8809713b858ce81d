"""Puts what cannot be installed beside the rest into .typings: stubs of MicroPython for each port, a PIO assembler.

The ports' stub packages hold files of the same names (`machine.pyi`), so that only one of them can be installed in an
environment; and beside CPython's own modules (`math`, `time`, …) mypy does not trust them. The assembler is one file,
but asks for a whole library of device drivers. pip fetches them, in the versions of `.ci/constraints.txt`.
"""

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

_HERE = Path(__file__).resolve().parent
TYPINGS = _HERE.parent / ".typings"
_STDLIB = "micropython-stdlib-stubs"
PACKAGES = {
    "rp2": ("micropython-rp2-stubs", _STDLIB),
    "esp32": ("micropython-esp32-stubs", _STDLIB),
    "pioasm": ("adafruit-circuitpython-pioasm",),
}


def _pinned(package: str) -> str:
    pins = (_HERE / "constraints.txt").read_text("utf-8")
    found = re.search(rf"^{package}==\S+$", pins, re.MULTILINE)
    if found is None:
        sys.exit(f"{_HERE / 'constraints.txt'}: no version of {package}; add the line {package}==VERSION")
    return found[0]


def fetch(name: str) -> Path:
    """The folder of one of PACKAGES; fetched unless those very versions are there already.

    Raises ``subprocess.CalledProcessError`` where pip cannot get them.
    """
    target = TYPINGS / name
    wanted = [_pinned(package) for package in PACKAGES[name]]
    mark = target / "packages.txt"
    if mark.is_file() and mark.read_text("utf-8").split() == wanted:
        return target
    TYPINGS.mkdir(exist_ok=True)
    # Whole or not at all: tests that run side by side may fetch the same thing.
    with tempfile.TemporaryDirectory(dir=TYPINGS) as made:
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", made, *wanted]
        subprocess.run(pip, check=True)
        builtins = Path(made) / "stdlib" / "builtins.pyi"
        if builtins.is_file():
            _any_is_a_builtin(builtins)
        (Path(made) / "packages.txt").write_text("\n".join(wanted), "utf-8")
        shutil.rmtree(target, ignore_errors=True)
        shutil.copytree(made, f"{made}.whole")
        try:
            Path(f"{made}.whole").rename(target)
        except OSError:
            # Someone else was sooner.
            shutil.rmtree(f"{made}.whole")
    return target


def _any_is_a_builtin(builtins: Path) -> None:
    """On a board there is no `typing` to import it from, and a block for the checker costs bytes in every file."""
    text = builtins.read_text(encoding="utf-8")
    # mypy takes no name of `typing` itself from the builtins, but an alias of their own.
    text = text.replace("\n    Any,\n", "\n    Any as _Any,\n", 1) + "\nAny: TypeAlias = _Any\n"
    builtins.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for name in PACKAGES:
        print(f"{name}: {fetch(name)}")
