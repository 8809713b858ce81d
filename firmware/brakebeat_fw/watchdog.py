"""The watchdog resets a board that hangs. Once started it never stops, so someone has to feed it at every prompt too.

A timer feeds it. `boot.py` calls `idle`: from then on without end. Once the app runs, only while its main loop, or
the session at each turnaround, has called `feed` not too long ago: working out a rep may take a slow board longer
than any watchdog waits. Whoever stops the app (Ctrl-C, or a computer that takes over and resets softly, which runs
`boot.py` again) is back at `idle`.
"""

from micropython import const

# The longest that an RP2040 can wait is 8388 ms.
_TIMEOUT_MS = 8000
_FEED_MS = 1000
# Seconds that main loop and session may be away.
_PATIENCE = const(30)
_WITHOUT_END = const(-1)

_dog = None  # type: Any
_timer = None  # type: Any
_left = _WITHOUT_END


def feed():
    # type: () -> None
    """The program does not hang."""
    global _left
    _left = _PATIENCE


def _pass_on(_timer):
    # type: (object) -> None
    global _left
    if _left:
        if _left > 0:
            _left -= 1
        _dog.feed()


def idle(machine):
    # type: (Any) -> None
    """Start it, fed whatever else happens. Nothing on a machine without one."""
    global _dog, _timer, _left
    _left = _WITHOUT_END
    if machine is None or _timer:
        return
    try:
        _dog = _dog or machine.WDT(timeout=_TIMEOUT_MS)
        # The RP2 has virtual timers only, which have the number -1; the ESP32's are counted from 0.
        number = -1 if hasattr(machine.Pin, "ALT_PIO0") else 0
        _timer = machine.Timer(number, mode=machine.Timer.PERIODIC, period=_FEED_MS, callback=_pass_on)
    except (AttributeError, ValueError, OSError) as error:
        print("brakebeat: no watchdog (%s)" % error)
