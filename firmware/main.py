"""What a board runs at power-up. It lies on the board beside the folder `brakebeat_fw` and `rig.toml`."""

import sys
import time

try:
    from brakebeat_fw import app

    app.main()
except Exception as error:
    # Nothing is meant to come here. Say what it was, then start again rather than lie dead on the shaft.
    if hasattr(sys, "print_exception"):
        sys.print_exception(error)
    else:
        print("brakebeat:", repr(error))
    time.sleep(5)
    from brakebeat_fw import ports

    machine = ports.pins()
    if machine is None:
        raise
    machine.reset()
