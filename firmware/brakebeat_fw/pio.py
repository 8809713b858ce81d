"""Edges by the PIO of an RP2040 or RP2350: it stamps every change of the sensor's pins, DMA stores the stamps.

Once started neither needs the processor, so that no stamp is late and none is lost while flash is written.
"""

# What a PIO program is made of exists only while `rp2.asm_pio` runs it.
# ruff: noqa: F821
# mypy: disable-error-code=name-defined

from array import array

import micropython
import rp2
import uctypes
from micropython import const

from .clock import now_us
from .storm import Storm
from .ticks import MASK, after

_BATCH = const(64)
_WORDS = const(1024)
_BYTES_BITS = const(12)
_BYTES = const(4096)
# As in `sources`: where batches take that long the rest waits.
_LONG_US = const(20000)
# Well beyond what `boards.SOURCES` says that it takes.
_STORM_GAP_US = const(15)
# What the hardware counts down, small enough to be read without heap.
_MOST_TRANSFERS = const(0x0FFFFFFF)
# 16 cycles a microsecond: a whole number of 256ths of any clock in MHz, so that the two clocks never drift apart.
_HERTZ = const(16000000)
# Of the first state machine of the first PIO: where its words come out, and what asks the DMA to fetch one.
_PIO0_RXF0 = const(0x50200020)
_DREQ_PIO0_RX0 = const(4)

# Places in the state array.
_PLACE = const(0)  # where in the ring the next word lies
_WAITING = const(1)  # words that lie there
_OFFSET = const(2)  # ticks at which the state machine's count was 0
_LEVELS = const(3)  # of the pins: A + 2 * B
_MODE = const(4)  # 0 one hall sensor, 1 two, 2 quadrature
_THIN = const(5)  # counts that make an edge
_PHASE = const(6)  # counts since the last such place
_SKIPPED = const(7)  # changes of both channels at once: a count was missed
_MODES = ("hall", "hall_pair", "quadrature")
# Words that one edge makes.
_WORDS_OF_EDGE = (2, 4)

# The DMA goes on writing when the app has been stopped at a prompt: its memory must not be anybody else's before the
# soft reset that stops it.
_running = []  # type: list[object]


def stamper(pins_read):
    # type: (int) -> Any
    """The state machine's program: looks at the pins each 16 cycles, hands over (levels << 30 | count) if they changed.

    The count is x: it falls by 1 each time round, whichever way is taken. y is how the pins were before.
    """

    @rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, fifo_join=rp2.PIO.JOIN_RX)
    def stamp(pins_read=pins_read):
        mov(x, null)
        mov(isr, null)
        in_(pins, pins_read)
        mov(y, isr)
        wrap_target()
        label("look")
        mov(osr, x)
        mov(isr, null)
        in_(pins, pins_read)
        mov(x, isr)
        jmp(x_not_y, "new")
        mov(x, osr)[8]
        # Where x is 0 this does not jump: the next instruction is the same.
        jmp(x_dec, "same")
        label("same")
        jmp("look")
        label("new")
        mov(y, isr)
        mov(x, osr)
        in_(x, 30)
        push(noblock)[6]
        jmp(x_dec, "look")
        wrap()

    return stamp


@micropython.viper
def unload(state: ptr32, ring: ptr32, times: ptr32, steps: ptr8) -> int:
    """Turn waiting words into edges, as many as a batch holds; returns how many."""
    place = state[_PLACE]
    waiting = state[_WAITING]
    was = state[_LEVELS]
    mode = state[_MODE]
    phase = state[_PHASE]
    count = 0
    while waiting and count < _BATCH:
        word = ring[place]
        place = (place + 1) & (_WORDS - 1)
        waiting -= 1
        levels = (word >> 30) & 3
        edge = 0
        step = 0
        if mode == 2:
            moved = ((levels ^ (levels >> 1)) - (was ^ (was >> 1))) & 3
            if moved == 1:
                phase += 1
                if phase == state[_THIN]:
                    phase = 0
                    edge = 1
                    step = 1
            elif moved == 3:
                phase -= 1
                if phase < 0:
                    phase = state[_THIN] - 1
                    edge = 1
                    step = -1
            elif moved == 2:
                state[_SKIPPED] += 1
        elif (was & 1) > (levels & 1):
            edge = 1
            if mode:
                step = (levels & 2) - 1
        was = levels
        if edge:
            times[count] = (state[_OFFSET] - word) & 0x3FFFFFFF
            steps[count] = step
            count += 1
    state[_PLACE] = place
    state[_WAITING] = waiting
    state[_LEVELS] = was
    state[_PHASE] = phase
    return count


class PioSource:
    """One or two hall sensors or an encoder on ``pins`` (the second, if any, the first's neighbour).

    An encoder's count is thinned to every ``board.thin``-th. ``lost`` counts the edges that a full ring swallowed, and
    a storm's.
    Raises ValueError where state machine or clock cannot be had.
    """

    kind = "pio"
    done = False
    lost = 0
    now = staticmethod(now_us)

    def __init__(self, rig, machine, pins):
        if machine.freq() % 1000000:
            raise ValueError("processor clock of %d Hz is no whole number of MHz" % machine.freq())
        self._times = array("i", [0] * _BATCH)  # type: Any
        self._steps = array("b", [0] * _BATCH)  # type: Any
        self._state = array("i", [0] * 8)  # type: Any
        self._state[_MODE] = _MODES.index(rig.get("board.sensor", "hall"))
        self._state[_THIN] = rig.get("board.thin", 1)
        for at, pin in enumerate(pins):
            self._state[_LEVELS] |= pin.value() << at
        # The DMA's ring has to begin at a multiple of its size.
        buffer = bytearray(2 * _BYTES)
        skip = -uctypes.addressof(buffer) & (_BYTES - 1)
        self._ring = memoryview(buffer)[skip : skip + _BYTES]  # type: Any
        self._base = uctypes.addressof(buffer) + skip
        self._dropped = 0
        self._storm = Storm(_STORM_GAP_US)
        self._dma = rp2.DMA()
        _running.append(self)
        self._left = 0
        self._fetch()
        self._counter = rp2.StateMachine(0, stamper(len(pins)), freq=_HERTZ, in_base=pins[0])
        before = now_us()
        self._counter.active(1)
        self._state[_OFFSET] = (before + after(now_us(), before) // 2) & MASK

    def _fetch(self):
        """Let the DMA fetch words: once at the start, and after each 2^28 of them."""
        dma = self._dma
        control = dma.pack_ctrl(inc_read=False, ring_size=_BYTES_BITS, ring_sel=True, treq_sel=_DREQ_PIO0_RX0)
        place = (self._state[_PLACE] + self._state[_WAITING]) & (_WORDS - 1)
        self._left = _MOST_TRANSFERS
        dma.config(
            read=_PIO0_RXF0,
            write=self._base + 4 * place,
            count=_MOST_TRANSFERS,
            ctrl=control,
            trigger=True,
        )

    def pump(self, session):
        """Feed the edges that wait, then let the session look at its deadlines."""
        began = now_us()
        state = self._state
        # The stubs leave this attribute out.
        left = self._dma.count  # type: ignore[attr-defined]
        state[_WAITING] += self._left - left
        self._left = left
        if not left:
            self._fetch()
        if state[_WAITING] >= _WORDS:
            self._drop()
            # It counts before the edges behind it are handed over.
            self.lost = self._dropped + state[_SKIPPED]
            return
        count = unload(state, self._ring, self._times, self._steps)
        while count:
            if self._storm.takes(self._times, count):
                self._dropped += count
            else:
                session.feed(self._times, self._steps, count)
            if after(now_us(), began) > _LONG_US:
                break
            count = unload(state, self._ring, self._times, self._steps)
        self.lost = self._dropped + state[_SKIPPED]
        if not count:
            # While words wait, those too that came meanwhile, it is not now yet.
            session.poll(now_us())

    def _drop(self):
        """The ring went round: what lies in it is old and new together, so all of it is given up and counted."""
        state = self._state
        mode = state[_MODE]
        words_of_edge = _WORDS_OF_EDGE[mode] if mode < 2 else state[_THIN]
        self._dropped += state[_WAITING] // words_of_edge or 1
        state[_PLACE] = (state[_PLACE] + state[_WAITING]) & (_WORDS - 1)
        state[_WAITING] = 0
