"""Drawings and tables of the hardware notes, made from what the code knows."""
