"""Copies the installed MicroPython stubs into .typings, where mypy takes them for the firmware only.

In site-packages they lie beside CPython's own modules (`math`, `time`, …), where mypy does not trust them.
`Any` becomes a builtin there: on a board there is no `typing` to import it from, and a block that only the type
checker reads would still cost bytes in every file.
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
    builtins = TARGET / "stdlib" / "builtins.pyi"
    text = builtins.read_text(encoding="utf-8")
    # mypy takes no name of `typing` itself from the builtins, but an alias of their own.
    text = text.replace("\n    Any,\n", "\n    Any as _Any,\n", 1) + "\nAny: TypeAlias = _Any\n"
    builtins.write_text(text, encoding="utf-8")
    print(f"{count} stub files in {TARGET}")


if __name__ == "__main__":
    main()
