"""The rig file's magnet table: found whichever way round it lies, believed only where it shows, stale where not."""

import dataclasses
from array import array
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.board import replay
from brakebeat.formats.recording import Recording
from brakebeat.formats.rig import Rig
from brakebeat.simulate import default_recording, preset
from tests.firmware.loaded import reps, spacing, stored

DEGREE_RAD = np.pi / 180


@given(
    st.integers(3, 24).flatmap(
        lambda size: st.lists(
            st.floats(-0.03, 0.03, allow_subnormal=False), min_size=size, max_size=size, unique=True
        )
    ),
    st.integers(0, 23),
    st.booleans(),
    st.randoms(use_true_random=False),
)
def test_any_turn_of_the_table_either_way_round_is_found_or_nothing(table, first, backwards, random):
    """What is found is what was learnt, to the noise; it may be another turn only where that is as like."""
    size = len(table)
    sense = -1 if backwards else 1
    turned = [sense * table[(first + sense * k) % size] for k in range(size)]
    noise = 0.1 * float(np.std(table))
    learnt = array("f", [value + random.uniform(-noise, noise) for value in turned])
    found = stored.recognise(learnt, table)
    if found is not None:
        assert np.abs(np.subtract(found, turned)).max() <= 12 * noise + 1e-6


def test_an_uneven_table_is_found_and_another_wheel_is_not():
    table = [0.02, -0.01, 0.004, -0.018, 0.012, -0.008]
    found = stored.recognise(array("f", table[2:] + table[:2]), table)
    assert list(found) == pytest.approx(table[2:] + table[:2])
    strangers = sum(
        stored.recognise(array("f", [0.015, 0.011, -0.02, 0.001, -0.004, -0.003][k:] + [0.0] * k), table)
        is None
        for k in range(4)
    )
    assert strangers == 4


def test_no_table_is_made_up_for_a_wheel_that_learnt_nothing():
    table = [0.02, -0.01, 0.004, -0.018, 0.012, -0.008]
    assert stored.recognise(array("f", [0.0] * 6), table) is None


def test_two_magnets_have_one_table_however_it_lies():
    assert list(stored.recognise(array("f", [0.019, -0.021]), [-0.02, 0.02])) == pytest.approx([0.02, -0.02])


def _with_table(recording: Recording, offsets_rad: list[float]) -> Recording:
    """The recording with a rig file that holds this magnet table."""
    rig = Rig(pulses_per_rev=recording.rig.pulses_per_rev, magnet_offsets_rad=tuple(offsets_rad))
    return dataclasses.replace(recording, rig_override=rig)


def _worst_of_first_rep(recording: Recording, truth: dict) -> float:
    found = replay(recording, engine="cpython").reps[0]
    return abs(found.peak_rad_s / truth["reps"][0]["peak_rad_s"] - 1.0)


def test_a_stale_table_is_flagged_and_changes_no_figure():
    """A table of another wheel: after three reps the reps say so, and every figure is as without it."""
    recording, truth = default_recording(4, sensor=preset("clean", 6, placement_rad=DEGREE_RAD))
    own = np.asarray(truth["magnet_offsets_rad"])
    order = max(permutations(range(6)), key=lambda o: _distance(own, own[list(o)]))
    plain = replay(recording, engine="cpython")
    stale = replay(_with_table(recording, own[list(order)].tolist()), engine="cpython")
    assert "magnets_stale" in stale.reps[-1].flags
    assert not any("magnets_stale" in rep.flags for rep in plain.reps)
    for one, other in zip(plain.reps, stale.reps, strict=True):
        assert dataclasses.replace(other, flags=one.flags) == one


def _distance(own: np.ndarray, other: np.ndarray) -> float:
    turns = [np.roll(side, k) for side in (other, -other[::-1]) for k in range(len(other))]
    return min(float(np.sum((own - turn) ** 2)) for turn in turns)


@pytest.mark.parametrize("turned", [0, 2, 5])
@pytest.mark.parametrize("backwards", [False, True])
def test_the_right_table_is_used_whichever_way_round_it_is_written(turned, backwards):
    recording, truth = default_recording(5, sensor=preset("clean", 6, placement_rad=DEGREE_RAD))
    offsets = np.roll(truth["magnet_offsets_rad"], turned)
    if backwards:
        offsets = -offsets[::-1]
    with_table = _with_table(recording, offsets.tolist())
    found = replay(with_table, engine="cpython")
    assert not any("magnets_stale" in rep.flags for rep in found.reps)
    # 0.3 % is what perfectly placed magnets are held to.
    assert _worst_of_first_rep(with_table, truth) < 0.003


def test_a_place_that_was_lost_is_found_anew():
    """Once placed the table is only smoothed; forgotten, it is recognised again in whatever turn it comes back."""
    offsets = [0.02, -0.01, 0.004, -0.018, 0.012, -0.008]
    table = spacing.SpacingTable(6)
    holder = SimpleNamespace(
        _stretch=SimpleNamespace(table=table), _stored=[o / 2 for o in offsets], _stored_stale=True
    )
    for first in (0, 4):
        turned = offsets[first:] + offsets[:first]
        table.forget()
        table.offsets = array("f", [0.9 * value for value in turned])
        table.reps = 1
        reps.Reps._place_stored(holder, 0.5)
        assert list(table.offsets) == pytest.approx(turned)
        assert not holder._stored_stale
        table.offsets[0] = 0.5
        table.reps += 1
        reps.Reps._place_stored(holder, 0.5)
        assert table.offsets[0] == 0.5
