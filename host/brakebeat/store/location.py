"""Where the store is: a file named on the command line, by the environment, or in the user's data folder."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from platformdirs import user_data_path

STORE_VARIABLE = "BRAKEBEAT_STORE"


def store_path(named: str | os.PathLike[str] | None = None) -> Path:
    """The store's file: ``named``, else what BRAKEBEAT_STORE names, else the user's own."""
    chosen = named or os.environ.get(STORE_VARIABLE)
    if chosen:
        return Path(chosen)
    return user_data_path("brakebeat", appauthor=False) / "log.brakebeat"


def add_store_option(parser: argparse.ArgumentParser, default: str | None = None) -> None:
    """The ``--store FILE`` option of each command that uses the store."""
    parser.add_argument(
        "--store",
        metavar="FILE",
        default=default,
        help=f"the store's file; without it {STORE_VARIABLE}, or the one in your data folder",
    )
