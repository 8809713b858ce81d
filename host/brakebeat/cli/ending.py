"""Being told to end, or losing the terminal, ends a command as Ctrl-C does: what is begun is put away first."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

# What a service manager or `kill` sends, and a terminal that closes. Windows has no SIGHUP.
_NAMES = ("SIGTERM", "SIGHUP")


@contextmanager
def ends_as_by_ctrl_c() -> Iterator[list[int]]:
    """In this block such a signal becomes a ``KeyboardInterrupt``; yields the numbers of those that came.

    A signal that is ignored or handled already (``nohup``) is left alone.
    """
    came: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield came
        return

    def end(number: int, _frame: FrameType | None) -> None:
        came.append(number)
        if callable(signal.getsignal(signal.SIGINT)):
            # asyncio cancels its main task on that one only.
            signal.raise_signal(signal.SIGINT)
        else:
            # A shell lets what it puts into the background ignore Ctrl-C.
            raise KeyboardInterrupt

    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    taken = [number for number in numbers if signal.getsignal(number) is signal.SIG_DFL]
    for number in taken:
        signal.signal(number, end)
    try:
        yield came
    finally:
        for number in taken:
            signal.signal(number, signal.SIG_DFL)
