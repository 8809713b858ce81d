"""What the port under the firmware has: pins or none, a radio or a cable."""


def pins():
    """The `machine` module where it has pins, else None (a computer)."""
    try:
        import machine
    except ImportError:
        return None
    return machine if hasattr(machine, "Pin") else None


def link():
    """(BLE object, UUID class) to talk through, and what is wrong with that; a cable on a port without a radio."""
    try:
        import bluetooth

        return (bluetooth.BLE(), bluetooth.UUID), ""
    except ImportError:
        from .cable import Cable, text

        return (Cable(), text), "no radio on this port: connect by cable"


def button(rig, machine):
    """The pin of the button that lets new hosts in (0 while pressed), or None."""
    try:
        return machine.Pin(rig["board.button_pin"], machine.Pin.IN, machine.Pin.PULL_UP)
    except (AttributeError, KeyError, ValueError, TypeError, OSError):
        return None
