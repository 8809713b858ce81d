"""``python -m brakebeat.drawings``: draw the hardware notes' pictures and tables anew; ``--check`` only looks."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from brakebeat.drawings.pages import outdated
from brakebeat.errors import InputError
from brakebeat.formats.atomic import atomic_write


def main(arguments: list[str] | None = None) -> int:
    """0 where all is as it should be (afterwards), 1 where ``--check`` found something stale, 2 for a wrong call."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.drawings", description=__doc__)
    parser.add_argument("folder", nargs="?", default="hardware_notes", help="(hardware_notes)")
    parser.add_argument("--check", action="store_true", help="write nothing, name what is stale")
    args = parser.parse_args(arguments)
    folder = Path(args.folder)
    try:
        stale = outdated(folder)
        for name, text in stale.items():
            if not args.check:
                with atomic_write(folder / name) as stream:
                    stream.write(text.encode())
            print(f"{folder / name}: {'is stale' if args.check else 'written'}")
    except InputError as error:
        print(f"python -m brakebeat.drawings: {error}", file=sys.stderr)
        return 2
    return 1 if args.check and stale else 0


if __name__ == "__main__":
    raise SystemExit(main())
