"""Letters five lines high, for a terminal that is looked at from a few metres."""

from __future__ import annotations

_ROWS = {
    "0": ("█▀▀█", "█  █", "█  █", "█  █", "█▄▄█"),
    "1": (" ▄█ ", "  █ ", "  █ ", "  █ ", " ▄█▄"),
    "2": ("▀▀▀█", "   █", "█▀▀▀", "█   ", "█▄▄▄"),
    "3": ("▀▀▀█", "   █", " ▀▀█", "   █", "▄▄▄█"),
    "4": ("█  █", "█  █", "▀▀▀█", "   █", "   █"),
    "5": ("█▀▀▀", "█   ", "▀▀▀█", "   █", "▄▄▄█"),
    "6": ("█▀▀▀", "█   ", "█▀▀█", "█  █", "█▄▄█"),
    "7": ("▀▀▀█", "   █", "  █ ", "  █ ", "  █ "),
    "8": ("█▀▀█", "█  █", "█▀▀█", "█  █", "█▄▄█"),
    "9": ("█▀▀█", "█  █", "▀▀▀█", "   █", "▄▄▄█"),
    "m": ("    ", "▄▄ ▄▄ ", "█ █ █ ", "█ █ █ ", "█ █ █ "),
    "/": ("   █", "  █ ", "  █ ", " █  ", "█   "),
    ":": ("  ", "█ ", "  ", "█ ", "  "),
    "–": ("    ", "    ", "▀▀▀▀", "    ", "    "),
}


def big(text: str) -> str:
    """``text`` in letters of five lines; what has no letter is left out."""
    letters = [_ROWS[sign] for sign in text if sign in _ROWS]
    widths = [max(map(len, rows)) for rows in letters]
    lines = (
        "  ".join(rows[line].ljust(width) for rows, width in zip(letters, widths, strict=True))
        for line in range(5)
    )
    return "\n".join(lines)
