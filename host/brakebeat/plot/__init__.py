"""Pictures of a set. Needs no display: everything is drawn into memory and written as PNG."""

from brakebeat.plot.set_picture import draw_set

__all__ = ["draw_set"]
