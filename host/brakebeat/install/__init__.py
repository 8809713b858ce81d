"""Puts the firmware onto a board over its USB cable, whole or not at all.

``find`` chooses the port, ``console`` talks to the board's prompt (through mpremote's library), ``facts`` asks what
the board is, ``payload`` compiles for it, ``copying`` stages, verifies and switches over, ``run`` does one after the
other and waits for the board's first status.
"""
