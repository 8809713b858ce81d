"""Recordings from elsewhere and for elsewhere."""

from brakebeat.interchange.vcd import EDGES, list_channels, read_vcd, write_vcd

__all__ = ["EDGES", "list_channels", "read_vcd", "write_vcd"]
