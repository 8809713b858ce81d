"""What a board runs at power-up. It lies on the board beside the folder `brakebeat_fw`, `boot.py` and `rig.toml`."""

import sys
import time


def start():
    """The app, for ever; a prompt instead where the button is held at power-up or someone presses Ctrl-C."""
    from brakebeat_fw import ports, watchdog

    if ports.held("rig.toml"):
        print("brakebeat: safe mode, the app is not started; reset the board to start it")
        return
    try:
        from brakebeat_fw import app

        watchdog.feed()
        app.main()
    finally:
        watchdog.idle(ports.pins())


try:
    start()
except Exception as error:
    # Nothing is meant to come here. Say what it was, then start again rather than lie dead on the shaft.
    if hasattr(sys, "print_exception"):
        sys.print_exception(error)
    else:
        print("brakebeat:", repr(error))
    time.sleep(5)
    import machine

    if not hasattr(machine, "reset"):
        raise
    machine.reset()
