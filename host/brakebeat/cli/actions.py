"""A command's sub-commands, and what the help says of each."""

from __future__ import annotations

import argparse
from typing import Any


def add_action(actions: Any, name: str, summary: str) -> argparse.ArgumentParser:
    """A parser for ``name`` among ``actions`` (``add_subparsers``), with ``summary`` in both helps."""
    parser: argparse.ArgumentParser = actions.add_parser(
        name, help=summary, description=summary[0].upper() + summary[1:] + "."
    )
    return parser
