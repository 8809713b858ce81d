"""Edges that are read again are read by what a wheel does there: a pull's beginning, a sudden brake before a turn."""

import pytest

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay


def test_two_magnets_missed_in_a_pulls_beginning_do_not_make_it_look_half_as_fast():
    """Each second edge went as a stray one, as if the wheel had gone on at its first pace: 1.9 rad were lost."""
    sensed = CONDITIONS["dirty-24"].sensed(4_011_000)
    reps = replay(sensed.recording).reps
    assert len(reps) == len(sensed.truth["reps"])
    for rep, true in zip(reps, sensed.truth["reps"], strict=True):
        ways_rad = rep.concentric_rad + rep.eccentric_rad
        assert ways_rad == pytest.approx(true["concentric_rad"] + true["eccentric_rad"], abs=0.3)


def test_the_last_edge_before_a_turn_behind_a_sudden_brake_is_no_stray_one():
    """A half rep, braked hard within few edges: told without its last edge the wheel turned 47 ms too early."""
    sensed = CONDITIONS["partial-6"].sensed(4_018_000)
    reps = replay(sensed.recording).reps
    assert len(reps) == len(sensed.truth["reps"])
    for rep, true in zip(reps, sensed.truth["reps"], strict=True):
        assert rep.end_us == pytest.approx(true["end_us"], abs=6_000)


def test_a_stray_edge_beside_a_missed_magnet_at_full_speed_loses_no_magnets():
    """Each second edge went as a stray one behind it: three magnets were lost, and power 31 % off."""
    sensed = CONDITIONS["dirty-24"].sensed(4_011_004)
    for rep, true in zip(replay(sensed.recording).reps, sensed.truth["reps"], strict=True):
        assert rep.eccentric.peak_power_w == pytest.approx(true["eccentric"]["peak_power_w"], rel=0.1)


def test_a_stray_edge_shortly_before_a_magnet_is_replaced_by_it_where_the_wheel_begins_to_slow():
    """It stayed, the magnet went, and no edge told of the brake any more: a late cue in a rep braked early."""
    sensed = CONDITIONS["dirty-6"].sensed(4_107_000)
    assert sensed.truth["reps"][10]["brake_timing"] == "early"
    assert not [cue for cue in replay(sensed.recording).cues if cue.kind == "late" and cue.rep == 10]
