"""Runs on the VM: the driver of replays, with each call that the session takes longer over inside ``re.sub``.

Nothing else here uses ``re``, so that callgrind can count what happens inside its C function, call by call.
Arguments: the firmware's folder, the driver.
"""

import re
import sys

sys.path.insert(0, sys.argv[1])

from brakebeat_fw import session, ticks


class Watched(session.Session):
    """A session whose calls are counted: ``feed``, and each ``poll`` that looks at more than the clock."""

    _inside = False

    def feed(self, times, steps, count):
        # type: (Any, Any, int) -> None
        self._counted(super().feed, times, steps, count)

    def poll(self, now_ticks):
        # type: (int) -> None
        if 0 < (self._due - now_ticks) & ticks.MASK <= self._ahead_us:
            super().poll(now_ticks)
        else:
            self._counted(super().poll, now_ticks)

    def _counted(self, call, *arguments):
        # type: (Any, *Any) -> None
        if self._inside:
            call(*arguments)
            return
        self._inside = True
        re.sub("x", lambda _: call(*arguments) or "", "x")
        self._inside = False


session.Session = Watched
with open(sys.argv[2]) as driver:
    exec(driver.read())
