"""Standard streams that take whatever a command prints: none is missing, and none stumbles over a letter."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path


def mend_streams() -> None:
    """Open what was closed (`>&-`), and let letters that the terminal's encoding lacks become question marks.

    A closed stream's number would go to the next file that is opened, the store's perhaps, and whatever complains
    on standard error would write into it.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # The lowest number that is free, which is this one.
            os.open(os.devnull, os.O_RDWR)
    nothing = Path(os.devnull)
    sys.stdin = sys.stdin or nothing.open(encoding="utf-8")
    sys.stdout = sys.stdout or nothing.open("w", encoding="utf-8")
    sys.stderr = sys.stderr or nothing.open("w", encoding="utf-8")
    # Standard error does so by itself, and JSON is printed in ASCII.
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors in ("strict", "surrogateescape"):
        sys.stdout.reconfigure(errors="replace")
