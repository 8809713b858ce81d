"""Lets CPython run the firmware's files unchanged: ``python cpython_shim.py SCRIPT ARGUMENT…``.

MicroPython's ``micropython`` module and viper's pointer types are stood in for. They are set up before anything else
is imported, since the PyPI package that brings the VM also puts a module named ``micropython`` on CPython's path.
"""

from __future__ import annotations

import builtins
import runpy
import sys
import time
import types
from typing import Any


def _unchanged(value: Any) -> Any:
    return value


def install() -> None:
    """Make ``import micropython``, viper's types and MicroPython's clock functions work in this process."""
    module = types.ModuleType("micropython")
    for name in ("const", "viper", "native"):
        setattr(module, name, _unchanged)
    module.alloc_emergency_exception_buf = lambda size: None  # type: ignore[attr-defined]
    module.schedule = lambda function, argument: function(argument)  # type: ignore[attr-defined]
    sys.modules["micropython"] = module
    for name in ("ptr8", "ptr16", "ptr32"):
        setattr(builtins, name, _unchanged)
    clock: Any = time
    clock.ticks_us = lambda: time.perf_counter_ns() // 1000 & 0x3FFFFFFF
    clock.ticks_ms = lambda: time.perf_counter_ns() // 1_000_000 & 0x3FFFFFFF
    clock.ticks_diff = lambda later, earlier: ((later - earlier + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    clock.ticks_add = lambda ticks, delta: (ticks + delta) & 0x3FFFFFFF
    clock.sleep_ms = lambda ms: time.sleep(ms / 1000)
    clock.sleep_us = lambda us: time.sleep(us / 1_000_000)


if __name__ == "__main__":
    install()
    sys.argv = sys.argv[1:]
    runpy.run_path(sys.argv[0], run_name="__main__")
