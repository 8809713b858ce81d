"""Brakebeat's firmware: what must happen in milliseconds, and nothing else."""

VERSION = "0.1.0"
