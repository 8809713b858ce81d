"""True edges: which magnet or count line fires when, before anything goes wrong."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.simulate.crossings import passing_times
from brakebeat.simulate.motion import Motion, Stretch
from brakebeat.simulate.sensor import Sensor

TURN_RAD = 2.0 * math.pi

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Edges:
    """Edges in order of time, shape (n,) each.

    ``mark`` is the magnet's id (0 at ``phase_rad``, counted in φ's direction) or the encoder line modulo the
    counts, ``sense`` ±1, ``angle_rad`` the shaft angle φ at the edge.
    """

    t_s: NDArray[np.float64]
    mark: NDArray[np.int64]
    sense: NDArray[np.int8]
    angle_rad: NDArray[np.float64]


def true_edges(motion: Motion, sensor: Sensor, offsets_rad: NDArray[np.float64], phase_rad: float) -> Edges:
    """All edges of a motion.

    Args:
        offsets_rad: placement error by magnet id, shape (pulses,); not used for an encoder.
        phase_rad: φ of magnet 0's even position (or of count line 0).
    """
    moving = [stretch for stretch in motion.stretches if stretch.kind != "idle"]
    if sensor.kind == "magnets":
        even_rad = TURN_RAD * np.arange(sensor.pulses) / sensor.pulses
        walker: _Magnets | _Encoder = _Magnets(sensor, even_rad + offsets_rad + phase_rad)
    else:
        walker = _Encoder(sensor, phase_rad)
    walker.start(motion.stretches[0])
    parts = [walker.pass_over(stretch) for stretch in moving]
    times = [
        passing_times(s.t_s, s.along_rad, np.abs(s.speed_rad_s), s.sense * a)
        for s, (_, a) in zip(moving, parts, strict=True)
    ]
    senses = [np.full(len(a), s.sense, np.int8) for s, (_, a) in zip(moving, parts, strict=True)]
    return Edges(
        np.concatenate([*times, np.zeros(0)]),
        np.concatenate([*(mark for mark, _ in parts), np.zeros(0, np.int64)]),
        np.concatenate([*senses, np.zeros(0, np.int8)]),
        np.concatenate([*(angle for _, angle in parts), np.zeros(0)]),
    )


class _Magnets:
    """A hall switch over a ring of magnets: fires on coming near one, lets go further out.

    The switch holds on to the magnet in front of it until the wheel has left that magnet's field, so that a
    wheel that turns there gives one edge for both passes.
    """

    def __init__(self, sensor: Sensor, positions_rad: NDArray[np.float64]) -> None:
        self._positions = positions_rad
        self._near = 0.5 * sensor.hysteresis_rad
        self._far = self._near + 0.5 * sensor.release_rad
        # Place (magnet, turn) that holds the switch, None if it is off.
        self._held: tuple[int, int] | None = None

    def start(self, first: Stretch) -> None:
        angle = float(first.angle_rad[0])
        place, distance = self._nearest(angle)
        self._held = place if distance < self._near else None

    def pass_over(self, stretch: Stretch) -> tuple[Ints, Floats]:
        """Magnets that fire and the shaft angles at which they do, in order."""
        begin, end, sense = float(stretch.angle_rad[0]), float(stretch.angle_rad[-1]), stretch.sense
        marks, turns, angles = self._between(begin, end, sense)
        if self._held is not None:
            again = (marks == self._held[0]) & (turns == self._held[1])
            marks, turns, angles = marks[~again], turns[~again], angles[~again]
        self._update_hold(marks, turns, end)
        return marks, angles

    def _between(self, begin: float, end: float, sense: int) -> tuple[Ints, Ints, Floats]:
        """Every firing angle passed, in order of passing."""
        low, high = min(begin, end), max(begin, end)
        fire = self._positions - sense * self._near
        turns = np.arange(
            math.floor((low - fire.max()) / TURN_RAD), math.ceil((high - fire.min()) / TURN_RAD) + 1
        )
        angles = fire[None, :] + TURN_RAD * turns[:, None]
        turn_at, mark_at = np.nonzero(
            (angles > low) & (angles <= high) if sense > 0 else (angles < high) & (angles >= low)
        )
        found = angles[turn_at, mark_at]
        order = np.argsort(sense * found, kind="stable")
        return mark_at[order], turns[turn_at[order]], found[order]

    def _update_hold(self, marks: Ints, turns: Ints, end: float) -> None:
        if len(marks):
            self._held = (int(marks[-1]), int(turns[-1]))
        if self._held is not None:
            position = self._positions[self._held[0]] + TURN_RAD * self._held[1]
            if abs(end - position) >= self._far:
                self._held = None

    def _nearest(self, angle: float) -> tuple[tuple[int, int], float]:
        turns = np.round((angle - self._positions) / TURN_RAD)
        distance = np.abs(angle - self._positions - TURN_RAD * turns)
        at = int(np.argmin(distance))
        return (at, int(turns[at])), float(distance[at])


class _Encoder:
    """A quadrature encoder behind a decoder: each count line passed is one edge, with a little play.

    A line counts once the wheel is half the play beyond it, in either sense, so that the signed sum of the
    steps is the number of lines between where the wheel was and where it is.
    """

    def __init__(self, sensor: Sensor, phase_rad: float) -> None:
        self._counts = sensor.pulses
        self._pitch = TURN_RAD / sensor.pulses
        self._lag = 0.5 * sensor.hysteresis_rad
        self._phase = phase_rad
        self._below = 0  # count of lines below the wheel: the next one up is line `_below`

    def start(self, first: Stretch) -> None:
        self._below = math.ceil((float(first.angle_rad[0]) - self._phase) / self._pitch)

    def pass_over(self, stretch: Stretch) -> tuple[Ints, Floats]:
        """Lines passed and the shaft angles at which they count, in order."""
        end = float(stretch.angle_rad[-1]) - self._phase
        if stretch.sense > 0:
            until = max(self._below, math.floor((end - self._lag) / self._pitch) + 1)
            lines = np.arange(self._below, until)
        else:
            until = min(self._below, math.ceil((end + self._lag) / self._pitch))
            lines = np.arange(self._below - 1, until - 1, -1)
        self._below = until
        angles = np.asarray(self._phase + lines * self._pitch + stretch.sense * self._lag, np.float64)
        return lines.astype(np.int64) % self._counts, angles
