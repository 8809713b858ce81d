"""A session whatever its edges and its counter do: wraps, batches, rests, buffers that run full."""

import math
import random
from functools import cache

import pytest

from brakebeat.simulate import default_recording, preset
from tests.firmware.exact import Played, microseconds, play, swing_edges
from tests.firmware.hot import WRAP
from tests.firmware.loaded import session, stretch, wire

RIG = {"inertia_kg_m2": 0.12, "drum_radius_m": 0.015, "friction_torque_nm": 0.1, "momentum_reps": 0}
# Far enough from the clock's zero for every start to be told.
FIRST_US = 2_000_000


@cache
def edges_of(kind: str) -> tuple[list[int], list[int], int]:
    """(times, steps, pulses per turn) of three short reps, the second one braked late."""
    sensor = preset("dirty") if kind == "magnets" else preset("clean", 96, "encoder")
    recording, _ = default_recording(5, sensor=sensor, reps=3, late=[1], momentum_reps=0, stop_rad=20.0)
    shift = FIRST_US - int(recording.t_us[0])
    return (recording.t_us + shift).tolist(), recording.step.tolist(), recording.rig.pulses_per_rev


def played(kind: str, shift_us: int = 0, **options) -> Played:
    times, steps, pulses = edges_of(kind)
    return play([t + shift_us for t in times], steps, pulses_per_rev=pulses, **RIG, **options)


def told(what: Played, shift_us: int = 0) -> list:
    """All that came out, relative to the recording's beginning."""
    counts = (what.session.bounced, what.session.missed, what.session.spurious, what.session.incomplete)
    reps = [rep.to_document() for rep in what.reps]
    for rep in reps:
        for name, value in rep.items():
            if name.endswith("_us") and value is not None:
                rep[name] = value - shift_us
    return [reps, [(kind, rep, t_us - shift_us) for kind, rep, t_us in what.cues], counts]


@pytest.mark.parametrize("kind", ["magnets", "encoder"])
def test_there_are_reps_and_a_late_cue(kind):
    what = played(kind)
    assert len(what.reps) == 3
    assert 1 in [rep for cue, rep, _ in what.cues if cue == wire.CUE_LATE]


def wraps_at(times: list[int]) -> list[int]:
    """Shifts, whole turns of the main loop, that make the counter wrap between each edge and the next."""
    return [(WRAP - before) // 1000 * 1000 for before in times]


@pytest.mark.parametrize("part", range(6))
def test_the_counter_may_wrap_at_every_place(part):
    """The whole set of places is tried: before each edge, with the loop where it would be anyway."""
    expected = told(played("magnets"))
    times = edges_of("magnets")[0]
    for shift in wraps_at(times)[part::6]:
        assert told(played("magnets", shift), shift) == expected


def test_the_counter_may_wrap_at_any_place_of_an_encoders_edges():
    expected = told(played("encoder"))
    places = random.Random(1).sample(wraps_at(edges_of("encoder")[0]), 8)
    for shift in places:
        assert told(played("encoder", shift), shift) == expected


@pytest.mark.parametrize("kind", ["magnets", "encoder"])
@pytest.mark.parametrize("batch", [1, 2, 7])
def test_batches_do_not_matter(kind, batch):
    assert told(played(kind, batch=batch)) == told(played(kind, batch=64))


def test_batches_do_not_matter_for_a_fast_encoder():
    """2,400 counts a turn: some 30 a millisecond, so that batches are no longer one edge each."""
    recording, _ = default_recording(
        3, sensor=preset("clean", 2400, "encoder"), reps=2, momentum_reps=0, stop_rad=12.0
    )
    times = (recording.t_us + FIRST_US - recording.t_us[0]).tolist()
    rest = {"pulses_per_rev": 2400, **RIG}
    one, other = (play(times, recording.step.tolist(), batch=batch, **rest) for batch in (1, 64))
    assert len(one.reps) == 2
    assert told(one) == told(other)


def test_a_rest_beyond_the_counters_range_between_two_sets():
    """18 minutes of nothing: the loop has kept counting, the wheel starts a new set."""
    swing = microseconds(swing_edges(3, 1.8, 38.0, 6, first_s=2.0))
    rest_us = WRAP + 7_000_000
    second = [t + rest_us for t in swing]
    what = play([*swing, *second], momentum_reps=1)
    assert [rep.momentum for rep in what.reps] == [True, False, False] * 2
    for early, late in zip(what.reps[:3], what.reps[3:], strict=True):
        assert late.start_us - early.start_us == pytest.approx(rest_us, abs=30_000)


@pytest.mark.parametrize("edges", range(1, 6))
def test_a_handful_of_edges_is_no_rep(edges):
    what = play([1_000_000 + 40_000 * place for place in range(edges)])
    assert what.reps == []
    assert what.cues == []


def spin(edges: int, interval_us: int) -> list[int]:
    return [1_000_000 + interval_us * place for place in range(edges)]


def test_a_long_spin_is_thinned_not_overrun():
    """A wheel spun by hand, strap off: more edges than the buffer holds, and then it rests."""
    what = play(spin(5 * stretch.CAPACITY, 9_000), tail_us=3_000_000)
    assert what.reps == []
    assert what.session.incomplete == 1
    assert what.session.stretch.count == 0


@pytest.mark.parametrize(
    ("before", "gap"),
    [
        (300, 4.0),
        (376, 4.0),
        (377, 4.0),
        (378, 4.0),
    ],
)
def test_a_slow_spin_with_magnets_missed_as_the_buffer_fills(before, gap):
    """Whatever the hot path takes the gap for, it never writes behind its buffer."""
    times = spin(before, 100_000)
    first = times[-1] + int(gap * 100_000)
    what = play(times + [first + 100_000 * place for place in range(40)], **RIG)
    assert what.session.stretch.count <= stretch.CAPACITY


@pytest.mark.parametrize("pulses", [1, 6, 24, 2400])
def test_a_fresh_session_is_idle(pulses):
    board = play([1_000_000], pulses_per_rev=pulses).session
    assert (board.phase, board.busy, board.speed_milli_rad_s) == (session.IDLE, False, 0)


def test_live_state_follows_the_wheel():
    """Phase and speed as the radio's live message tells them, in mid-rep."""
    edges = microseconds(swing_edges(4, 1.8, 38.0, 6))
    board = None
    seen = []
    for upto in range(20, len(edges), 20):
        board = play(edges[:upto], tail_us=1000).session
        seen.append((board.phase, board.speed_milli_rad_s))
    assert {phase for phase, _ in seen} == {session.CONCENTRIC, session.ECCENTRIC}
    assert max(speed for _, speed in seen) == pytest.approx(1000 * 38.0 * math.pi / 1.8, rel=0.02)
    assert min(speed for _, speed in seen) >= 0
