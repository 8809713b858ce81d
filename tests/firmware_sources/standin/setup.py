"""Makes the VM a board: `world = setup.board("rp2")` before the firmware is imported.

Arguments of every script: the firmware's folder, this one, a file of signatures.
"""

import asyncio  # noqa: F401 - takes the true clock before there is another
import json
import sys

sys.path.insert(0, sys.argv[2])
sys.path.insert(0, sys.argv[1])

import checked
import port_esp32
import port_machine
import port_rp2
from world import World

CHIPS = {"rp2": "RP2040", "esp32": "ESP32", "c3": "ESP32C3"}


class Clock:
    """In place of `time`: the world's."""

    def __init__(self, world):
        self._world = world

    def ticks_us(self):
        """As most ports count."""
        return self._world.now_us & 0x3FFFFFFF

    def ticks_ms(self):
        """The same clock."""
        return self._world.now_us // 1000 & 0x3FFFFFFF

    def sleep(self, duration_s):
        """The world goes on meanwhile."""
        self._world.pass_us(int(duration_s * 1000000))


def board(chip, own_time=True):
    """The world of a board with that chip; own_time: the firmware's clock is the world's."""
    port = "rp2" if chip == "rp2" else "esp32"
    with open(sys.argv[3]) as file:
        checked.signatures.update(json.loads(file.read())[port])
    world = World(port, port == "rp2", chip == "esp32")
    sys.modules["machine"] = port_machine.module(world)
    sys.modules[port] = (port_rp2 if port == "rp2" else port_esp32).module(world)
    if own_time:
        sys.modules["time"] = Clock(world)
    from brakebeat_fw import boards

    boards.here = lambda: next(row for row in boards.BOARDS if row[1] == CHIPS[chip])
    return world


class Session:
    """Notes what it is fed."""

    def __init__(self):
        self.edges = []
        self.polls = 0

    def feed(self, times, steps, count):
        """As the session's."""
        for at in range(count):
            self.edges.append((times[at], steps[at]))

    def poll(self, _now):
        """As the session's."""
        self.polls += 1
