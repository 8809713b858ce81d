"""A board's `rp2`: a state machine that only notes, DMA that writes into memory, and the assembler's words as text."""

import uctypes
from checked import check, constant, made
from port_machine import Found


class Line:
    """One instruction of a PIO program as pioasm writes it; ``[n]`` is a delay."""

    def __init__(self, lines, text):
        self._lines = lines
        self._place = len(lines)
        lines.append(text)

    def __getitem__(self, delay):
        self._lines[self._place] += " [%d]" % delay


WORDS = {
    "x": "x",
    "isr": "isr",
    "osr": "osr",
    "y": "y",
    "null": "null",
    "pins": "pins",
    "x_dec": "x--",
    "x_not_y": "x!=y",
    "noblock": "noblock",
}


def language(lines):
    """The names that a program may use, as `rp2.asm_pio` gives them to it."""

    def instruction(name, spelt):
        def write(*args):
            check("pio." + name, args)
            joined = (" " if name == "jmp" else ", ").join([str(each) for each in args])
            return Line(lines, spelt + " " + joined)

        return write

    def label(name):
        check("pio.label", (name,))
        lines.append(name + ":")

    def wrap_target():
        check("pio.wrap_target")
        lines.append(".wrap_target")

    def wrap():
        check("pio.wrap")
        lines.append(".wrap")

    names = {"label": label, "wrap_target": wrap_target, "wrap": wrap}
    for name, spelt in (("mov", "mov"), ("in_", "in"), ("jmp", "jmp"), ("push", "push")):
        names[name] = instruction(name, spelt)
    names.update(WORDS)
    return names


def asm_pio(**kwargs):
    """As on a board: the function sees nothing but the language while it runs."""
    check("rp2.asm_pio", (), kwargs)

    def assemble(function):
        lines = []
        kept = function.__globals__.copy()
        function.__globals__.clear()
        function.__globals__.update(language(lines))
        function()
        function.__globals__.clear()
        function.__globals__.update(kept)
        return {"text": "\n".join(lines), "settings": kwargs}

    return assemble


def module(world):
    """A module object."""

    class PIO:
        SHIFT_LEFT = constant("rp2.PIO.SHIFT_LEFT")
        JOIN_RX = constant("rp2.PIO.JOIN_RX")

    class StateMachine:
        def __init__(self, *args, **kwargs):
            made("rp2.StateMachine", args, kwargs)
            self.args = args
            self.settings = kwargs
            self.running = False
            world.machines.append(self)

        def active(self, *args):
            check("rp2.StateMachine.active", args)
            self.running = bool(args[0])
            world.now_us += 4

    class DMA:
        def __init__(self):
            made("rp2.DMA", (), {})
            self.count = 0
            self.started = 0
            world.channels.append(self)

        def pack_ctrl(self, **kwargs):
            check("rp2.DMA.pack_ctrl", (), kwargs)
            self.control = kwargs
            return 1

        def config(self, **kwargs):
            check("rp2.DMA.config", (), kwargs)
            self.settings = kwargs
            self.place = kwargs["write"]
            self.count = kwargs["count"]
            self.started += 1

        def take(self, words):
            """The state machine hands words over."""
            ring = 1 << self.control["ring_size"]
            for word in words:
                if not self.count:
                    raise RuntimeError("no transfers left")
                memory = uctypes.bytearray_at(self.place, 4)
                memory[:] = word.to_bytes(4, "little")
                self.place = (self.place & ~(ring - 1)) | ((self.place + 4) & (ring - 1))
                self.count -= 1

    found = Found()
    for each in (("PIO", PIO), ("StateMachine", StateMachine), ("DMA", DMA), ("asm_pio", asm_pio)):
        setattr(found, *each)
    return found
