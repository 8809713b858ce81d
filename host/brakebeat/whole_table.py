"""A table on a terminal that is too narrow for it: words fold, figures are never cut."""

from __future__ import annotations

from collections.abc import Collection

from rich.console import Console
from rich.measure import Measurement
from rich.table import Table

# The least room for a column of words, in characters.
_WORDS = 9
_CLOSE = (0, 1, 0, 0)


def print_whole(console: Console, table: Table, words: Collection[str] = ()) -> None:
    """Print ``table``; only columns whose headings are among ``words`` may become narrower than what is in them.

    Where there is no room for the others the lines are longer than the terminal, which folds them.
    """
    least = _fixed(console, table, words) + _between(table)
    if least > console.width:
        table.padding = _CLOSE
        least = _fixed(console, table, words) + _between(table)
    narrow, console.width = console.width, max(console.width, least)
    try:
        console.print(table)
    finally:
        console.width = narrow


def _fixed(console: Console, table: Table, words: Collection[str]) -> int:
    """Keep the columns of figures as wide as they are; the least room that all columns take, in characters."""
    room = console.options.update(max_width=10_000)
    least = 0
    for column in table.columns:
        widest = max(Measurement.get(console, room, cell).maximum for cell in (column.header, *column.cells))
        if column.header in words:
            column.no_wrap, column.overflow = False, "fold"
            least += min(widest, _WORDS)
        else:
            column.no_wrap, column.min_width = True, widest
            least += widest
    return least


def _between(table: Table) -> int:
    """What stands between and beside the columns, in characters, edges and rules counted as if all were there."""
    _, right, _, left = table.padding
    return len(table.columns) * (left + right) + (0 if table.box is None else len(table.columns) + 1)
