"""The reference: what a recording says when it may be read backwards and forwards.

A method of its own, from the ground up: the likeliest path through all edges tells real ones from bounces
(``clean``), a spline with a jerk prior is fitted to angle against time together with the magnets' offsets
(``fit``), turnarounds are its standstills (``ends``), φ = 0 is where they centre (``zero``), figures follow by
their definitions (``reps``, ``phases``, ``onset``); the greatest power and the onset, which the spline blurs, also from
all courses that a torque may take that changes once (``one_change``).
"""

from brakebeat.reference.analyse import analyse
from brakebeat.reference.trace import Trace, trace

__all__ = ["Trace", "analyse", "trace"]
