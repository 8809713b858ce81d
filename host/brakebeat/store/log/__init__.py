"""What ``brakebeat log`` does, one function an action."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from brakebeat.store.connection import Store

Action = Callable[[Store, argparse.Namespace], int]


def actions() -> dict[str, Action]:
    """Every action by name."""
    from brakebeat.store.log import changing, reading, upkeep

    return {
        "list": reading.list_sessions,
        "show": reading.show,
        "names": reading.names,
        "note": changing.note,
        "edit": changing.edit,
        "delete": changing.delete,
        "undo": changing.undo,
        "changes": changing.changes,
        "recompute": upkeep.recompute,
        "backup": upkeep.backup,
        "verify": upkeep.verify,
    }
