"""Runs on the VM: feeds a recording to the firmware in the recording's own time and prints what the board would send.

Standard input: one line of JSON (the rig), then blocks of a 4-byte count, that many 8-byte times (us) and 1-byte
senses. The board's main loop is imitated as it runs on a board: once a millisecond it takes the edges that came
since and looks at the clock. Output, a line each: ``R <record in hex>``, ``C <kind> <rep> <us>``, ``Q <JSON>``.
"""

import json
import struct
import sys
from array import array

sys.path.insert(0, sys.argv[1])

from brakebeat_fw import rigfile, ticks
from brakebeat_fw.session import Session

LOOP_US = 1000
# The longest the board sleeps while nothing moves: far less than the counter's wrap.
IDLE_US = 60000000
BATCH = 64


class Board:
    """The firmware's session under an imitated main loop."""

    def __init__(self, rig):
        # type: (dict[str, object]) -> None
        self.session = Session(rig, self._rep, self._cue)
        self.times = array("i", [0] * BATCH)
        self.steps = array("b", [0] * BATCH)
        self.waiting = 0
        self.pulses = 0
        self.loop_us = None  # type: Any
        self.offset_us = 0

    def _rep(self, record):
        # type: (bytearray) -> None
        print("R", "".join(["%02x" % byte for byte in record]))

    def _cue(self, kind, rep, t_us):
        # type: (int, int, int) -> None
        print("C", kind, rep, t_us + self.offset_us)

    def edge(self, t_us, step):
        # type: (int, int) -> None
        """One edge of the recording."""
        if self.loop_us is None:
            self.loop_us = t_us - t_us % LOOP_US
            self.offset_us = self.loop_us - (self.loop_us & ticks.MASK)
            self.session.poll(self.loop_us & ticks.MASK)
        if t_us >= self.loop_us or self.waiting == BATCH:
            self.run_until(t_us)
        self.times[self.waiting] = t_us & ticks.MASK
        self.steps[self.waiting] = step
        self.waiting += 1
        self.pulses += 1

    def run_until(self, t_us):
        # type: (int) -> None
        """Go round the main loop until its next round comes after ``t_us``."""
        session = self.session
        while self.loop_us <= t_us:
            if self.waiting:
                session.feed(self.times, self.steps, self.waiting)
                self.waiting = 0
            session.poll(self.loop_us & ticks.MASK)
            step = LOOP_US
            if not session.busy:
                idle = min(IDLE_US, t_us - self.loop_us)
                step = max(LOOP_US, idle - idle % LOOP_US)
            self.loop_us += step
        if self.waiting == BATCH:
            session.feed(self.times, self.steps, self.waiting)
            self.waiting = 0

    def finish(self):
        # type: () -> None
        """After the last edge the board runs on until the wheel counts as standing."""
        if self.loop_us is not None:
            self.run_until(self.loop_us + 15000000)
        session = self.session
        counters = {
            "pulses": self.pulses,
            "offset_us": self.offset_us,
            "bounced": session.bounced,
            "missed": session.missed,
            "spurious": session.spurious,
            "overrun": session.overrun,
            "incomplete": session.incomplete,
        }
        print("Q", json.dumps(counters))


def main():
    # type: () -> None
    stream = sys.stdin.buffer
    rig = rigfile.defaults()
    rig.update(json.loads(stream.readline()))
    board = Board(rig)
    while True:
        head = stream.read(4)
        if len(head) < 4:
            break
        count = struct.unpack("<I", head)[0]
        times = array("q", stream.read(8 * count))
        steps = array("b", stream.read(count))
        for k in range(count):
            board.edge(times[k], steps[k])
    board.finish()


main()
