"""The wheel spun by hand with the strap off, left to run out: what a rig is calibrated with."""

from __future__ import annotations

import numpy as np

from brakebeat.simulate.braking import free_run
from brakebeat.simulate.dynamics import Piece
from brakebeat.simulate.motion import Motion, Stretch, StretchKind
from brakebeat.simulate.ranges import inside
from brakebeat.simulate.wheel import Wheel, smooth_step

_PUSH_KNOTS = 800


def spin_down(
    wheel: Wheel, speed_rad_s: float, *, sense: int = 1, push_s: float = 1.5, idle_s: float = 1.0
) -> Motion:
    """A hand brings the wheel to ``speed_rad_s`` within ``push_s``, then friction alone brings it to rest.

    Sense it with ``sense_fully`` like any motion; its truth has no reps.

    Raises:
        InputError: a value outside its range, or a wheel with so little friction that it never stops.
    """
    inside("speed_rad_s", speed_rad_s, 0.1, 1000.0)
    inside("push_s", push_s, 0.1, 60.0)
    inside("idle_s", idle_s, 0.0, 1e6)
    t_s = np.linspace(0.0, push_s, _PUSH_KNOTS)
    x = t_s / push_s
    speed = speed_rad_s * np.array([smooth_step(at) for at in x])
    # The integral of the smooth step.
    angle = speed_rad_s * push_s * x**4 * (2.5 - 3.0 * x + x * x)
    push = Piece(idle_s + t_s, angle, speed, np.zeros(len(t_s)))
    free = free_run(wheel, (float(push.t_s[-1]), float(angle[-1]), speed_rad_s))
    end_s = float(free.t_s[-1])
    rest = Piece(np.array([end_s, end_s + 1.0]), np.full(2, free.angle_rad[-1]), np.zeros(2), np.zeros(2))
    stretches = [
        _stretch("hand", push, sense),
        _stretch("run_out", free, sense),
        _stretch("idle", rest, sense),
    ]
    if idle_s > 0.0:
        before = Piece(np.array([0.0, idle_s]), np.zeros(2), np.zeros(2), np.zeros(2))
        stretches.insert(0, _stretch("idle", before, sense))
    return Motion(wheel, stretches)


def _stretch(kind: StretchKind, piece: Piece, sense: int) -> Stretch:
    return Stretch(
        kind,
        piece.t_s,
        sense * piece.angle_rad,
        sense * piece.speed_rad_s,
        piece.torque_nm,
        sense,
    )
