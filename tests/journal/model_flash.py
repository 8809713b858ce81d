"""Flash as a chip has it, with a plug that can be pulled at any step of any operation, bit by bit."""

import random
from array import array

PAGE = 128


class PowerCut(Exception):
    """The power went."""


class ModelFlash:
    """NOR flash: an erase sets bits, a program clears them, neither does anything else.

    Programming is cut in pieces of ``step`` bytes, an erase in pages. `cut_after` steps the power goes: of the piece
    at work each bit that was to change has changed or not, at random; in an interrupted erase so has every bit of
    the block that was not yet reached (cells lose their charge together).
    """

    instant = False
    page = PAGE

    def __init__(self, blocks=4, pages=5, seed=0, step=16):
        self.blocks, self.pages = blocks, pages
        self.random = random.Random(seed)
        self.step = step
        self.data = [bytearray(self.random.randbytes(PAGE * pages)) for _ in range(blocks)]
        self.cut_after = None
        self.steps = 0
        self.erased = array("I", [0] * blocks)
        self.programmed_twice = 0

    def _spend(self):
        self.steps += 1
        return self.cut_after is not None and self.steps > self.cut_after

    def read(self, block, page, buffer):
        start = page * PAGE
        buffer[:] = self.data[block][start : start + len(buffer)]

    def program(self, block, page, buffer):
        assert len(buffer) == PAGE
        start = page * PAGE
        data = self.data[block]
        self.programmed_twice += data[start : start + PAGE] != b"\xff" * PAGE
        for at in range(0, PAGE, self.step):
            piece = buffer[at : at + self.step]
            cut = self._spend()
            for offset, wanted in enumerate(piece):
                mask = self.random.getrandbits(8) if cut else 0xFF
                data[start + at + offset] &= wanted | ~mask & 0xFF
            if cut:
                raise PowerCut

    def erase(self, block):
        self.erased[block] += 1
        data = self.data[block]
        for page in range(self.pages):
            start = page * PAGE
            if self._spend():
                for at in range(start, len(data)):
                    # From hardly a bit to nearly all of them.
                    for _ in range(self.random.randrange(3)):
                        data[at] |= self.random.getrandbits(8)
                raise PowerCut
            data[start : start + PAGE] = b"\xff" * PAGE
