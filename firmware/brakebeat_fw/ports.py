"""What the port under the firmware has: pins or none, a radio or none."""


def pins():
    """The `machine` module where it has pins, else None (a computer)."""
    try:
        import machine
    except ImportError:
        return None
    return machine if hasattr(machine, "Pin") else None


def radio():
    """The `bluetooth` module, or None on a port without one."""
    try:
        import bluetooth
    except ImportError:
        return None
    return bluetooth
