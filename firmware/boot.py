"""Runs before main.py, and alone where a computer takes the board over: somebody has to feed the watchdog."""

try:
    from brakebeat_fw import ports, watchdog

    watchdog.idle(ports.pins())
except Exception as error:
    # A board without a watchdog still runs, and can be mended.
    print("brakebeat:", repr(error))
