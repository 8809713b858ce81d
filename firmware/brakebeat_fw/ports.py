"""What the port under the firmware has: pins or none."""


def pins():
    # type: () -> object | None
    """The `machine` module where it has pins, else None (a computer)."""
    try:
        import machine
    except ImportError:
        return None
    return machine if hasattr(machine, "Pin") else None
