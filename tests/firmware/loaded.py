"""The firmware's detector and what stands on it, imported into the tests' own Python and leaving no trace."""

import builtins
import contextlib
import sys
import time
from collections.abc import Iterator

from brakebeat.board import cpython_shim

# Puts the firmware on the path and imports what needs no stand-in, its clocks above all.
from tests.board_app import firmware as _plain

_POINTERS = ("ptr8", "ptr16", "ptr32")


@contextlib.contextmanager
def shimmed() -> Iterator[None]:
    """MicroPython's own module, pointer types and clocks exist inside, and are gone or as before afterwards."""
    module = sys.modules.get("micropython")
    clock, names = dict(vars(time)), {name: vars(builtins).get(name) for name in _POINTERS}
    cpython_shim.install()
    try:
        yield
    finally:
        del sys.modules["micropython"]
        if module is not None:
            sys.modules["micropython"] = module
        for name in vars(time).keys() - clock.keys():
            delattr(time, name)
        for name, value in names.items():
            if value is None:
                delattr(builtins, name)
            else:
                setattr(builtins, name, value)


with shimmed():
    from brakebeat_fw import (
        course,
        curve,
        detector,
        edges,
        effort,
        figures,
        fit,
        mending,
        onset,
        polynomial,
        record,
        reps,
        rigfile,
        rise,
        search,
        session,
        side,
        spacing,
        stored,
        stretch,
        ticks,
        turnaround,
        zero,
    )

wire = _plain.wire

__all__ = [
    "course",
    "curve",
    "detector",
    "edges",
    "effort",
    "figures",
    "fit",
    "mending",
    "onset",
    "polynomial",
    "record",
    "reps",
    "rigfile",
    "rise",
    "search",
    "session",
    "shimmed",
    "side",
    "spacing",
    "stored",
    "stretch",
    "ticks",
    "turnaround",
    "wire",
    "zero",
]
