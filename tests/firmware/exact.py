"""Wheels whose motion and edges are known in closed form, and a main loop that plays them into a session."""

from __future__ import annotations

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass

from brakebeat.board.messages import decode_rep
from brakebeat.results import Rep
from tests.firmware.hot import WRAP
from tests.firmware.loaded import rigfile, session
from tests.firmware.loaded import side as sides

LOOP_US = 1000
IDLE_US = 60_000_000


@dataclass(frozen=True)
class Piece:
    """Constant acceleration for a while: seconds, then angle (rad), speed and acceleration at its beginning."""

    duration_s: float
    angle_rad: float
    speed_rad_s: float
    acceleration_rad_s2: float

    def times_at(self, angle_rad: float) -> list[tuple[float, int]]:
        """(seconds from the piece's beginning, sense) of each passing of an angle."""
        a, b, c = self.acceleration_rad_s2 / 2, self.speed_rad_s, self.angle_rad - angle_rad
        if a == 0.0:
            roots = [-c / b] if b else []
        else:
            under = b * b - 4 * a * c
            # At 0 the wheel only touches the angle.
            roots = [(-b + sign * math.sqrt(under)) / (2 * a) for sign in (-1, 1)] if under > 0 else []
        found = sorted(t for t in roots if 0 <= t < self.duration_s)
        return [(t, 1 if b + 2 * a * t > 0 else -1) for t in found]


def steady(pieces: Sequence[Sequence[float]]) -> list[Piece]:
    """Pieces end to end from angle 0 and rest: (seconds, acceleration) or (seconds, None) for standing still."""
    out = []
    angle = speed = 0.0
    for duration, acceleration in pieces:
        out.append(Piece(duration, angle, speed, acceleration))
        angle += duration * (speed + acceleration * duration / 2)
        speed += acceleration * duration
    return out


def from_rest(duration_s: float, acceleration_rad_s2: float) -> list[tuple[float, float]]:
    """Pieces of a pull from rest that builds up, evenly in four steps, over the time that the firmware expects.

    It reaches the speed of ``duration_s`` at full acceleration, later by half the time that it builds up.
    """
    step_s = sides.BUILD_S / 4
    built = [(step_s, acceleration_rad_s2 * (k + 0.5) / 4) for k in range(4)]
    return [*built, (duration_s - 2 * step_s, acceleration_rad_s2)]


def magnet_edges(
    pieces: Sequence[Piece],
    magnets: int,
    first_s: float = 1.0,
    phase_rad: float = 0.1,
    zone_rad: float = 0.0,
    offsets_rad: Sequence[float] | None = None,
) -> list[float]:
    """Seconds of each edge of a hall switch: it falls as a magnet's zone is entered, from either side.

    A wheel that turns inside a zone gives that magnet one edge for two passes. zone_rad: half width;
    phase_rad: angle of magnet 0; offsets_rad: of each from even spacing.
    """
    spacing = 2 * math.pi / magnets
    offsets = offsets_rad or [0.0] * magnets
    reach = max(abs(piece.angle_rad) for piece in pieces) + 50 * spacing
    most = int(reach / spacing) + magnets
    events = []
    at = first_s
    for piece in pieces:
        for number in range(-most, most + 1):
            angle = phase_rad + number * spacing + offsets[number % magnets]
            for side in (-1, 1):
                for t, sense in piece.times_at(angle + side * zone_rad):
                    # The near side is the one that is met first; with no width both are one.
                    if sense == -side:
                        events.append(at + t)
        at += piece.duration_s
    return sorted(events)


def swing_edges(
    reps: int, rep_s: float, range_rad: float, magnets: int, first_s: float = 1.0, **sensor
) -> list[float]:
    """Seconds of the edges of a wheel that swings as -range cos(pi t / rep): turnarounds at whole reps."""
    spacing = 2 * math.pi / magnets
    offsets = sensor.get("offsets_rad") or [0.0] * magnets
    phase = sensor.get("phase_rad", 0.1)
    events = []
    most = int(range_rad / spacing) + magnets + 1
    for number in range(-most, most + 1):
        angle = phase + number * spacing + offsets[number % magnets]
        if abs(angle) >= range_rad:
            continue
        at = math.acos(-angle / range_rad) / math.pi * rep_s
        for rep in range(reps):
            # Every other rep runs the way back.
            events.append(first_s + rep * rep_s + (at if rep % 2 == 0 else rep_s - at))
    return sorted(events)


@dataclass
class Played:
    """What a session made of some edges."""

    session: session.Session
    reps: list[Rep]
    cues: list[tuple[int, int, int]]
    records: list[bytes]


def play(
    times_us: Sequence[int],
    steps: Sequence[int] | None = None,
    *,
    tail_us: int = 3_000_000,
    batch: int = 64,
    board: session.Session | None = None,
    **rig,
) -> Played:
    """Run a board's main loop over edges (unwrapped microseconds) until ``tail_us`` after the last one.

    batch: edges that the loop hands over at once, at most.
    """
    records: list[bytes] = []
    cues: list[tuple[int, int, int]] = []
    board = board or session.Session(rigfile.defaults() | rig, None, None)
    board.on_rep = lambda record: records.append(bytes(record))
    board.on_cue = lambda kind, rep, t_us: cues.append((kind, rep, t_us))
    clock = times_us[0] // LOOP_US * LOOP_US
    offset = clock - clock % WRAP
    board.poll(clock % WRAP)
    times, senses = array("i", [0] * batch), array("b", [0] * batch)
    place = 0
    while place < len(times_us) or clock < times_us[-1] + tail_us:
        clock += LOOP_US
        if not board.busy and place < len(times_us):
            # Nothing is due while nothing moves; the clock alone must be told before it wraps.
            clock += min(IDLE_US, max(0, times_us[place] - clock)) // LOOP_US * LOOP_US
        while place < len(times_us) and times_us[place] < clock:
            count = 0
            while count < batch and place < len(times_us) and times_us[place] < clock:
                times[count] = times_us[place] % WRAP
                senses[count] = steps[place] if steps else 0
                count += 1
                place += 1
            board.feed(times, senses, count)
        board.poll(clock % WRAP)
    reps = [decode_rep(record, offset)[0] for record in records]
    return Played(board, reps, [(kind, rep, t_us + offset) for kind, rep, t_us in cues], records)


def microseconds(seconds: Sequence[float]) -> list[int]:
    """Whole microseconds, as a board stamps them."""
    return [int(t * 1e6) for t in seconds]
