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
        _interrupt()

    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    taken = [number for number in numbers if signal.getsignal(number) is signal.SIG_DFL]
    held = _hold_ignored_ctrl_c()
    for number in taken:
        signal.signal(number, end)
    try:
        yield came
    finally:
        for number in taken:
            signal.signal(number, signal.SIG_DFL)
        if held:
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _hold_ignored_ctrl_c() -> bool:
    """Where Ctrl-C is ignored (a shell's background), hold it back instead; whether that was so.

    Nothing comes through either way, but asyncio then takes it up, and ends in order once it is let through.
    """
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN or not hasattr(signal, "pthread_sigmask"):
        return False
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    signal.signal(signal.SIGINT, signal.default_int_handler)
    return True


def _interrupt() -> None:
    """As if Ctrl-C had been pressed; one that waits already is let through."""
    waiting = False
    if hasattr(signal, "pthread_sigmask"):
        waiting = signal.SIGINT in signal.sigpending()
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    if not waiting:
        signal.raise_signal(signal.SIGINT)
