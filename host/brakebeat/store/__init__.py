"""The store: who trained what and when, each rep's figures, and the raw edges that they came from.

One SQLite file. ``open_store`` gives a ``Store``; everything else takes it as its first argument:

* ``catalog``: athletes, exercises, rigs, plans
* ``sessions``: sessions, sets, reps, cues, raw edges as they happen
* ``queries``: sessions and sets as they are now
* ``changes``: edits, deletions, notes, and undoing them
* ``computing``: a recording looked at and stored, stored edges looked at again
* ``table``, ``parquet``, ``whole``, ``merge``: CSV, Parquet, JSON, and JSON back again
"""

from brakebeat.store.connection import Store, open_store
from brakebeat.store.errors import StoreError
from brakebeat.store.location import STORE_VARIABLE, store_path
from brakebeat.store.queries import SessionSummary, StoredSet
from brakebeat.store.rep_rows import StoredRep

__all__ = [
    "STORE_VARIABLE",
    "SessionSummary",
    "Store",
    "StoreError",
    "StoredRep",
    "StoredSet",
    "open_store",
    "store_path",
]
