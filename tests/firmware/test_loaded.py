"""The stand-ins that let CPython import the firmware are gone once it is imported."""

import builtins
import sys
import time

from tests.firmware.loaded import detector, shimmed


def test_leaves_no_trace():
    before = sys.modules.get("micropython"), set(vars(builtins)), set(vars(time))
    with shimmed():
        assert sys.modules["micropython"].const(7) == 7
        assert time.ticks_diff(5, 2**30 - 5) == 10  # type: ignore[attr-defined]
    assert (sys.modules.get("micropython"), set(vars(builtins)), set(vars(time))) == before
    assert detector.STATE_SIZE > 0
