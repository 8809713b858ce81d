"""Prints the README's command that holds a given word, so that CI runs what a reader would run.

Usage: python3 .ci/readme_command.py WORD
"""

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"


def command_with(word: str) -> str:
    """The README's first fenced shell block with ``word`` in it; exits with a message where there is none."""
    blocks = re.findall(
        r"^```(?:sh|bash|console)\n(.*?)^```", README.read_text("utf-8"), re.DOTALL | re.MULTILINE
    )
    found = [block.strip() for block in blocks if re.search(rf"\b{re.escape(word)}\b", block)]
    if not found:
        sys.exit(f"{README}: no fenced ```bash block with {word!r} in it; the README must hold this command")
    # The first one counts: later ones are for people who have it installed.
    return found[0]


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    print(command_with(sys.argv[1]))
