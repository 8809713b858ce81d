"""Athletes, exercises, rigs and plans: who, what, on which wheel, according to what."""

from __future__ import annotations

import difflib
import hashlib
import json
import uuid
from collections.abc import Sequence
from typing import Any, Literal

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig
from brakebeat.store.clock import now_ms
from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import exportable

Named = Literal["athlete", "exercise"]
_LONGEST_NAME = 80
# How much two names are alike, by difflib, for one to be taken for the other mistyped.
_MUCH_LIKE = 0.8


def new_uid() -> str:
    """What makes a new row itself, in whichever store it ends up."""
    return uuid.uuid4().hex


def checked_name(kind: str, name: str) -> str:
    """``name`` without outer blanks. Raises ``InputError`` for one that no table could show."""
    plain = " ".join(name.split())
    if not plain or len(plain) > _LONGEST_NAME or not plain.isprintable():
        raise InputError(f"{kind} {name!r}: give a name of 1 to {_LONGEST_NAME} printable characters")
    if plain.isdecimal() or ":" in plain:
        raise InputError(f"{kind} {name!r}: a name is not a number and has no colon; add a word")
    return plain


def add_named(store: Store, kind: Named, name: str, uid: str | None = None) -> int:
    """A new athlete or exercise; returns its id. Raises ``InputError`` where the name is taken."""
    plain = checked_name(kind, name)
    with store.writing():
        if _named_id(store, kind, plain) is not None:
            raise InputError(f"{kind} {plain!r} is there already; use it, or add another name")
        return store.insert(kind, {"uid": uid or new_uid(), "name": plain, "created_ms": now_ms()})


def find_named(store: Store, kind: Named, name: str) -> int:
    """The id of an athlete or exercise, upper or lower case. Raises ``InputError`` with a suggestion."""
    found = _named_id(store, kind, " ".join(name.split()))
    if found is not None:
        return found
    names = [row["name"] for row in list_named(store, kind)]
    close = [each for each in names if name.lower() in each.lower()] or difflib.get_close_matches(
        name, names, 1
    )
    hint = f"did you mean {close[0]!r}?" if close else f"there are: {', '.join(names) or 'none yet'}"
    raise InputError(f"{kind} {name!r}: not in {store.path}; {hint}")


def much_like(known: Sequence[str], name: str) -> str | None:
    """A known name that ``name`` may be a slip of the finger for; None where it is known itself, or like none."""
    by_small_letters = {each.lower(): each for each in known}
    if name.lower() in by_small_letters:
        return None
    close = difflib.get_close_matches(name.lower(), by_small_letters, 1, _MUCH_LIKE)
    return by_small_letters[close[0]] if close else None


def named(store: Store, kind: Named, name: str) -> int:
    """The id of an athlete or exercise, made if it is new."""
    with store.writing():
        found = _named_id(store, kind, " ".join(name.split()))
        return add_named(store, kind, name) if found is None else found


def list_named(store: Store, kind: Named) -> list[dict[str, Any]]:
    """Every athlete or exercise: id, uid, name, in order of the name."""
    rows = store.rows(
        f"SELECT id, uid, name FROM {kind} WHERE deleted_ms IS NULL ORDER BY name COLLATE NOCASE"
    )
    return [dict(row) for row in rows]


def _named_id(store: Store, kind: Named, name: str) -> int | None:
    row = store.row(f"SELECT id FROM {kind} WHERE name = ? COLLATE NOCASE AND deleted_ms IS NULL", (name,))
    return None if row is None else row["id"]


def rig_id(store: Store, rig: Rig) -> int:
    """The id of the rig with exactly these settings, made if it is new."""
    document = rig.model_dump_json(exclude_none=True)
    uid = hashlib.sha256(document.encode()).hexdigest()
    with store.writing():
        row = store.row("SELECT id FROM rig WHERE uid = ?", (uid,))
        if row is not None:
            return row["id"]
        return store.insert(
            "rig",
            {
                "uid": uid,
                "name": rig.name,
                "inertia_kg_m2": exportable(rig.inertia_kg_m2),
                "document": document,
                "created_ms": now_ms(),
            },
        )


def load_rig(store: Store, identity: int) -> Rig:
    """The rig with this id. Raises InputError where there is none."""
    row = store.row("SELECT document FROM rig WHERE id = ?", (identity,))
    if row is None:
        raise InputError(f"{store.path}: there is no rig {identity}")
    return Rig.model_validate_json(row["document"])


def add_plan(store: Store, athlete_id: int, document: dict[str, Any], uid: str | None = None) -> int:
    """Keep a plan (``training.plan``) for an athlete; returns its id."""
    with store.writing():
        return store.insert(
            "plan",
            {
                "uid": uid or new_uid(),
                "athlete_id": athlete_id,
                "document": json.dumps(document, allow_nan=False),
                "created_ms": now_ms(),
            },
        )


def plans(store: Store, athlete_id: int) -> list[tuple[int, dict[str, Any]]]:
    """(id, document) of an athlete's plans, the newest first."""
    rows = store.rows(
        "SELECT id, document FROM plan WHERE athlete_id = ? AND deleted_ms IS NULL ORDER BY id DESC",
        (athlete_id,),
    )
    return [(row["id"], json.loads(row["document"])) for row in rows]
