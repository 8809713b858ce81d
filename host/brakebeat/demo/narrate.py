"""What the demo says while it runs."""

from __future__ import annotations

from collections.abc import Callable

from brakebeat.link import Connected, CueHeard, Event, LinkLost, RepArrived
from brakebeat.link.words import rep_line
from brakebeat.virtual import VirtualRig

GREETING = (
    "Brakebeat demo: an invented lifter, a simulated flywheel, one set of eight reps. All else is real code."
)
CAUTION = (
    "Caution: a real wheel stores energy, takes hair, sleeves and fingers along and can throw parts. "
    "Keep clear while it turns."
)
_BEEPS = {
    "window": "brake now",
    "late": "brake came late",
    "drop_off": "effort has dropped off",
    "set_done": "set done",
}

Say = Callable[[str], None]


def say_start(rig: VirtualRig, asked: str, say: Say) -> None:
    """Which interpreter runs the firmware, and why if it is not the board's; ``asked`` as ``--engine`` has it."""
    if rig.engine == "micropython":
        say("The firmware runs on the MicroPython VM.")
    else:
        why = "as asked" if asked == "cpython" else "no MicroPython VM is installed here"
        say(f"The firmware runs on CPython ({why}).")


def say_event(event: Event, say: Say) -> None:
    """A line for each event that people want to know of."""
    if isinstance(event, Connected):
        say(f"Connected to {event.name} over Bluetooth LE (a virtual radio).")
        say("The lifter pulls; the set is over once the wheel has been at rest for some 10 s.\n")
    elif isinstance(event, CueHeard):
        say(f"   ♪ beep: {_BEEPS.get(event.kind, event.kind)} (rep {event.rep + 1})")
    elif isinstance(event, RepArrived):
        say(rep_line(event.rep, event.cues))
    elif isinstance(event, LinkLost):
        say(f"link lost: {event.reason}")
