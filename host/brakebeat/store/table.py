"""The store as one flat table, a row a rep, for spreadsheets: CSV, or Parquet with pyarrow."""

from __future__ import annotations

import csv
import io
import itertools
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from brakebeat.errors import InputError
from brakebeat.formats.atomic import atomic_write, replacing
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
)
_TEXTS = ("brake_timing", "flags")
NUMBER_COLUMNS = tuple(name for name in COLUMNS if name not in (*_TEXTS, "uncertainty"))
HEADINGS = (
    *SET_COLUMNS,
    "rep",
    "taken_out",
    *NUMBER_COLUMNS,
    "ratio_peak_power",
    "ratio_mean_power",
    *_TEXTS,
)
_RATIOS = [
    f"rep.eccentric_{kind}_power_w / nullif(rep.concentric_{kind}_power_w, 0)" for kind in ("peak", "mean")
]
_LINES_A_WRITE = 1000
# SQLite writes the numbers itself: JSON without the brackets is a piece of a CSV line, and Python need not
# look at each of them. Texts of reps are words that need no quotes.
_REPS = (
    "SELECT replace(trim(json_array("
    f"{', '.join('rep.' + name for name in NUMBER_COLUMNS)}, {', '.join(_RATIOS)}), '[]'), 'null', '')"
    " || ',' || ifnull(rep.brake_timing, '') || ',' || rep.flags, chosen.place, rep.start_us, rep.end_us"
    " FROM temp.chosen_set AS chosen CROSS JOIN rep ON rep.computation_id = chosen.computation_id"
    " ORDER BY chosen.place, rep.rep_index"
)


def csv_lines(store: Store, athlete_id: int | None = None) -> Iterator[str]:
    """The table as lines of CSV (RFC 4180 but for the line ends, which are newlines), headings first.

    Numbers carry 15 digits; what is unknown is empty. Flags of a rep are parted by blanks.
    """
    where, values = ("", ()) if athlete_id is None else ("WHERE live_set.athlete_id = ?", (athlete_id,))
    yield ",".join(HEADINGS) + "\n"
    with store.reading():
        chosen = store.rows(
            f"SELECT * FROM live_set {where} ORDER BY started_ms, session_id, position", values
        )
        # In a table of its own, the sets' order is that of its key and nothing needs sorting.
        store.write("CREATE TEMP TABLE chosen_set (place INTEGER PRIMARY KEY, computation_id INTEGER)")
        store.write_many(
            "INSERT INTO temp.chosen_set VALUES (?, ?)",
            ((place, row["computation_id"]) for place, row in enumerate(chosen)),
        )
        yield from _reps(store, chosen)


def _reps(store: Store, chosen: list[sqlite3.Row]) -> Iterator[str]:
    marks: dict[int, list[int]] = {}
    for mark in store.rows("SELECT set_id, at_us FROM rep_mark WHERE deleted_ms IS NULL"):
        marks.setdefault(mark["set_id"], []).append(mark["at_us"])
    last = -1
    for cells, place, start_us, end_us in store.stream(_REPS):
        if place != last:
            last, number, prefix = place, 0, _prefix(chosen[place])
            taken_out = marks.get(chosen[place]["id"], ())
        number += 1
        marked = 1 if taken_out and any(start_us <= at < end_us for at in taken_out) else 0
        yield f"{prefix},{number},{marked},{cells}\n"


def _prefix(row: sqlite3.Row) -> str:
    started = from_stored(row["started_ms"], row["utc_offset_min"])
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(
        [
            row["session_id"],
            row["position"],
            row["athlete"],
            row["exercise"],
            row["rig"],
            row["inertia_kg_m2"],
            started.isoformat(timespec="milliseconds"),
            row["engine"],
            row["engine_version"],
            row["uid"],
        ]
    )
    return text.getvalue()


def write_csv(store: Store, stream: IO[bytes], athlete_id: int | None = None) -> None:
    """Write the table as UTF-8 CSV."""
    lines = csv_lines(store, athlete_id)
    while some := list(itertools.islice(lines, _LINES_A_WRITE)):
        stream.write("".join(some).encode())


def write_parquet(store: Store, path: Path, athlete_id: int | None = None) -> None:
    """Write the table as Parquet, whole or not at all. Raises ``InputError`` where pyarrow is missing."""
    try:
        import pyarrow
        import pyarrow.csv
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "Parquet needs pyarrow, which is not installed: pip install 'brakebeat[parquet]', or take CSV"
        ) from error
    text = io.BytesIO()
    write_csv(store, text, athlete_id)
    kinds = {name: pyarrow.float64() for name in HEADINGS}
    words = ("athlete", "exercise", "rig", "engine", "engine_version", "set_uid", *_TEXTS)
    kinds |= {name: pyarrow.string() for name in words}
    whole = ("session", "set", "rep", "rep_index", *(name for name in HEADINGS if name.endswith("_us")))
    kinds |= {name: pyarrow.int64() for name in whole}
    kinds |= {name: pyarrow.bool_() for name in ("momentum", "taken_out")}
    kinds["set_started"] = pyarrow.timestamp("ms", tz="UTC")
    options = pyarrow.csv.ConvertOptions(column_types=kinds, strings_can_be_null=True)
    parsing = pyarrow.csv.ParseOptions(newlines_in_values=True)
    text.seek(0)
    flat = pyarrow.csv.read_csv(text, convert_options=options, parse_options=parsing)
    with replacing(path) as unfinished:
        pyarrow.parquet.write_table(flat, unfinished)


def export_csv(store: Store, path: Path, athlete_id: int | None = None) -> None:
    """Write the table as a CSV file, whole or not at all."""
    with atomic_write(path) as stream:
        write_csv(store, stream, athlete_id)
