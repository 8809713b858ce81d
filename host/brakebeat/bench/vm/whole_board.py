"""Runs on the VM: the whole of the board's program in a time of its own, with what stands around it.

Arguments: the firmware's folder. The working folder is the board's file system. Standard input: orders, JSON a line;
see ``ORDERS``. Output: ``R <journal id> <sequence> <kind> <boot> <body in hex>`` for each record that the host beside
the board takes, ``S <JSON>`` for each order "report", all else is the board's own console.

The program is the board's: `App`, its tasks, its interrupt handler and ring, journal and radio. Around it stand a
clock that nobody waits for, a pin, a queue of notifications that fills up, and a host that takes records.
"""

import asyncio  # noqa: F401 - takes the true clock before there is another
import binascii
import gc
import json
import sys
import time

# The computer's own clock.
_true_us = time.ticks_us
_true_after = time.ticks_diff
sys.path.insert(0, sys.argv[1])

from world import Machine, noise, world  # noqa: E402

sys.modules["time"] = world

from radio_and_host import Ble  # noqa: E402

from brakebeat_fw import app, region, rigfile, sounder, sources  # noqa: E402


class Files(region.FileRegion):
    """The journal's files, on a file system that can be full or fail."""

    trouble = 0

    def program(self, block, page, buffer):
        """As it is, unless it is to fail."""
        if Files.trouble:
            raise OSError(Files.trouble)
        region.FileRegion.program(self, block, page, buffer)

    def erase(self, block):
        """As it is, unless it is to fail."""
        if Files.trouble:
            raise OSError(Files.trouble)
        region.FileRegion.erase(self, block)


def pause(duration_ms):
    """In place of the sleep of asyncio: whoever drives the task hears how long it is."""
    yield duration_ms


app.sleep_ms = pause


class Board:
    """One power-up of the board, and how its two tasks get their turns.

    work_us: how long the processor is at a rep, while edges come. idle_us: the main loop's turn while nothing moves.
    """

    def __init__(self, order):
        self.work_us = order.get("work_us", 0)
        self.idle_us = order.get("idle_us", 1000)
        world.interrupts = 0
        self.powered_us = world.now_us
        self.first_ticks = world.ticks_us()
        self.ble = Ble()
        rig, told = rigfile.load("rig.toml")
        rig.setdefault("board.sensor_pin", 4)
        source = sources.PinSource(rig, Machine)
        link = (self.ble, str)
        self.app = app.App(rig, source, sounder.Sounder(), link, (told,), None, "", Files("journal"))
        self.tasks = [self.app._detect(), self.app._talk(self.app.radio)]
        self.due_us = [world.now_us, world.now_us]
        self.longest_us = 0

    def run(self, until_us, loop_us=0):
        """Let the program run; loop_us: the main loop gets its turn no more often than that."""
        while True:
            for number in range(2):
                if self.due_us[number] <= world.now_us:
                    self._turn(number, loop_us)
            if world.now_us >= until_us:
                return
            world.pass_us(max(1, min(min(self.due_us), until_us) - world.now_us))

    def _turn(self, number, loop_us):
        session = self.app.session
        reps = session.reps.count
        began = _true_us()
        wait_us = max(self.tasks[number].send(None) * 1000, loop_us)
        self.longest_us = max(self.longest_us, _true_after(_true_us(), began))
        session = self.app.session
        if number == 0 and session.reps.count != reps and self.work_us:
            world.pass_us(self.work_us)
        if not loop_us and not session.busy and not self.app.journal._pending:
            wait_us = max(wait_us, self.idle_us)
        self.due_us[number] = world.now_us + wait_us


def report(board):
    """All that the board counts, and what it should have counted."""
    this = board.app
    session = this.session
    journal = this.journal
    gc.collect()
    # Twice: what the first one's own traces held is free now.
    gc.collect()
    return {
        "heap_bytes": gc.mem_alloc(),
        "longest_turn_us": board.longest_us,
        "world_us": world.now_us,
        "since_power_us": world.now_us - board.powered_us,
        "wraps": (board.first_ticks + world.now_us - board.powered_us) >> 30,
        "clock_us": this.clock_us() - board.first_ticks,
        "uptime_s": this.uptime_s(),
        "interrupts": world.interrupts,
        "handled": this.source._handled,
        "overrun": session.overrun,
        "bounced": session.bounced,
        "missed": session.missed,
        "spurious": session.spurious,
        "incomplete": session.incomplete,
        "reps": session.reps.count,
        "faults": this.faults,
        "trouble": this.trouble,
        "sounded": this.sounder.sounded,
        "cues_heard": board.ble.cues,
        "connections": this.radio.connections,
        "refused": this.radio.control.refused,
        "live_dropped": this.radio.live_dropped,
        "retries": this.radio.retries,
        "journal_id": journal.id,
        "journal_next": journal.next,
        "journal_boot": journal.boot,
        "journal_torn": journal.torn,
        "reps_lost": journal.lost,
        "reps_waiting": journal.waiting,
        "overwritten": journal.overwritten,
        "at_rest": this.at_rest,
    }


def obey(board, order):
    """One order; the board that runs from here on."""
    what = order["do"]
    if what == "power":
        # Everything of the last power-up is gone, but files.
        board = None
        world.handler = None
        gc.collect()
        world.first_ticks = order.get("first_ticks", 0) - world.now_us
        return Board(order)
    if what == "idle":
        board.run(world.now_us + order["us"])
    elif what == "play":
        at = world.now_us
        edges = []
        for gap in order["gaps_us"]:
            at += gap
            edges.append(at)
        order["gaps_us"] = None
        leave(order.get("leave_bytes", 0))
        play(board, edges, at, 0)
        leave(0)
    elif what == "noise":
        end = world.now_us + order["us"]
        while world.now_us < end:
            # Bit by bit, for the sake of the memory.
            piece = min(100000, end - world.now_us)
            order["seed"] += 1
            edges = noise(world.now_us, piece, order["gap_us"], order["seed"])
            play(board, edges, world.now_us + piece, order.get("loop_us", 0))
    elif what == "connect":
        board.ble.connect()
    elif what == "disconnect":
        board.ble.disconnect()
    elif what == "jump":
        # The counter alone: edges and turns come as before.
        world.first_ticks += order["us"]
    elif what == "flash":
        Files.trouble = order["error"]
    elif what == "write":
        board.ble.write(binascii.unhexlify(order["hex"]))
    elif what == "report":
        print("S", json.dumps(report(board)))
    else:
        raise ValueError("no such order: " + what)
    return board


# Memory that somebody else holds.
held = []


def leave(free_bytes):
    """Hold memory until no more than that is free; 0 gives all of it back."""
    held.clear()
    gc.collect()
    for size in (4096, 512, 64):
        try:
            while free_bytes and gc.mem_free() > free_bytes + 2 * size:
                held.append(bytearray(size))
        except MemoryError:
            # What is left is in smaller pieces.
            pass


def play(board, edges, end_us, loop_us):
    """Edges at their times until then."""
    world.edges = edges
    world.next_edge = 0
    board.run(end_us, loop_us)
    world.edges = []


ORDERS = "power idle play noise connect disconnect jump flash write report"


def main():
    # type: () -> None
    board = None
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        board = obey(board, json.loads(line))


if __name__ == "__main__":
    main()
