"""The store as one flat table, a row a rep, for other programs: as CSV (``parquet`` writes it as Parquet)."""

from __future__ import annotations

import csv
import io
import itertools
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from brakebeat.formats.atomic import atomic_write
from brakebeat.store.clock import from_stored
from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import COLUMNS

# What a set says once, then what each of its reps says.
SET_COLUMNS = (
    "session",
    "set",
    "athlete",
    "exercise",
    "rig",
    "inertia_kg_m2",
    "set_started",
    "engine",
    "engine_version",
    "set_uid",
    "session_uid",
    "pulses_per_rev",
)
TEXT_COLUMNS = ("brake_timing", "flags")
NUMBER_COLUMNS = tuple(name for name in COLUMNS if name not in (*TEXT_COLUMNS, "uncertainty"))
HEADINGS = (
    *SET_COLUMNS,
    "rep",
    "taken_out",
    *NUMBER_COLUMNS,
    "ratio_peak_power",
    "ratio_mean_power",
    *TEXT_COLUMNS,
)
RATIOS = [
    f"rep.eccentric_{kind}_power_w / nullif(rep.concentric_{kind}_power_w, 0)" for kind in ("peak", "mean")
]
_SETS_A_WRITE = 200
# SQLite writes the numbers itself: JSON without the brackets is a piece of a CSV line, and Python need not
# look at each of them. Texts of reps are words that need no quotes.
_CELLS = (
    f"replace(trim(json_array({', '.join('rep.' + name for name in NUMBER_COLUMNS)}, {', '.join(RATIOS)}), '[]'),"
    " 'null', '') || ',' || ifnull(rep.brake_timing, '') || ',' || rep.flags"
)

# All lines of a set in one value: handing over each rep by itself takes as long as writing its numbers.
_CELLS_OF_SETS = (
    "SELECT chosen.place, (SELECT group_concat(cells, char(10)) FROM"
    f" (SELECT {_CELLS} AS cells FROM rep WHERE rep.computation_id = chosen.computation_id ORDER BY rep.rep_index))"
    " FROM temp.chosen_set AS chosen ORDER BY chosen.place"
)


def chosen_sets(store: Store, athlete_id: int | None) -> list[sqlite3.Row]:
    """The sets of the table in order, inside ``reading()``; ``numbered_reps`` gives their reps."""
    where, values = ("", ()) if athlete_id is None else ("WHERE athlete_id = ?", (athlete_id,))
    chosen = store.rows(
        "SELECT live_set.*, json_extract(rig.document, '$.pulses_per_rev') AS pulses_per_rev FROM live_set"
        f" JOIN rig ON rig.id = live_set.rig_id {where} ORDER BY started_ms, session_id, position",
        values,
    )
    # In a table of its own, the sets' order is that of its key and nothing needs sorting.
    store.write("CREATE TEMP TABLE chosen_set (place INTEGER PRIMARY KEY, computation_id INTEGER)")
    store.write_many(
        "INSERT INTO temp.chosen_set VALUES (?, ?)",
        ((place, row["computation_id"]) for place, row in enumerate(chosen)),
    )
    return chosen


def numbered_reps(
    store: Store, chosen: list[sqlite3.Row], cells: str
) -> Iterator[tuple[int, int, bool, tuple[Any, ...]]]:
    """(set's place in ``chosen``, number in the set from 1, taken out, the SQL expressions ``cells``)."""
    marks: dict[int, list[int]] = {}
    for mark in store.rows("SELECT set_id, at_us FROM rep_mark WHERE deleted_ms IS NULL"):
        marks.setdefault(mark["set_id"], []).append(mark["at_us"])
    sql = (
        f"SELECT chosen.place, rep.start_us, rep.end_us, {cells} FROM temp.chosen_set AS chosen"
        " CROSS JOIN rep ON rep.computation_id = chosen.computation_id ORDER BY chosen.place, rep.rep_index"
    )
    last = -1
    for row in store.stream(sql):
        place = row[0]
        if place != last:
            last, number, taken_out = place, 0, marks.get(chosen[place]["id"], ())
        number += 1
        marked = bool(taken_out) and any(row[1] <= at < row[2] for at in taken_out)
        yield place, number, marked, row[3:]


def csv_lines(store: Store, athlete_id: int | None = None) -> Iterator[str]:
    """The table as CSV (RFC 4180 but for the line ends, which are newlines): headings, then a set's lines at a time.

    Numbers carry 15 digits; what is unknown is empty. Flags of a rep are parted by blanks.
    """
    yield ",".join(HEADINGS) + "\n"
    with store.reading():
        chosen = chosen_sets(store, athlete_id)
        taken_out = _taken_out(store)
        for place, cells in store.stream(_CELLS_OF_SETS):
            if cells is None:
                continue
            row = chosen[place]
            prefix, out = _prefix(row), taken_out.get(row["id"], ())
            yield "".join(
                [
                    f"{prefix},{number},{1 if number in out else 0},{line}\n"
                    for number, line in enumerate(cells.split("\n"), 1)
                ]
            )


def _taken_out(store: Store) -> dict[int, set[int]]:
    """Numbers of the reps that were taken out by hand, by set."""
    sql = (
        "SELECT rep_mark.set_id, (SELECT count(*) FROM rep AS before WHERE before.computation_id = rep.computation_id"
        " AND before.rep_index <= rep.rep_index) AS number FROM rep_mark"
        " JOIN work_set ON work_set.id = rep_mark.set_id JOIN rep ON rep.computation_id = work_set.computation_id"
        " AND rep.start_us <= rep_mark.at_us AND rep_mark.at_us < rep.end_us WHERE rep_mark.deleted_ms IS NULL"
    )
    found: dict[int, set[int]] = {}
    for row in store.rows(sql):
        found.setdefault(row["set_id"], set()).add(row["number"])
    return found


def set_cells(row: sqlite3.Row) -> tuple[Any, ...]:
    """A set's values of ``SET_COLUMNS``."""
    return (
        row["session_id"],
        row["position"],
        row["athlete"],
        row["exercise"],
        row["rig"],
        row["inertia_kg_m2"],
        from_stored(row["started_ms"], row["utc_offset_min"]),
        row["engine"],
        row["engine_version"],
        row["uid"],
        row["session_uid"],
        row["pulses_per_rev"],
    )


def _prefix(row: sqlite3.Row) -> str:
    cells = [
        cell.isoformat(timespec="milliseconds") if isinstance(cell, datetime) else cell
        for cell in set_cells(row)
    ]
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def write_csv(store: Store, stream: IO[bytes], athlete_id: int | None = None) -> None:
    """Write the table as UTF-8 CSV."""
    lines = csv_lines(store, athlete_id)
    while some := list(itertools.islice(lines, _SETS_A_WRITE)):
        stream.write("".join(some).encode())


def export_csv(store: Store, path: Path, athlete_id: int | None = None) -> None:
    """Write the table as a CSV file, whole or not at all."""
    with atomic_write(path) as stream:
        write_csv(store, stream, athlete_id)
