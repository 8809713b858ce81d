"""The live table: a block a board, redrawn in place. What a colour says is said in words or signs as well."""

from __future__ import annotations

import time
from collections.abc import Sequence
from types import TracebackType
from typing import Literal, Self

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from brakebeat.link.words import TIMING_WORDS, first_line
from brakebeat.screen import RPM_PER_RAD_S, or_dash
from brakebeat.watch.board_view import BoardView, RepRow
from brakebeat.wording import CUE_WORDS, counted

_REDRAW_S = 0.1
_TIMING_STYLES = {"late": "bold red", "early": "yellow", "inside": "green"}
_HEADINGS = ("rep", "peak rad/s", "rpm", "con. W", "ecc. W", "brake", "timing", "drop-off", "cues")
# So many of them, from the left, are numbers.
_FIGURES = 6
# Where the room is too little for all they are left out in this order, so that no figure is cut.
_SPARED = ("rpm", "ecc. W", "cues", "con. W")
# Room for "ok" or the beginning of "TOO FAR".
_LEAST_CHECK = 7
# A block's title, headings and the line below them.
_BLOCK_LINES = 4
_FEWEST_ROWS = 3


class LiveTable:
    """Shows boards while it is open (a context manager); ``show`` after each event."""

    def __init__(self, boards: Sequence[BoardView], caution: str, console: Console, checked: bool) -> None:
        self._boards = boards
        self._caution = caution
        self._console = console
        self._checked = checked
        self._drawn_s = 0.0
        self._live = Live(console=console, auto_refresh=False, vertical_overflow="crop")

    def __enter__(self) -> Self:
        self._live.__enter__()
        self._draw()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._draw()
        self._live.__exit__(kind, error, trace)

    def show(self, at_once: bool) -> None:
        """Draw again; unless ``at_once`` no more than ten times a second."""
        if at_once or time.monotonic() - self._drawn_s >= _REDRAW_S:
            self._draw()

    def _draw(self) -> None:
        self._drawn_s = time.monotonic()
        self._live.update(
            render(self._boards, self._caution, self._console.size, self._checked), refresh=True
        )


def render(boards: Sequence[BoardView], caution: str, size: tuple[int, int], checked: bool) -> RenderableType:
    """All boards, one below the other, with as many of their latest reps as ``size``, (columns, lines), holds."""
    columns, height = size
    rows = (height - 2) // max(1, len(boards)) - _BLOCK_LINES
    blocks: list[RenderableType] = [Text(caution, style="italic")]
    for board in boards:
        notes = _notes(board)
        blocks += [
            Text(),
            title(board),
            *notes,
            _reps(board, max(_FEWEST_ROWS, rows - len(notes)), columns, checked),
        ]
    return Group(*blocks)


def title(board: BoardView) -> Text:
    """A board's line: name, link, what it does now."""
    text = Text(board.label, style="bold", no_wrap=True, overflow="ellipsis")
    mark = "●" if board.connected else "○"
    text.append(
        f"  {mark} {first_line(board.link)}", style="not bold green" if board.connected else "not bold yellow"
    )
    live = board.live
    if live is not None:
        doing = {"idle": "at rest", "concentric": "pull →", "eccentric": "← brake"}.get(
            live.phase, live.phase
        )
        rpm = abs(live.speed_rad_s) * RPM_PER_RAD_S
        text.append(
            f"   {doing:8} {abs(live.speed_rad_s):6.1f} rad/s ({rpm:4.0f} rpm)   rep {live.set_rep} of the set",
            style="not bold",
        )
    return text


def _notes(board: BoardView) -> list[Text]:
    """A line for each thing that somebody should see to."""
    words = []
    if board.warning:
        words.append(f"CAREFUL: {board.warning}")
    if board.gone:
        words.append(f"{counted(board.gone, 'rep')} overwritten before being fetched")
    if board.status is not None and board.status.trouble:
        words.append(f"trouble: {board.status.trouble}")
    return [Text(one, style="bold red") for one in words]


def _reps(board: BoardView, most: int, room: int, checked: bool) -> Table:
    """The latest reps. In little ``room``, in characters, columns and words of the check go, never a figure."""
    rows = [_cells(row, checked) for row in list(board.rows)[-most:]]
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    widths = [
        max([len(heading), *(len(row[place]) for row in rows)]) for place, heading in enumerate(_HEADINGS)
    ]
    places = _places(widths, room - (_LEAST_CHECK + 1 if checked else 0))
    for place in places:
        side: Literal["left", "right"] = "right" if place < _FIGURES else "left"
        table.add_column(_HEADINGS[place], justify=side, no_wrap=True, width=widths[place])
        room -= widths[place] + 1
    if checked:
        table.add_column("board − reference", no_wrap=True, width=max(_LEAST_CHECK, room))
    for row in rows:
        table.add_row(*(row[place] for place in places), *row[len(_HEADINGS) :])
    if not rows:
        table.add_row("–", style="dim")
    return table


def _places(widths: Sequence[int], room: int) -> list[int]:
    """The columns that are shown in ``room`` characters, each with a blank behind it."""
    places = list(range(len(widths)))
    for heading in _SPARED:
        if sum(widths[place] + 1 for place in places) <= room:
            break
        places.remove(_HEADINGS.index(heading))
    return places


def _cells(row: RepRow, checked: bool) -> list[Text | str]:
    rep = row.rep
    number = f"{rep.index + 1}{' m' if rep.momentum else '  '}"
    timing = Text(TIMING_WORDS[rep.brake_timing], style=_TIMING_STYLES.get(rep.brake_timing or "", ""))
    fell = any(cue.kind == "drop_off" for cue in row.cues)
    cells: list[Text | str] = [
        number,
        f"{rep.peak_rad_s:.2f}",
        f"{rep.peak_rad_s * RPM_PER_RAD_S:.0f}",
        or_dash(rep.concentric.mean_power_w),
        or_dash(rep.eccentric.mean_power_w),
        or_dash(rep.brake_fraction, 2),
        timing,
        Text(drop_words(row.drop, fell), style="bold red" if fell else ""),
        ", ".join(CUE_WORDS.get(cue.kind, cue.kind) for cue in row.cues),
    ]
    return [*cells, row.difference] if checked else cells


def drop_words(drop: float | None, fell: bool) -> str:
    """The drop below the set's best, a word on it where the board has sounded."""
    number = "–" if drop is None else "best" if drop == 0 else f"−{drop:.0%}"
    return f"{number} DROPPED" if fell else number
