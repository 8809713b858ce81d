"""What the port under the firmware has: pins or none, a radio or a cable."""

import time

from . import boards, rigfile

# A hand holds on for longer than that; what a pull-up takes to rise, or a spike, does not.
_LOOKS = 5
_LOOK_S = 0.01


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
    """The pin of the button (0 while pressed), or None."""
    try:
        return machine.Pin(rig["board.button_pin"], machine.Pin.IN, machine.Pin.PULL_UP)
    except (AttributeError, KeyError, ValueError, TypeError, OSError):
        return None


def held(rig_path):
    # type: (str) -> bool
    """Whether the button is held down now: the rig file's, or the table's where that file is missing or bad."""
    pin = button(load(rig_path)[0], pins())
    if not pin:
        return False
    for _ in range(_LOOKS):
        time.sleep(_LOOK_S)
        if pin.value():
            return False
    return True


def load(rig_path):
    # type: (str) -> tuple[dict[str, Any], str]
    """The rig to run with and what is wrong: a bad file leaves the defaults, on the pins of the board's row."""
    rig, trouble = rigfile.load(rig_path)
    if trouble:
        rig.update(boards.default_pins())
    return rig, trouble or ""
