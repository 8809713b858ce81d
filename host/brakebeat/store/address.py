"""How people name what is in the store: `3` a session, `3.2` its second set, `3.2.5` that set's fifth rep;
`athlete:NAME`, `exercise:NAME`, `note:4`, `plan:2`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from brakebeat.errors import InputError
from brakebeat.store.catalog import find_named
from brakebeat.store.connection import Store
from brakebeat.store.queries import StoredSet, sets
from brakebeat.store.rep_rows import StoredRep
from brakebeat.wording import counted

Kind = Literal["session", "work_set", "rep", "athlete", "exercise", "note", "plan"]


@dataclass(frozen=True)
class Address:
    """One thing in the store: its table, its row's id (a rep's: its set's), and what people call it."""

    kind: Kind
    id: int
    words: str
    rep: StoredRep | None = None


def find(store: Store, text: str) -> Address:
    """What ``text`` names. Raises ``InputError`` where it names nothing."""
    kind, colon, name = text.partition(":")
    if colon:
        return _by_name(store, text, kind, name)
    numbers = re.fullmatch(r"([0-9]{1,9})(?:\.([0-9]{1,6}))?(?:\.([0-9]{1,6}))?", text)
    if numbers is None:
        raise _nameless(text)
    session, set_position, rep_number = (None if part is None else int(part) for part in numbers.groups())
    assert session is not None
    if set_position is None:
        find_session(store, session)
        return Address("session", session, f"session {session}")
    found = find_set(store, session, set_position)
    if rep_number is None:
        return Address("work_set", found.id, f"set {set_position} of session {session}")
    reps = {rep.number: rep for rep in found.reps}
    if rep_number not in reps:
        raise InputError(
            f"{text}: that set has {counted(len(reps), 'rep')}; `brakebeat log show {session}` lists them"
        )
    words = f"rep {rep_number} of set {set_position} of session {session}"
    return Address("rep", found.id, words, reps[rep_number])


def find_session(store: Store, number: int) -> None:
    """Raises ``InputError`` where there is no such session."""
    if store.row("SELECT 1 FROM live_session WHERE id = ?", (number,)) is None:
        raise InputError(f"session {number}: not in {store.path}; `brakebeat log` lists what is there")


def find_set(store: Store, session: int, position: int) -> StoredSet:
    """A session's set by its position, which counts from 1. Raises InputError where there is none."""
    find_session(store, session)
    for each in sets(store, session_id=session):
        if each.position == position:
            return each
    raise InputError(
        f"{session}.{position}: the session has no such set; `brakebeat log show {session}` lists them"
    )


def _by_name(store: Store, text: str, kind: str, name: str) -> Address:
    if kind == "athlete":
        return Address("athlete", find_named(store, "athlete", name), f"athlete {name}")
    if kind == "exercise":
        return Address("exercise", find_named(store, "exercise", name), f"exercise {name}")
    if re.fullmatch(r"[0-9]{1,9}", name):
        if kind == "note":
            return _row(store, "note", int(name))
        if kind == "plan":
            return _row(store, "plan", int(name))
    raise _nameless(text)


def _nameless(text: str) -> InputError:
    return InputError(
        f"{text!r}: name a session (3), a set (3.2), a rep (3.2.5), athlete:NAME, exercise:NAME, "
        "note:NUMBER or plan:NUMBER"
    )


def _row(store: Store, kind: Literal["note", "plan"], number: int) -> Address:
    if store.row(f"SELECT 1 FROM {kind} WHERE id = ? AND deleted_ms IS NULL", (number,)) is None:
        raise InputError(f"{kind}:{number}: not in {store.path}; `brakebeat log show` lists what is there")
    return Address(kind, number, f"{kind} {number}")
