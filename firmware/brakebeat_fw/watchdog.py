"""The watchdog resets a board that hangs. Once started it never stops, so someone has to feed it at every prompt too.

`boot.py` calls `idle`, which lets a timer feed; the app calls `work`, from then on only its main loop does. Whoever
stops the app (Ctrl-C, or a computer that takes over and resets softly, which runs `boot.py` again) is back at `idle`.
"""

# The longest that an RP2040 can wait is 8388 ms.
_TIMEOUT_MS = 8000
_FEED_MS = 1000

_dog = None  # type: Any
_timer = None  # type: Any


def feed(_=None):
    # type: (object) -> None
    """Nothing hangs."""
    if _dog:
        _dog.feed()


def idle(machine):
    # type: (Any) -> None
    """Start it, fed by a timer whatever else happens. Nothing on a machine without one."""
    global _dog, _timer
    if machine is None or _timer:
        return
    try:
        _dog = _dog or machine.WDT(timeout=_TIMEOUT_MS)
        # The RP2 has virtual timers only, which have the number -1; the ESP32's are counted from 0.
        number = -1 if hasattr(machine.Pin, "ALT_PIO0") else 0
        _timer = machine.Timer(number, mode=machine.Timer.PERIODIC, period=_FEED_MS, callback=feed)
    except (AttributeError, ValueError, OSError) as error:
        print("brakebeat: no watchdog (%s)" % error)


def work():
    # type: () -> None
    """Fed by the main loop alone from here on."""
    global _timer
    if _timer:
        _timer.deinit()
        _timer = None
    feed()
