"""The reference beside a running set: what it says of each rep, and when it says that it cannot."""

import asyncio
import dataclasses

import numpy as np
import pytest

from brakebeat.board.replay import replay
from brakebeat.check import load_limits
from brakebeat.formats.recording import read_recording
from brakebeat.link import EdgesArrived
from brakebeat.reference import analyse
from brakebeat.samples import find
from brakebeat.watch.live_check import LiveCheck


@pytest.fixture(scope="module")
def late():
    return read_recording(find("late"))


@pytest.fixture(scope="module")
def reps(late):
    return replay(late).reps


def make_check(late, **settings):
    check = LiveCheck(load_limits(), **settings)
    check.header = dict(late.header)
    return check


def edges_of(late, until_us=2**62, from_us=0, missing=0, boot=1):
    part = (late.t_us >= from_us) & (late.t_us < until_us)
    return EdgesArrived(boot, late.t_us[part], late.step[part], missing)


async def answers_of(check):
    check.close()
    return [answer async for answer in check.results()]


async def test_each_rep_is_answered_as_the_set_goes_on(late, reps):
    check = make_check(late)
    results = check.results()
    fed_us = 0
    for rep in reps[:4]:
        # A little more than the rep itself, as a board sends it.
        check.edges(edges_of(late, rep.end_us + 150_000, fed_us))
        fed_us = rep.end_us + 150_000
        check.rep(rep)
        answer = await anext(results)
        assert answer.rep == rep
        assert abs(answer.reference.peak_rad_s - rep.peak_rad_s) < 0.015 * rep.peak_rad_s
        assert "  peak " in answer.words
    await results.aclose()


async def test_all_agree_once_the_set_is_over(late, reps):
    check = make_check(late)
    check.edges(edges_of(late))
    for rep in reps:
        check.rep(rep)
    answers = await answers_of(check)
    assert [answer.rep.index for answer in answers] == [rep.index for rep in reps]
    assert all(answer.ok and answer.words.startswith("ok  peak ") for answer in answers)


async def test_a_board_that_is_wrong_is_told_in_which_figure(late, reps):
    check = make_check(late)
    check.edges(edges_of(late))
    check.rep(dataclasses.replace(reps[2], peak_rad_s=reps[2].peak_rad_s * 1.05))
    (answer,) = await answers_of(check)
    assert not answer.ok
    assert answer.words.startswith("TOO FAR: peak  peak +")


async def test_a_figure_that_one_side_alone_gives_is_named(late, reps):
    check = make_check(late)
    check.edges(edges_of(late))
    powerless = dataclasses.replace(reps[2].concentric, mean_power_w=None)
    check.rep(dataclasses.replace(reps[2], concentric=powerless))
    (answer,) = await answers_of(check)
    assert answer.words.startswith("TOO FAR: power")
    assert answer.words.endswith("  power by the reference only")


async def test_a_rep_that_the_reference_does_not_see(late, reps):
    check = make_check(late)
    check.edges(edges_of(late))
    check.rep(
        dataclasses.replace(reps[2], start_us=reps[2].start_us + 900_000, end_us=reps[3].end_us - 900_000)
    )
    (answer,) = await answers_of(check)
    assert (answer.reference, answer.ok) == (None, False)
    assert answer.words == "NOT FOUND by the reference"


async def test_lost_edges_are_the_reason_where_they_are(late, reps):
    check = make_check(late)
    middle_us = (reps[2].start_us + reps[2].end_us) // 2
    check.edges(edges_of(late, reps[2].start_us + 100_000))
    check.edges(edges_of(late, from_us=middle_us, missing=None))
    for rep in reps:
        check.rep(rep)
    answers = await answers_of(check)
    assert answers[2].words == "edges lost in this rep: no comparison" or answers[2].reference is not None
    assert all(answer.reference is not None for answer in answers[4:])


async def test_what_was_pulled_before_it_listened(late, reps):
    check = make_check(late)
    check.edges(edges_of(late, from_us=reps[3].end_us))
    check.rep(reps[1])
    (answer,) = await answers_of(check)
    assert answer.words == "pulled before its edges were listened to: no comparison"


async def test_no_edges_and_no_rig(late, reps):
    check = make_check(late)
    check.rep(reps[0])
    assert [answer.words for answer in await answers_of(check)] == ["no edges have come"]
    check = LiveCheck(load_limits())
    check.rep(reps[0])
    assert [answer.words for answer in await answers_of(check)] == ["no rig known for the reference"]


async def test_the_reference_gets_one_set_and_no_more_than_a_window(late, reps):
    seen = []

    def reference(recording):
        seen.append(recording.t_us)
        return analyse(recording)

    check = make_check(late, reference=reference)
    length_us = int(late.t_us[-1] - late.t_us[0]) + 20_000_000
    for number in range(4):
        shift_us = number * length_us
        edges = edges_of(late)
        check.edges(dataclasses.replace(edges, t_us=edges.t_us + shift_us))
    rep = reps[-1]
    check.rep(
        dataclasses.replace(rep, start_us=rep.start_us + 3 * length_us, end_us=rep.end_us + 3 * length_us)
    )
    (answer,) = await answers_of(check)
    assert answer.reference is not None
    assert seen[0].size == late.t_us.size
    assert seen[0][0] == late.t_us[0] + 3 * length_us


async def test_a_restarted_board_is_another_story(late, reps):
    check = make_check(late)
    edges = edges_of(late)
    check.edges(dataclasses.replace(edges, t_us=edges.t_us + 10**9))
    check.edges(dataclasses.replace(edges, boot=2))
    check.rep(reps[3])
    (answer,) = await answers_of(check)
    assert answer.ok


async def test_results_end_when_there_is_nothing_more():
    check = LiveCheck(load_limits())
    task = asyncio.create_task(answers_of(check))
    assert await task == []
    assert np.size(check._tape.edges()[0]) == 0
