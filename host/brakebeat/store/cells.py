"""Free text in a CSV's cells, so that a spreadsheet shows it and does not work it out; and the text back.

A spreadsheet takes a cell that begins with one of ``= + - @``, a tab or a line end for a formula, quoted or not; some
take the wide forms, too (OWASP, "CSV Injection", from memory). Such a cell gets an apostrophe in front.
"""

from __future__ import annotations

import re

_APOSTROPHE = "'"
# Behind apostrophes as well: so one is taken off again only where one was put.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")  # noqa: RUF001 - the wide forms are meant


def shielded(text: str) -> str:
    """``text`` for a cell, one apostrophe longer where it would be a formula."""
    return _APOSTROPHE + text if _FORMULA.match(text) else text


def unshielded(cell: str) -> str:
    """The text that ``shielded`` made ``cell`` of. Cells of tables without shields come back as they stand."""
    # Asked first, since most of many cells begin with something else.
    return cell[1:] if cell[:1] == _APOSTROPHE and _FORMULA.match(cell) else cell
