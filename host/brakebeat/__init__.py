"""Brakebeat: numbers at each rep for a home-built flywheel trainer (the host's side)."""

__version__ = "0.1.0"
