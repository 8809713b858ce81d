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
import struct
import sys
import time

sys.path.insert(0, sys.argv[1])

_ENOMEM = 12
_ENOSPC = 28
_CONNECTION = 64
_HANDLES = (13, 16, 19, 21, 24)
_REP, _LIVE, _STATUS, _CONTROL, _RAW = _HANDLES
_MTU = 185
# Notifications that the queue holds, and how many leave it in a millisecond.
_QUEUE = 8
_LEAVE = 1
_KEEP_FROM_US = 1000000


class World:
    """Time, the sensor's pin, what lies in the radio's queue."""

    def __init__(self):
        self.now_us = 0
        # Where the board's counter stands when the world begins.
        self.first_ticks = 0
        self.handler = None
        self.edges = []
        self.next_edge = 0
        self.interrupts = 0
        self.queue = 0

    def ticks_us(self):
        """The board's counter, as most ports have it."""
        return self.now_us + self.first_ticks & 0x3FFFFFFF

    def ticks_ms(self):
        """The same in milliseconds."""
        return (self.now_us + self.first_ticks) // 1000 & 0x3FFFFFFF

    def sleep(self, duration_s):
        """The world goes on meanwhile."""
        self.pass_us(int(duration_s * 1000000))

    def pass_us(self, duration_us):
        """Time goes on; edges come at their own moments, whatever the program does."""
        end_us = self.now_us + duration_us
        edges = self.edges
        while self.next_edge < len(edges) and edges[self.next_edge] <= end_us:
            self.now_us = max(self.now_us, edges[self.next_edge])
            self.next_edge += 1
            self.interrupts += 1
            self.handler(None)
        self.queue = max(0, self.queue - duration_us * _LEAVE // 1000)
        self.now_us = end_us


# The computer's own clock.
_true_us = time.ticks_us
_true_after = time.ticks_diff
world = World()
# The next number that the host wants, by journal: it outlives the board's power-ups.
wanted = {}
sys.modules["time"] = world

from brakebeat_fw import app, region, rigfile, sounder, sources, wire  # noqa: E402


class Pin:
    """The sensor's pin on a port with hard interrupts."""

    IN = PULL_UP = IRQ_FALLING = IRQ_RISING = 1

    def __init__(self, *_arguments):
        pass

    def irq(self, handler, _trigger, hard=False):
        """The world calls it at each edge."""
        world.handler = handler

    def value(self):
        """Nobody presses anything."""
        return 1


class Machine:
    """`machine`, as far as a board without a sounder needs it."""

    Pin = Pin


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


class Ble:
    """The radio's stack and the host at its other end, which takes each record once and acknowledges it."""

    def __init__(self):
        self.handler = None
        self.written = b""
        self.connected = False
        self.journal = 0
        self.parts = b""
        self.cue_count = None
        self.cues = 0

    # -- the stack ---------------------------------------------------------------------------------------------

    def active(self, _on):
        """Nothing to do."""

    def config(self, *names, **_settings):
        """Asked for the address, it tells one."""
        return (1, b"\xf0\r\0\0\xb0\x0c")

    def irq(self, handler):
        """Who hears of events."""
        self.handler = handler

    def gatts_register_services(self, services):
        """Our own service comes first."""
        handles = [_HANDLES]
        for _, characteristics in services[1:]:
            handles.append(tuple(range(30, 30 + len(characteristics))))
        return tuple(handles)

    def gatts_set_buffer(self, *_arguments):
        """Nothing to do."""

    def gatts_write(self, _handle, _data, _send_update=False):
        """Nobody reads it here."""

    def gap_advertise(self, *_arguments, **_data):
        """The host knows us."""

    def gatts_read(self, _handle):
        """What the host wrote."""
        written = self.written
        self.written = b""
        return written

    def gatts_notify(self, _connection, handle, data):
        """Into the queue, if it has room."""
        if world.queue >= _QUEUE:
            raise OSError(_ENOMEM)
        world.queue += 1
        if handle == _REP:
            self._part(bytes(data))
        elif handle == _LIVE:
            self._live(bytes(data))

    def gatts_indicate(self, connection, handle, data):
        """An answer."""
        if data[0] == 1:
            self._begin(struct.unpack_from(wire.HELLO_FORMAT, data, 3)[1])
        self.handler(20, (connection, handle, 0))

    # -- the host ----------------------------------------------------------------------------------------------

    def connect(self):
        """A bonded host that asks for all that it lacks."""
        self.connected = True
        self.cue_count = None
        self.handler(1, (_CONNECTION, 0, b""))
        self.handler(28, (_CONNECTION, 1, 0, 1, 16))
        self.handler(21, (_CONNECTION, _MTU))
        self._ask(4, struct.pack("<Q", 1700000000000000 + world.now_us))
        self._ask(1, bytes((wire.PROTOCOL_VERSION, wire.PROTOCOL_VERSION)))

    def disconnect(self):
        """The link breaks."""
        self.connected = False
        self.parts = b""
        self.handler(2, (_CONNECTION, 0, b""))

    def _ask(self, code, payload):
        self.write(sealed(bytes((code, 7, len(payload))) + payload))

    def write(self, data):
        """Any bytes on CONTROL."""
        self.written += data
        self.handler(3, (_CONNECTION, _CONTROL))

    def _begin(self, journal):
        self.journal = journal
        self._ask(2, struct.pack("<I", wanted.get(journal, 0)))

    def _live(self, data):
        count = data[2]
        if self.cue_count is not None:
            self.cues += (count - self.cue_count) & 0xFF
        self.cue_count = count

    def _part(self, part):
        self.parts = part[2:] if not part[1] & 127 else self.parts + part[2:]
        if not part[1] & 128:
            return
        message = self.parts[:-4]
        if sealed(message) != self.parts:
            raise ValueError("a damaged record was sent")
        kind, size, boot, sequence = struct.unpack_from(wire.RECORD_HEAD_FORMAT, message)
        if sequence >= wanted.get(self.journal, 0):
            wanted[self.journal] = sequence + 1
            body = binascii.hexlify(message[8 : 8 + size]).decode()
            print("R", self.journal, sequence, kind, boot, body)
        self._ask(3, struct.pack("<I", sequence))


def sealed(message):
    """A message with the checksum that seals it."""
    return message + struct.pack("<I", binascii.crc32(message) & 0xFFFFFFFF)


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


def noise(duration_us, gap_us, seed):
    """Edges without any rhythm, as a loose plug makes them: gaps even between 1 us and twice gap_us."""
    at = world.now_us
    end = at + duration_us
    state = seed or 1
    edges = []
    while True:
        state = state * 1103515245 + 12345 & 0x7FFFFFFF
        at += 1 + (state >> 8) % (2 * gap_us - 1)
        if at >= end:
            return edges
        edges.append(at)


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
            edges = noise(piece, order["gap_us"], order["seed"])
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
