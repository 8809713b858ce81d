"""Copies the installed MicroPython stubs into .typings, where mypy takes them for the firmware only.

In site-packages they lie beside CPython's own modules (`math`, `time`, …), where mypy does not trust them.
"""

import shutil
from importlib.metadata import files
from pathlib import Path

TARGET = Path(__file__).resolve().parents[1] / ".typings"
PACKAGES = ("micropython-rp2-stubs", "micropython-stdlib-stubs")


def main() -> None:
    shutil.rmtree(TARGET, ignore_errors=True)
    count = 0
    for package in PACKAGES:
        for file in files(package) or ():
            if file.suffix in {".pyi", ""} and not file.parts[0].endswith(".dist-info"):
                target = TARGET / file
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(file.locate(), target)
                count += 1
    print(f"{count} stub files in {TARGET}")


if __name__ == "__main__":
    main()
