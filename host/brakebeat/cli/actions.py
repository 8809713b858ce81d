"""A command's sub-commands, what the help says of each, and what is said of a call that is none."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Iterable
from typing import Any, NoReturn


class Parser(argparse.ArgumentParser):
    """Says what is wrong beside the usage of the very sub-command that was called, and what may have been meant."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As argparse has it; but what is unknown to a sub-command is its own error, not that of the whole."""
        found, unknown = super().parse_known_args(args, namespace)
        if unknown:
            hints = [meant for word in unknown if (meant := _meant(word, self._option_string_actions))]
            self.error(f"unknown: {' '.join(unknown)}{''.join(hints)}")
        return found, unknown

    def error(self, message: str) -> NoReturn:
        """As argparse has it, with its words for programmers put into plain ones."""
        for kind, plain in (("int", "a whole number"), ("float", "a number")):
            head, found, value = message.partition(f"invalid {kind} value: ")
            if found:
                message = f"{head}{value}: {plain} is needed"
        super().error(message)

    def no_such(self, what: str, word: str, known: Iterable[str]) -> NoReturn:
        """End with exit code 2: ``word`` is none of the ``known`` ones."""
        meant = _meant(word, known) or ";"
        self.error(f"no such {what}: {word}{meant} `{self.prog} --help` lists them")


def _meant(word: str, known: Iterable[str]) -> str:
    """A question, where a known word is close."""
    near = difflib.get_close_matches(word.partition("=")[0], list(known), 1)
    return f"; did you mean {near[0]}?" if near else ""


def choices(names: Iterable[str]) -> str:
    """Names of sub-commands as usage lines and errors show them."""
    return f"{{{','.join(names)}}}"


def add_action(actions: Any, name: str, summary: str) -> argparse.ArgumentParser:
    """A parser for ``name`` among ``actions`` (``add_subparsers``), with ``summary`` in both helps."""
    parser: argparse.ArgumentParser = actions.add_parser(
        name, help=summary, description=summary[0].upper() + summary[1:] + "."
    )
    return parser
