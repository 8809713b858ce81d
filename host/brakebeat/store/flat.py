"""Takes the flat table (CSV or Parquet, as ``table`` and ``parquet`` write it) back into a store, each set once.

The table has the figures but neither raw edges, cues nor notes: a JSON export carries those.
"""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from brakebeat.errors import InputError, reason, unreadable
from brakebeat.formats.rig import Rig
from brakebeat.results import FLAGS, PhaseFigures, Rep
from brakebeat.store.catalog import checked_name, named
from brakebeat.store.cells import unshielded
from brakebeat.store.changes import created, mark_rep
from brakebeat.store.clock import to_stored
from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import PHASES
from brakebeat.store.sessions import add_reps, start_session, start_set
from brakebeat.store.table import FREE_TEXT, HEADINGS, SET_COLUMNS

Row = dict[str, Any]
_FIRST_BYTES = {b"PAR1": "parquet", b"sess": "csv"}


@dataclass(frozen=True)
class Taken:
    """What was new, and how many sets were there already."""

    sessions: int
    sets: int
    reps: int
    known: int


def is_flat(path: Path) -> bool:
    """Whether a file begins like the flat table. Raises InputError where it cannot be read."""
    try:
        with path.open("rb") as stream:
            return stream.read(7).removeprefix(b"\xef\xbb\xbf")[:4] in _FIRST_BYTES
    except OSError as error:
        raise unreadable(path, error) from error


def import_flat(store: Store, path: Path) -> Taken:
    """Take the sets that are not there yet, all or none. Raises ``InputError`` naming file and row."""
    sets = reps = known = 0
    new_sessions: dict[str, int] = {}
    made: list[tuple[str, int]] = []
    with store.writing():
        for _, some in itertools.groupby(_rows(path), key=lambda pair: pair[1]["set_uid"]):
            rows = list(some)
            if store.row("SELECT 1 FROM work_set WHERE uid = ?", (rows[0][1]["set_uid"],)) is not None:
                known += 1
                continue
            set_id = _set(store, path, rows, new_sessions)
            made.append(("work_set", set_id))
            sets, reps = sets + 1, reps + len(rows)
        made += [("session", identity) for identity in new_sessions.values()]
        if made:
            created(store, f"import of {path}", made)
    return Taken(len(new_sessions), sets, reps, known)


def _rows(path: Path) -> Iterator[tuple[int, Row]]:
    """(number, values) of each row; numbers as an editor counts a CSV's lines, a Parquet's rows from 1."""
    with path.open("rb") as stream:
        parquet = stream.read(4) == b"PAR1"
    yield from _parquet_rows(path) if parquet else _csv_rows(path)


def _csv_rows(path: Path) -> Iterator[tuple[int, Row]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.reader(stream, strict=True)
            _check_headings(path, next(reader, []))
            for cells in reader:
                if len(cells) != len(HEADINGS):
                    raise InputError(
                        f"{path}:{reader.line_num}: {len(cells)} values for {len(HEADINGS)} columns; export it again"
                    )
                row = dict(zip(HEADINGS, cells, strict=True))
                for name in FREE_TEXT:
                    row[name] = unshielded(row[name])
                yield reader.line_num, {name: cell if cell != "" else None for name, cell in row.items()}
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path}: cannot be read as CSV ({reason(error)}); export it again") from error


def _parquet_rows(path: Path) -> Iterator[tuple[int, Row]]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "Parquet needs pyarrow, which is not installed: pip install 'brakebeat[parquet]'"
        ) from error
    try:
        with pyarrow.parquet.ParquetFile(path) as file:
            _check_headings(path, file.schema_arrow.names)
            rows = (row for batch in file.iter_batches() for row in batch.to_pylist())
            yield from enumerate(rows, 1)
    except (OSError, pyarrow.ArrowException) as error:
        raise InputError(f"{path}: cannot be read as Parquet ({reason(error)}); export it again") from error


def _check_headings(path: Path, names: Iterable[str]) -> None:
    there = list(names)
    missing = [name for name in HEADINGS if name not in there]
    if missing or tuple(there) != HEADINGS:
        what = f"lacks {missing[0]!r}" if missing else "has its columns in another order"
        raise InputError(f"{path}: {what}; only what this `brakebeat export` writes comes back in")


def _set(store: Store, path: Path, rows: list[tuple[int, Row]], new_sessions: dict[str, int]) -> int:
    number, first = rows[0]
    where = f"{path}:{number}"
    try:
        changed = next((name for name in SET_COLUMNS for _, row in rows if row[name] != first[name]), None)
        if changed is not None:
            raise InputError(f"{changed}: differs within one set")
        reps = []
        for number, row in rows:
            where = f"{path}:{number}"
            reps.append(_rep(row))
        where = f"{path}:{rows[0][0]}"
        return _stored(store, first, reps, [row for _, row in rows], new_sessions)
    except InputError as error:
        raise InputError(f"{where}: {error}; nothing was taken in") from error
    except (ValidationError, ValueError, TypeError, OverflowError) as error:
        reason = error.errors()[0]["msg"] if isinstance(error, ValidationError) else error
        raise InputError(f"{where}: a value is of the wrong kind ({reason}); nothing was taken in") from error


def _stored(store: Store, first: Row, reps: list[Rep], rows: list[Row], new_sessions: dict[str, int]) -> int:
    started = first["set_started"]
    moment = started if isinstance(started, datetime) else datetime.fromisoformat(str(started))
    rig = Rig(
        name=first["rig"],
        pulses_per_rev=_whole(first, "pulses_per_rev"),
        inertia_kg_m2=_number(first, "inertia_kg_m2"),
    )
    session_id = _session(store, first, moment, new_sessions)
    exercise = named(store, "exercise", checked_name("exercise", str(first["exercise"])))
    engine, version = str(first["engine"]), str(first["engine_version"])
    set_id = start_set(store, session_id, exercise, rig, engine, version, to_stored(moment)[0])
    store.write("UPDATE work_set SET uid = ? WHERE id = ?", (str(first["set_uid"]), set_id))
    add_reps(store, set_id, reps, [_number(row, "extension_rad_s") for row in rows])
    for rep, row in zip(reps, rows, strict=True):
        if _truth(row, "taken_out"):
            mark_rep(store, set_id, rep.extension_us, "taken out before the import")
    return set_id


def _session(store: Store, first: Row, moment: datetime, new_sessions: dict[str, int]) -> int:
    uid = str(first["session_uid"])
    athlete = named(store, "athlete", checked_name("athlete", str(first["athlete"])))
    row = store.row("SELECT id, athlete_id FROM session WHERE uid = ?", (uid,))
    if row is None:
        identity = start_session(store, athlete, moment)
        store.write("UPDATE session SET uid = ? WHERE id = ?", (uid, identity))
        new_sessions[uid] = identity
        return identity
    if row["athlete_id"] != athlete:
        raise InputError(f"session_uid: is a session of another athlete than {first['athlete']!r}")
    identity = int(row["id"])
    return identity


def _rep(row: Row) -> Rep:
    timing, flags = row["brake_timing"], str(row["flags"] or "").split()
    if timing not in (None, "early", "inside", "late", "none"):
        raise InputError(f"brake_timing: {timing!r} is not known")
    if not set(flags) <= FLAGS.keys():
        raise InputError(f"flags: {row['flags']!r} are not all known")
    values: Row = {name: _whole(row, name) for name in ("start_us", "extension_us", "end_us", "peak_us")}
    values |= {name: _known(row, name) for name in ("peak_rad_s", "concentric_rad", "eccentric_rad")}
    for phase in PHASES:
        names = PhaseFigures.__dataclass_fields__
        values[phase] = PhaseFigures(**{name: _number(row, f"{phase}_{name}") for name in names})
    return Rep(
        index=_whole(row, "rep_index"),
        momentum=_truth(row, "momentum"),
        brake_onset_us=None if row["brake_onset_us"] is None else _whole(row, "brake_onset_us"),
        brake_fraction=_number(row, "brake_fraction"),
        brake_timing=timing,
        flags=flags,
        **values,
    )


def _read_as(kind: Callable[[Any], Any], row: Row, name: str) -> Any:
    try:
        return kind(row[name])
    except (TypeError, ValueError) as error:
        raise InputError(f"{name}: {row[name]!r} is no number") from error


def _whole(row: Row, name: str) -> int:
    value: int = _read_as(int, row, name)
    if abs(value) >= 2**53:
        raise InputError(f"{name}: {value} is too great")
    return value


def _number(row: Row, name: str) -> float | None:
    if row[name] is None:
        return None
    value: float = _read_as(float, row, name)
    if not math.isfinite(value):
        raise InputError(f"{name}: is not finite")
    return value


def _known(row: Row, name: str) -> float:
    value = _number(row, name)
    if value is None:
        raise InputError(f"{name}: is missing")
    return value


def _truth(row: Row, name: str) -> bool:
    if row[name] not in (True, False, 1, 0, "1", "0"):
        raise InputError(f"{name}: {row[name]!r} is neither 1 nor 0")
    return row[name] in (True, 1, "1")
