"""Turnarounds that were once read wrongly, held to the simulator's truth; limits in ms are the project's own."""

import itertools
from functools import cache

import numpy as np

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse
from brakebeat.reference.edges import edge_train
from brakebeat.reference.pipeline import understand
from brakebeat.simulate import default_sensed, draw_plan, preset


@cache
def reps_and_truth(kind, seed):
    sensed = CONDITIONS[kind].sensed(seed)
    return analyse(sensed.recording).reps, sensed.truth["reps"]


def errors_ms(kind, seed, figure):
    found, truth = reps_and_truth(kind, seed)
    assert len(found) == len(truth)
    pairs = zip(found, truth, strict=True)
    return np.array([(getattr(rep, figure) - true[figure]) * 1e-3 for rep, true in pairs])


def test_an_edge_from_nowhere_just_before_a_magnet():
    # 1.6 ms before the fourth magnet after a turnaround; taken for the magnet's, it moved the turnaround by a magnet.
    ends = errors_ms("dirty-6", 1_207_003, "end_us")
    assert np.abs(ends[:-1]).max() < 12.0
    assert abs(ends[-1]) < 15.0
    assert np.abs(errors_ms("dirty-6", 1_207_003, "extension_us")).max() < 5.0


def test_pulls_that_take_long_to_come():
    # 70 ms or so, and half again as strong as the brake before them.
    assert np.abs(errors_ms("clean-12", 1_208_002, "end_us")).max() < 4.0


def test_a_magnet_missed_and_an_edge_from_nowhere_in_one_gap():
    # The stray edge passed for the magnet that was missed and the next magnet's own edge for a stray one: 139 ms.
    ends = errors_ms("dirty-6", 1_457_040, "end_us")
    assert np.abs(ends[:-1]).max() < 12.0
    assert np.abs(errors_ms("dirty-6", 1_457_040, "start_us")).max() < 15.0


def test_a_rest_whose_valley_runs_aslant():
    # An edge from nowhere in the rest; leaving it out was judged too dear by a search that lost the valley: 270 ms.
    starts = errors_ms("paused-dirty-6", 1_567_003, "start_us")
    assert np.abs(starts).max() < 25.0


def test_two_magnets_missed_and_an_edge_from_nowhere():
    # Three things wrong at one turnaround: readings that differ in one thing from the first all led astray, 149 ms.
    ends = errors_ms("dirty-6", 1_557_009, "end_us")
    assert np.abs(ends[:-1]).max() < 12.0
    assert abs(ends[-1]) < 15.0


def test_edges_from_nowhere_in_rests():
    # The slower of two gaps' speeds stood for that of an edge next to a rest: a stray one seemed likelier, 192 ms.
    for seed in (1_567_005, 2_017_010):
        assert np.abs(errors_ms("paused-dirty-6", seed, "start_us")).max() < 15.0
        assert np.abs(errors_ms("paused-dirty-6", seed, "end_us")).max() < 15.0


def test_a_magnet_missed_among_the_first():
    # With the one after it missed, the first three magnets passed for stray edges, 45 ms.
    assert abs(errors_ms("dirty-6", 1_507_026, "start_us")[0]) < 15.0


def test_a_brake_far_harder_than_usual():
    # Four times the usual deceleration up to standstill, then a pull like any other.
    for seed in (2_018_001, 2_018_009):
        assert np.abs(errors_ms("partial-6", seed, "end_us")[:-1]).max() < 4.0


def test_what_cannot_be_told_is_in_the_uncertainty():
    # In the rest after rep 6 there are two stray edges, which nearly pass for magnets.
    for rep, true in zip(*reps_and_truth("paused-dirty-6", 2_017_015), strict=True):
        for figure in ("start_us", "end_us"):
            off = abs(getattr(rep, figure) - true[figure])
            assert off < 3.0 * rep.uncertainty[figure], (figure, rep.index)


def test_a_pull_that_comes_slowly_is_no_rest():
    # Rests of 19 and 15 ms, shorter than muscles can let go and pull anew, explained the edges as well: 10 and 11 ms.
    for seed in (2_118_008, 3_218_006):
        assert np.abs(errors_ms("partial-6", seed, "end_us")[:-1]).max() < 4.0
        assert np.abs(errors_ms("partial-6", seed, "start_us")[1:]).max() < 4.0


def test_three_magnets_missed_in_a_row():
    # At full speed; a search that allows for two at most found a turnaround there, and one rep too few.
    assert np.abs(errors_ms("dirty-12", 3_209_005, "end_us")[:-1]).max() < 12.0


def test_noise_at_the_ends_of_rests():
    # By the seven edges on either side alone up to 20 ms off; what lies further away is told by a steady pull.
    for seed in (3_217_001, 3_217_002):
        assert np.abs(errors_ms("paused-dirty-6", seed, "start_us")[1:]).max() < 15.0
        assert np.abs(errors_ms("paused-dirty-6", seed, "end_us")[:-1]).max() < 15.0


def test_a_wheel_that_stood_just_behind_its_only_magnet():
    # Nearly a turn before the first edge: more than the spline reaches back, and the rep counted as begun in motion.
    for seed in (2_901_038, 2_901_089, 2_901_119):
        errors_ms("clean-1", seed, "start_us")


def test_one_magnet_and_a_wheel_already_turning():
    # Without its first edge the first rep has no beginning; the spline stops early enough all the same.
    told = [_first_start_without_an_edge(seed) for seed in range(3_801_000, 3_801_012)]
    assert sum(told) <= 1


def test_one_magnet_and_a_wheel_that_hardly_shows_that_it_stood():
    # Edges tell neither; the first rep was left out for want of a beginning.
    for seed in (4_431_078, 4_431_162):
        errors_ms("clean-1", seed, "end_us")


def _first_start_without_an_edge(seed):
    sensed = CONDITIONS["clean-1"].sensed(seed)
    recording = sensed.recording
    found = analyse(Recording(recording.t_us[1:], recording.step[1:], recording.header)).reps
    return found[0].start_us < sensed.truth["reps"][0]["end_us"] - 200_000


def test_pulls_that_grow_along_an_s_before_an_encoder():
    # Taken to grow evenly, they put the vertex 4.6 and 4.2 ms off, with half a millisecond of doubt.
    for seed in (2_921_003, 2_921_007):
        assert np.abs(errors_ms("quadrature-96", seed, "end_us")[:-1]).max() < 3.0


def test_the_sensors_shift_is_the_same_at_all_turnarounds():
    # Told by a joint fit through them, and to each on its own, it put vertices 3.4 and 2.3 ms off.
    for kind, seed in (("clean-6", 3_806_036), ("clean-24", 3_810_007)):
        assert np.abs(errors_ms(kind, seed, "end_us")[:-1]).max() < (3.0 if kind == "clean-6" else 1.5)


def test_starts_lag_as_the_sessions_pulls_do():
    # 15.1 and 13.6 ms with every pull taken for one of the usual kind. No more than so far: a first pull is waited for,
    # and taken to lag just as those behind brakes, one that comes at once was placed 28 ms early.
    for seed, most in ((2_921_006, 8.0), (3_821_018, 6.0)):
        assert abs(errors_ms("quadrature-96", seed, "start_us")[0]) < most


def test_the_last_edge_of_one_magnet_and_a_stray_one_behind_two():
    # How rough the end was mattered too coarsely: one real edge thrown away, one stray one kept, and the rep with each.
    errors_ms("clean-1", 3_801_098, "end_us")
    for seed in (2_903_038, 3_803_012):
        errors_ms("dirty-2", seed, "end_us")


def test_a_brake_many_times_harder_than_usual():
    # On a short way back; the edge behind the turnaround passed for a stray one, 24 ms.
    assert np.abs(errors_ms("partial-6", 3_818_011, "end_us")[:-1]).max() < 4.0


def test_an_encoder_is_believed():
    # Where the vertex model fitted badly another magnet at the turnaround was tried, though the count tells which it
    # was, and explained it as well: 19 ms.
    assert np.abs(errors_ms("quadrature-96", 4_021_006, "end_us")[:-1]).max() < 4.0


def test_the_count_says_how_far_back_the_wheel_came():
    sensed = CONDITIONS["quadrature-96"].sensed(3_921_001)
    counts = edge_train(sensed.recording).count
    for section in understand(sensed.recording).sections:
        chain = section.fit.chain
        for turning, (before, after) in zip(chain.turnings, itertools.pairwise(chain.runs), strict=True):
            assert turning.way == before.sense * (counts[before.row[-1]] - counts[after.row[0]])


def test_two_magnets_missed_beside_two_edges_from_nowhere():
    # The wheel turned within the last magnet's reach, too: only a rest among the readings that were tried, 79 ms.
    assert np.abs(errors_ms("dirty-12", 4_009_010, "end_us")[:-1]).max() < 12.0


def test_a_brake_is_steady_until_the_wheel_stands():
    # It was let change in its last 45 ms, as it does where a pull follows: 23, 17 and 22 ms; the last one brakes nine
    # times as hard as usual.
    for kind, seed in (("partial-6", 4_018_018), ("dirty-6", 4_007_032), ("partial-6", 4_018_002)):
        assert abs(errors_ms(kind, seed, "end_us")[-1]) < 10.0


def test_an_edge_from_nowhere_while_the_wheel_comes_to_rest():
    # It passed for a further magnet, for which the brake would have had to weaken: 63 ms.
    assert abs(errors_ms("dirty-6", 3_957_008, "end_us")[-1]) < 10.0


def test_a_brake_that_begins_among_the_last_edges():
    # Edges known to 5 µs, 300 ms of a brake four times as hard as usual: no roughness looked at allowed for it, and one
    # edge after the other went as a fault until the rep was gone.
    ends = errors_ms("partial-6", 4_018_014, "end_us")
    assert abs(ends[-1]) < 10.0


def test_pulls_that_take_three_times_as_long_to_come():
    # 120 ms were no time that a pull could take: 5 ms at turnarounds, 20 at the first start.
    for seed in (71, 72):
        sensed = default_sensed(seed, plan=draw_plan(seed, reps=10, rise_s=0.12), sensor=preset("clean", 12))
        pairs = list(zip(analyse(sensed.recording).reps, sensed.truth["reps"], strict=True))
        ends_ms = np.array([(rep.end_us - true["end_us"]) * 1e-3 for rep, true in pairs])
        assert np.abs(ends_ms[:-1]).max() < 4.0
        assert abs(pairs[0][0].start_us - pairs[0][1]["start_us"]) < 15e3


def test_edges_are_not_given_up_for_a_smooth_motion():
    # With two magnets, where the session's turnarounds are calm and one is not: five of its edges went as faults, and
    # two reps with them.
    assert np.abs(errors_ms("dirty-2", 4_233_004, "end_us")).max() < 20.0


def test_rests_do_not_tell_how_pulls_weaken():
    # Two short ones among eleven, taken for turns straight round, told of pulls as on the lightest wheels: starts up to
    # 419 ms early.
    assert np.abs(errors_ms("paused-6", 4_416_009, "start_us")).max() < 15.0


def test_light_wheels_that_soon_run_as_fast_as_they_are_pulled():
    # Their pull is at half its strength after a few magnets; with a jerk that lasts for it, other magnets explained the
    # edges better: 40 ms, and a first rep missed.
    for seed in (4_324_002, 4_324_013):
        assert np.abs(errors_ms("varied-6", seed, "end_us")[:-1]).max() < 6.0


def test_light_wheels():
    # Pulled many times harder at first than once they are fast: other magnets explained the edges better under priors
    # made for heavy wheels, 30 and 29 ms.
    for seed in (3_924_015, 4_024_010):
        assert np.abs(errors_ms("varied-6", seed, "end_us")[:-1]).max() < 4.0


def test_pulls_that_come_at_once_or_slowly():
    # Within 5 to 150 ms on other rigs; taken to come within 25 to 70 they put vertices 10 ms off with 24 magnets.
    assert np.abs(errors_ms("varied-24", 3_925_009, "end_us")[:-1]).max() < 4.0


def test_manners_are_told_by_the_turnarounds():
    # Their jerk is far below what bursts of it elsewhere in the recording say: the vertex was 5 ms early.
    assert np.abs(errors_ms("clean-6", 3_906_001, "end_us")[:-1]).max() < 1.5


def test_a_first_pull_far_harder_at_first_than_later():
    # The spline went astray before the first edge, and the rep counted as begun in motion.
    errors_ms("varied-6", 3_924_001, "start_us")


def test_two_strays_beside_a_pause_are_no_stroke():
    # Read as a stroke of 1.3 rad, they turned the sense of all that followed: four reps of twelve never passed phi = 0.
    ends = errors_ms("paused-dirty-6", 4_417_005, "end_us")
    assert np.abs(ends).max() < 15.0
