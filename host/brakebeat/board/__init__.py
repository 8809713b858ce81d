"""The board's own firmware, run on this computer: on the real MicroPython VM where there is one."""

from brakebeat.board.replay import replay

__all__ = ["replay"]
