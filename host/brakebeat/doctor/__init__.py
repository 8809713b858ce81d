"""Is a rig's sensing sound? From the edges of a hand-spun wheel: what is wrong, with which magnet, and what to do.

``turns`` tells how many edges a turn has, ``edges`` what each magnet gave, ``examine`` judges; ``board_side`` adds what
a connected board says of itself. ``python -m brakebeat.doctor.rates`` measures how often it is right.
"""
