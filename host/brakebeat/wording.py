"""Words that agree with their number, and that a terminal may print."""

from __future__ import annotations

# The board's sounds by the kind of a cue.
CUE_WORDS = {
    "window": "window opens",
    "late": "late",
    "drop_off": "drop-off",
    "set_done": "set done",
}


def counted(count: int, one: str, many: str | None = None) -> str:
    """`1 set`, `2 sets`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def were_here(count: int, one: str) -> str:
    """`1 set was here already`, `2 sets were here already`."""
    return f"{counted(count, one)} {'was' if count == 1 else 'were'} here already"


def printable(text: str) -> str:
    """A stranger's text for a terminal, which must not be told what to do: control characters are marked."""
    return "".join(each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in text)
