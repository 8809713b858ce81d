"""Runs on the VM: hands steady edges to the firmware as the board's loop does, for what they cost to be counted.

Arguments: the firmware's folder, then one line of JSON: ``pulses`` (edges a turn), ``counts`` (true: quadrature),
``batch`` (edges handed over at once), ``fed`` (edges to hand over), ``ready`` (edges made ready: the same in every
run that is to be compared, so that the work of making them cancels) and ``work``: "passes" (a session's passes
over the edges), "ring" (the interrupt's ring: in and out) or "nothing" (what the harness itself takes). Prints
one line of JSON.
"""

import gc
import json
import sys
from array import array

import micropython
from micropython import const

sys.path.insert(0, sys.argv[1])

from brakebeat_fw import edges, rigfile
from brakebeat_fw.session import Session

# Places in the detector's state, as they stand there.
_COUNT = const(11)
_INDEX = const(12)

# The speed swings about this by an eighth, as in the middle of a rep.
SPEED_RAD_S = 70.0
SWING = 8
MASK = 0x3FFFFFFF
# Edges that settle a session that was at rest: what they set up is not the cost of an edge.
SETTLING = 64


class Passes(Session):
    """A session whose ``feed`` does nothing but its passes over the edges."""

    def _under_way(self):
        pass

    def _turned(self):
        raise RuntimeError("a turnaround in steady edges")


def edge_times(task):
    """``ready`` edge times; the clock wraps half-way."""
    mean_us = 6.2831853 / task["pulses"] / SPEED_RAD_S * 1e6
    swing_us = int(mean_us) // SWING
    t = MASK - int(mean_us * task["ready"] / 2)
    times = array("i", [0] * task["ready"])
    for place in range(task["ready"]):
        # Up and down over 64 edges: neighbours differ by little.
        ramp = place % 64
        t += int(mean_us) + swing_us * (ramp if ramp < 32 else 64 - ramp) // 32
        times[place] = t & MASK
    return times


@micropython.viper
def load(source: ptr32, first: int, times: ptr32, steps: ptr8, step: int, count: int):
    """Put the next batch into the arrays that the firmware works in."""
    for place in range(count):
        times[place] = source[first + place]
        steps[place] = step


def array_bytes(thing, seen):
    """Bytes in all arrays that ``thing`` holds, however deep."""
    if id(thing) in seen:
        return 0
    seen.append(id(thing))
    if isinstance(thing, (array, bytearray)):
        return len(bytes(thing))
    total = 0
    if isinstance(thing, (list, tuple)):
        held = thing
    elif hasattr(thing, "__dict__") and not isinstance(thing, type):
        held = list(thing.__dict__.values())
    else:
        return 0
    for one in held:
        total += array_bytes(one, seen)
    return total


def new_session(pulses):
    """A session of passes only, and the heap that it takes."""
    rig = rigfile.defaults()
    rig["pulses_per_rev"] = pulses
    gc.collect()
    before = gc.mem_alloc()
    session = Passes(rig, None, None)
    gc.collect()
    taken = gc.mem_alloc() - before
    state = session.state

    def make_room():
        # As after a turnaround: the buffer starts anew.
        state[_COUNT] = 0

    session.stretch.make_room = make_room
    return session, taken


def nothing(times, steps, count):
    """What a call costs at least."""


def through(ring):
    """Every edge into the ring, as interrupts do, and the batch out of it, as the main loop does."""

    def work(times, steps, count):
        for place in range(count):
            ring.put(times[place], steps[place])
        ring.take(times, steps)

    return work


def run(task):
    """Feed and tell."""
    source = edge_times(task)
    session, session_bytes = new_session(task["pulses"])
    ring = edges.EdgeRing(512)
    work = {"passes": session.feed, "ring": through(ring), "nothing": nothing}[task["work"]]
    size = task["batch"]
    times = array("i", [0] * size)
    steps = array("b", [0] * size)
    step = 1 if task["counts"] else 0
    last = SETTLING + task["fed"] // size * size
    for first in range(0, SETTLING, size):
        load(source, first, times, steps, step, size)
        work(times, steps, size)
    # Made beforehand: a range takes heap, too.
    firsts = range(SETTLING, last, size)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    for first in firsts:
        load(source, first, times, steps, step, size)
        work(times, steps, size)
    heap = gc.mem_alloc() - before
    gc.enable()
    answer = {
        "heap": heap,
        "fed": last - SETTLING,
        "index": session.state[_INDEX],
        "session_bytes": session_bytes,
        "array_bytes": array_bytes(session, []),
        "ring_bytes": array_bytes(ring, []),
    }
    print(json.dumps(answer))


run(json.loads(sys.argv[2]))
