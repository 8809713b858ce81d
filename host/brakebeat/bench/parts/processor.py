"""Processor time: what other programs on the computer hardly add to."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from typing import TypeVar

Result = TypeVar("Result")


def processor_s(work: Callable[[], Result]) -> tuple[Result, float]:
    """What ``work`` gives, and the processor seconds of this process and of the children it started and waited for."""
    before_s = _used_s()
    result = work()
    return result, _used_s() - before_s


def _used_s() -> float:
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime
