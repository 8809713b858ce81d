"""Takes fetched reps (JSON lines of ``brakebeat fetch --out``) into a store, each once."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.rig import Rig
from brakebeat.results import FLAGS, BrakeTiming, Cue, CueKind, PhaseFigures, Rep
from brakebeat.store.arrivals import arrived_before, note_arrival
from brakebeat.store.catalog import named
from brakebeat.store.changes import created
from brakebeat.store.clock import to_stored
from brakebeat.store.connection import Store
from brakebeat.store.overlap import Recorded
from brakebeat.store.sessions import add_cue, add_rep, start_session, start_set

# Reps further apart than that are another session's.
_SAME_SESSION = timedelta(hours=3)
_STRICT = ConfigDict(strict=True, allow_inf_nan=False)
_Whole = Annotated[int, Field(ge=0, lt=2**53)]


class _Phase(BaseModel):
    model_config = _STRICT
    duration_s: float | None
    energy_j: float | None
    mean_power_w: float | None
    peak_power_w: float | None
    peak_torque_nm: float | None
    peak_force_n: float | None


class _Rep(BaseModel):
    model_config = _STRICT
    index: _Whole
    momentum: bool
    start_us: int
    extension_us: int
    end_us: int
    peak_us: int
    peak_rad_s: float
    concentric_rad: float
    eccentric_rad: float
    brake_onset_us: int | None
    brake_fraction: float | None
    brake_timing: BrakeTiming | None
    concentric: _Phase
    eccentric: _Phase
    flags: list[str]


class _Cue(BaseModel):
    model_config = _STRICT
    t_us: int
    rep: _Whole
    kind: CueKind


class _Line(BaseModel):
    model_config = _STRICT
    journal_id: _Whole
    sequence: _Whole
    boot: _Whole
    board: str
    started: str | None
    rep: _Rep
    cues: list[_Cue]


@dataclass(frozen=True)
class Fetched:
    """What was new."""

    sessions: int
    sets: int
    reps: int
    known: int


@dataclass(frozen=True)
class _Arrived:
    line: _Line
    rep: Rep
    started: datetime


def import_fetched(
    store: Store, path: Path, *, athlete: str, exercise: str, rig: Rig, unknown_at: datetime
) -> Fetched:
    """Take the reps that are not there yet, all or none; they become sets and sessions by the pauses between them.

    ``rig``: what they were pulled on. ``unknown_at``: when those began whose time no host ever knew. Raises
    ``InputError`` naming file and line.
    """
    arrived = _read(path, unknown_at)
    with store.writing():
        new = [one for one in arrived if not arrived_before(store, one.line.journal_id, one.line.sequence)]
        new = _not_recorded(store, new)
        if not new:
            return Fetched(0, 0, 0, len(arrived))
        athlete_id, exercise_id = named(store, "athlete", athlete), named(store, "exercise", exercise)
        made: list[tuple[str, int]] = []
        sessions = 0
        for session in _split(new, _other_session):
            session_id = start_session(store, athlete_id, session[0].started.astimezone())
            sessions += 1
            for some in _split(session, lambda a, b: _other_set(a, b, rig)):
                started_ms = to_stored(some[0].started)[0]
                set_id = start_set(store, session_id, exercise_id, rig, "board", "fetched", started_ms)
                made.append(("work_set", set_id))
                for one in some:
                    _add(store, set_id, one)
            made.append(("session", session_id))
        created(store, f"import of {path}", made)
    return Fetched(sessions, len(made) - sessions, len(new), len(arrived) - len(new))


def _not_recorded(store: Store, arrived: list[_Arrived]) -> list[_Arrived]:
    """Those that no recording in the store shows; the others are noted as having arrived."""
    recorded = Recorded(store) if arrived else None
    left = []
    for one in arrived:
        started_s = None if one.line.started is None else one.started.timestamp()
        there = None if recorded is None or started_s is None else recorded.rep_like(one.rep, started_s)
        if there is None:
            left.append(one)
        else:
            note_arrival(store, one.line.journal_id, one.line.sequence, *there)
    return left


def _add(store: Store, set_id: int, one: _Arrived) -> None:
    add_rep(store, set_id, one.rep)
    note_arrival(store, one.line.journal_id, one.line.sequence, set_id, one.rep.index)
    for cue in one.line.cues:
        add_cue(store, set_id, Cue(cue.t_us, cue.rep, cue.kind))


def _read(path: Path, unknown_at: datetime) -> list[_Arrived]:
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise unreadable(path, error) from error
    found = {}
    for number, text in enumerate(lines, 1):
        if text.strip():
            line = _line(text, f"{path}:{number}")
            found[line.journal_id, line.sequence] = line
    if not found:
        raise InputError(f"{path}: holds no rep; `brakebeat fetch --out {path.name}` fills it")
    arrived: list[_Arrived] = []
    for _, some in itertools.groupby(sorted(found), key=lambda key: (key[0], found[key].boot)):
        arrived += _placed([found[key] for key in some], unknown_at)
    return arrived


def _line(text: str, where: str) -> _Line:
    try:
        line = _Line.model_validate_json(text)
        if line.started is not None and datetime.fromisoformat(line.started).tzinfo is None:
            raise InputError(f"{where}: started: has no offset from UTC; fetch it again")
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "line"
        raise InputError(f"{where}: {place}: {first['msg']}; fetch it again, or remove the line") from error
    except ValueError as error:
        raise InputError(f"{where}: started: no date and time; fetch it again") from error
    if not set(line.rep.flags) <= FLAGS.keys():
        raise InputError(f"{where}: flags: {line.rep.flags} are not all known; update Brakebeat")
    if not line.rep.start_us <= line.rep.extension_us <= line.rep.end_us:
        raise InputError(f"{where}: rep: start, extension and end are not in order; remove the line")
    return line


def _placed(lines: list[_Line], unknown_at: datetime) -> Iterator[_Arrived]:
    """One power-up's reps with their times; those without one lie as the board's clock has them."""
    first_us = lines[0].rep.start_us
    for line in lines:
        values = line.rep.model_dump()
        rep = Rep(
            **{
                **values,
                "concentric": PhaseFigures(**values["concentric"]),
                "eccentric": PhaseFigures(**values["eccentric"]),
            }
        )
        if line.started is None:
            started = unknown_at + timedelta(microseconds=rep.start_us - first_us)
        else:
            started = datetime.fromisoformat(line.started)
        yield _Arrived(line, rep, started.astimezone(UTC))


def _split(some: list[_Arrived], parted: Callable[[_Arrived, _Arrived], bool]) -> Iterator[list[_Arrived]]:
    part = [some[0]]
    for before, now in itertools.pairwise(some):
        if parted(before, now):
            yield part
            part = []
        part.append(now)
    yield part


def _other_session(before: _Arrived, now: _Arrived) -> bool:
    other_board = before.line.journal_id != now.line.journal_id
    return other_board or not timedelta() <= now.started - before.started <= _SAME_SESSION


def _other_set(before: _Arrived, now: _Arrived, rig: Rig) -> bool:
    if before.line.boot != now.line.boot or (now.rep.momentum and not before.rep.momentum):
        return True
    return not 0 <= now.rep.start_us - before.rep.end_us <= rig.rest_gap_s * 1e6
