"""``brakebeat log``: what was trained; list, show, note, edit, delete, undo, recompute, back up."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from brakebeat.cli.actions import add_action
from brakebeat.store.location import add_store_option

if TYPE_CHECKING:
    from collections.abc import Callable

    from brakebeat.store import Store

_WHAT = "3 is a session, 3.2 its second set, 3.2.5 a rep; athlete:NAME, exercise:NAME, note:4, plan:2"
# action -> (help, arguments)
_ACTIONS: dict[str, tuple[str, tuple[tuple[str, dict[str, object]], ...]]] = {
    "list": (
        "sessions, the newest first (what `brakebeat log` alone does)",
        (
            ("--athlete", {"metavar": "NAME", "help": "only this athlete's"}),
            ("--since", {"metavar": "DATE", "help": "from this day on"}),
            ("--until", {"metavar": "DATE", "help": "up to this day"}),
            ("--limit", {"type": int, "default": 20, "metavar": "N", "help": "at most so many; 0: all"}),
        ),
    ),
    "show": (
        "a session, a set, an athlete or an exercise with all that is in it",
        (("what", {"metavar": "WHAT", "help": _WHAT}),),
    ),
    "names": ("athletes and exercises", ()),
    "note": (
        "write a note on an athlete, a session or a set",
        (("what", {"metavar": "WHAT", "help": _WHAT}), ("text", {"metavar": "TEXT", "help": "the note"})),
    ),
    "edit": (
        "change what was written down",
        (
            ("what", {"metavar": "WHAT", "help": _WHAT}),
            (
                "values",
                {
                    "metavar": "KEY=VALUE",
                    "nargs": "+",
                    "help": "session: athlete=, started=, plan=; set: exercise=, rig=FILE; "
                    "athlete, exercise: name=; note: text=",
                },
            ),
        ),
    ),
    "delete": (
        "take something away (asks first; `undo` brings it back)",
        (
            ("what", {"metavar": "WHAT", "help": _WHAT}),
            ("--yes", {"action": "store_true", "help": "do not ask"}),
        ),
    ),
    "undo": (
        "take back the last change, or another one",
        (("change", {"metavar": "CHANGE", "nargs": "?", "type": int, "help": "its number"}),),
    ),
    "changes": ("what was changed, the newest first", ()),
    "recompute": (
        "work the figures out anew from the raw edges",
        (
            ("what", {"metavar": "SESSION", "nargs": "?", "type": int, "help": "only this one"}),
            ("--engine", {"choices": ("reference", "firmware"), "default": "reference", "help": "by whom"}),
        ),
    ),
    "backup": ("copy the whole store", (("out", {"metavar": "FILE", "help": "where to"}),)),
    "verify": ("check the store's file", ()),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The actions and their arguments; without one, it is `list`."""
    _add(parser, "list")
    actions = parser.add_subparsers(dest="action", metavar="ACTION")
    for each in (parser, *(_action(actions, name) for name in _ACTIONS)):
        each.add_argument(
            "--json",
            action="store_true",
            default=argparse.SUPPRESS,
            help="print one JSON document and nothing else",
        )
        # What stands before the action holds too.
        add_store_option(each, None if each is parser else argparse.SUPPRESS)


def _action(
    actions: argparse._SubParsersAction[argparse.ArgumentParser], name: str
) -> argparse.ArgumentParser:
    parser = add_action(actions, name, _ACTIONS[name][0])
    _add(parser, name)
    return parser


def _add(parser: argparse.ArgumentParser, action: str) -> None:
    for flag, options in _ACTIONS[action][1]:
        parser.add_argument(flag, **options)  # type: ignore[arg-type]


def run(args: argparse.Namespace) -> int:
    """Open the store and do what was asked."""
    from brakebeat.store import open_store
    from brakebeat.store.log import actions

    args.json = getattr(args, "json", False)
    do: Callable[[Store, argparse.Namespace], int] = actions()[args.action or "list"]
    with open_store(args.store, create=False) as store:
        return do(store, args)
