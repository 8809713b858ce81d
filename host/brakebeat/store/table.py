"""The store as one flat table, a row a rep, for other programs: as CSV (``parquet`` writes it as Parquet)."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import IO, Any

import orjson

from brakebeat.formats.atomic import atomic_write
from brakebeat.store.cells import shielded
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
# Those of them that somebody, or another program, has put into words.
FREE_TEXT = frozenset(("athlete", "exercise", "rig", "engine", "engine_version", "set_uid", "session_uid"))
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
# A ratio as text, since it is worked out here and would show more digits than the 15 that all else has.
_CELLS = ", ".join(
    ["rep." + name for name in NUMBER_COLUMNS]
    + [f"CAST({ratio} AS TEXT)" for ratio in RATIOS]
    + ["rep." + name for name in TEXT_COLUMNS]
)


@dataclass(frozen=True)
class Chosen:
    """The sets of the table in order.

    ``rows``: the values of ``SET_COLUMNS``, ``set_started`` in milliseconds since 1970 UTC; then the local clock's
    offset in minutes. ``taken_out``: numbers of the reps that were taken out by hand, by the set's place.
    """

    rows: list[tuple[Any, ...]]
    taken_out: dict[int, set[int]]


def chosen_sets(store: Store, athlete_id: int | None) -> Chosen:
    """The sets of the table, inside ``reading()``; ``reps`` gives their reps."""
    where, values = ("", ()) if athlete_id is None else ("WHERE athlete_id = ?", (athlete_id,))
    pulses = dict(store.stream("SELECT id, json_extract(document, '$.pulses_per_rev') FROM rig"))
    sql = (
        "SELECT session_id, position, athlete, exercise, rig, inertia_kg_m2, started_ms, engine, engine_version, uid,"
        " session_uid, rig_id, utc_offset_min, id, computation_id FROM live_set"
        f" {where} ORDER BY started_ms, session_id, position"
    )
    rows, keys = [], []
    for place, (*cells, rig_id, offset_min, set_id, computation_id) in enumerate(store.stream(sql, values)):
        rows.append((*cells, pulses[rig_id], offset_min))
        keys.append((place, set_id, computation_id))
    # In a table of its own, the sets' order is that of its key and nothing needs sorting.
    store.write(
        "CREATE TEMP TABLE chosen_set (place INTEGER PRIMARY KEY, id INTEGER, computation_id INTEGER)"
    )
    store.write_many("INSERT INTO temp.chosen_set VALUES (?, ?, ?)", keys)
    return Chosen(rows, _taken_out(store))


def reps(store: Store, cells: str) -> Iterator[list[tuple[Any, ...]]]:
    """(set's place, the SQL expressions ``cells``) of the chosen sets' reps in order, some hundred at a time."""
    return store.batches(
        f"SELECT chosen.place, {cells} FROM temp.chosen_set AS chosen"
        " CROSS JOIN rep ON rep.computation_id = chosen.computation_id ORDER BY chosen.place, rep.rep_index"
    )


def _taken_out(store: Store) -> dict[int, set[int]]:
    """Numbers, from 1, of the reps that were taken out by hand, by their set's place."""
    sql = (
        "SELECT chosen.place, (SELECT count(*) FROM rep AS before WHERE before.computation_id = rep.computation_id"
        " AND before.rep_index <= rep.rep_index) FROM rep_mark"
        " JOIN temp.chosen_set AS chosen ON chosen.id = rep_mark.set_id"
        " JOIN rep ON rep.computation_id = chosen.computation_id"
        " AND rep.start_us <= rep_mark.at_us AND rep_mark.at_us < rep.end_us WHERE rep_mark.deleted_ms IS NULL"
    )
    found: dict[int, set[int]] = {}
    for place, number in store.stream(sql):
        found.setdefault(place, set()).add(number)
    return found


def csv_pieces(store: Store, athlete_id: int | None = None) -> Iterator[str]:
    """The table as CSV (RFC 4180 but for the line ends, which are newlines): headings, then some hundred
    lines at a time.

    Numbers carry 15 digits; what is unknown is empty. Flags of a rep are parted by blanks. Free text that a
    spreadsheet would take for a formula has an apostrophe in front (``cells``); an import takes it off again.
    """
    yield ",".join(HEADINGS) + "\n"
    with store.reading():
        chosen = chosen_sets(store, athlete_id)
        prefixes = _prefixes(chosen)
        place, number = -1, 0
        for some in reps(store, _CELLS):
            # Without its brackets and quotes JSON is a piece of a CSV line: texts of reps are words that need none.
            text = orjson.dumps(some).decode()[2:-2].replace("null", "").replace('"', "")
            lines = []
            for row, line in zip(some, text.split("],["), strict=True):
                if row[0] != place:
                    place, number = row[0], 0
                    prefix, out = prefixes[place], chosen.taken_out.get(place, ())
                    # The place was for us only.
                    skipped = len(str(place)) + 1
                number += 1
                lines.append(f"{prefix},{number},{1 if number in out else 0},{line[skipped:]}\n")
            yield "".join(lines)


def _prefixes(chosen: Chosen) -> list[str]:
    """Each set's part of its reps' lines."""
    lines: list[str] = []
    # A csv.writer hands over each line in one piece, and quotes those ends of lines only that it writes itself.
    ends = "\r\n"
    writer = csv.writer(
        SimpleNamespace(write=lambda line: lines.append(line[: -len(ends)])), lineterminator=ends
    )
    at = SET_COLUMNS.index("set_started")
    free_text = [place for place, name in enumerate(SET_COLUMNS) if name in FREE_TEXT]
    for *cells, offset_min in chosen.rows:
        cells[at] = from_stored(cells[at], offset_min).isoformat(timespec="milliseconds")
        for place in free_text:
            cells[place] = cells[place] and shielded(cells[place])
        writer.writerow(cells)
    return lines


def write_csv(store: Store, stream: IO[bytes], athlete_id: int | None = None) -> None:
    """Write the table as UTF-8 CSV."""
    for piece in csv_pieces(store, athlete_id):
        stream.write(piece.encode())


def export_csv(store: Store, path: Path, athlete_id: int | None = None) -> None:
    """Write the table as a CSV file, whole or not at all."""
    with atomic_write(path) as stream:
        write_csv(store, stream, athlete_id)
