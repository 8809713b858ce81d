"""Prints the accuracy table: a line for each figure and kind of recording, limits and verdicts beside it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from itertools import groupby

from rich.console import Console
from rich.table import Table
from rich.text import Text

from brakebeat.bench.accuracy_table.judge import Line, Value

# Wide enough for every table here where output goes to a file.
_WIDTH = 140
_TURNS_ONLY = "turns only"


def console() -> Console:
    """The terminal as it is, anything else with a fixed width."""
    out = Console()
    return out if out.is_terminal else Console(width=_WIDTH)


def print_lines(lines: Sequence[Line], engines: Sequence[str], brief: bool) -> None:
    """The table; ``brief`` keeps only each row's worst kind of recording."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("figure, recordings", max_width=62)
    table.add_column("n", justify="right", no_wrap=True)
    for engine in engines:
        table.add_column(engine, justify="right", no_wrap=True)
        table.add_column("limit", justify="right", no_wrap=True)
        table.add_column("", no_wrap=True)
    table.add_column(_TURNS_ONLY, justify="right", no_wrap=True)
    table.add_column("worst: seed/rep", no_wrap=True)
    for _, group in groupby(lines, key=lambda line: line.row.key):
        of_row = list(group)
        title = f"{of_row[0].row.title}: {of_row[0].row.on}"
        if brief:
            worst = max(of_row, key=_badness)
            table.add_row(*_cells(worst, engines, f"{title} ({worst.condition})", _pooled(of_row)))
            continue
        table.add_row(Text(title, "bold"))
        for line in of_row:
            table.add_row(*_cells(line, engines, f"  {line.condition}", _pooled([line])))
    console().print(table)


def markdown(lines: Sequence[Line], engines: Sequence[str]) -> str:
    """Of each row the worst kind of recording, as a Markdown table; broken limits are bold."""
    head = ["figure", "on", "n", *(f"{engine} (limit)" for engine in engines)]
    rows = [head, ["---", "---", "--:", *("--:" for _ in engines)]]
    for _, group in groupby(lines, key=lambda line: line.row.key):
        of_row = list(group)
        row = of_row[0].row
        cells = [row.title, row.on, _pooled(of_row)]
        for engine in engines:
            values = [line.values[engine] for line in of_row if engine in line.values]
            cells.append(_markdown_cell(values, row.statistic) if values else "")
        rows.append(cells)
    return "".join("| " + " | ".join(cells) + " |\n" for cells in rows)


def _markdown_cell(values: Sequence[Value], statistic: str) -> str:
    """A count is summed, anything else is the worst of the kinds of recording."""
    whole = statistic == "count"
    known = [value for value in values if value.value is not None]
    if not known:
        return "–"
    worst = max(known, key=lambda value: value.value or 0.0)
    if whole:
        worst = dataclasses.replace(worst, value=sum(value.value or 0.0 for value in known))
    text = _number(worst, whole)
    if any(value.ok is False for value in values):
        text = f"**{text}**"
    limit = _limit(worst)
    return f"{text} ({limit})" if limit else text


def _pooled(lines: Sequence[Line]) -> str:
    """How many samples, the most that an engine has."""
    return str(
        sum(max((v.n for k, v in line.values.items() if k != "turns_only"), default=0) for line in lines)
    )


def _badness(line: Line) -> tuple[int, float]:
    ratios = []
    for engine, value in line.values.items():
        if engine != "turns_only" and value.value is not None:
            ratios.append(value.value / value.limit if value.limit else value.value)
    return sum(value.ok is False for value in line.values.values()), max(ratios, default=-1e9)


def _cells(line: Line, engines: Sequence[str], title: str, n: str) -> list[Text | str]:
    whole = line.row.statistic == "count"
    cells: list[Text | str] = [title, n]
    for engine in engines:
        value = line.values.get(engine)
        cells += ["", "", ""] if value is None else [_number(value, whole), _limit(value), _mark(value)]
    told = line.values.get("turns_only")
    return [*cells, "" if told is None else _number(told, whole), _where(line)]


def _number(value: Value, whole: bool) -> str:
    silent = f" ({value.silent} null)" if value.silent else ""
    if value.value is None:
        return "–" + silent
    return f"{value.value:.0f}{silent}" if whole else f"{value.value:.3g}{silent}"


def _limit(value: Value) -> str:
    return "–" if value.limit is None else f"{value.limit:g}"


def _mark(value: Value) -> Text:
    if value.ok is None:
        return Text("")
    return Text("ok", "green") if value.ok else Text("FAIL", "bold red")


def _where(line: Line) -> str:
    """The worst case of the first engine that fails, else of the first one."""
    values = [value for engine, value in line.values.items() if engine != "turns_only"]
    values.sort(key=lambda value: value.ok is not False)
    worst = values[0].worst if values else []
    return f"{worst[0][0]}/{worst[0][1]}" if worst else ""
