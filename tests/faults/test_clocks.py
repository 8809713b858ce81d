"""A counter that leaps: the board's clock never runs back, at most the rep under way is lost, the next set is right."""

import pytest

from tests.faults.lived import CONNECT, POWER, REPORT, REPS, REST, half, live, needs_vm, pull, reps_of

pytestmark = needs_vm


def leap(seconds):
    return {"do": "jump", "us": int(seconds * 1_000_000)}


@pytest.mark.parametrize("seconds", [-300, -0.5, 30, 540])
def test_at_rest(tmp_path, seconds):
    outcome = live(
        tmp_path, POWER, CONNECT, pull(), REST, REPORT, leap(seconds), REST, REPORT, pull(), REST, REPORT
    )
    before, after, last = outcome.reports
    assert after["clock_us"] >= before["clock_us"]
    assert [one["reps"] for one in outcome.reports] == [REPS, REPS, 2 * REPS]
    assert (last["incomplete"], last["faults"]) == (0, 0)
    # From then on it keeps time.
    assert last["clock_us"] - after["clock_us"] == last["since_power_us"] - after["since_power_us"]
    assert len(reps_of(outcome)) == 2 * REPS


@pytest.mark.parametrize("seconds", [-5, 540])
def test_amid_a_set(tmp_path, seconds):
    first, second = pull(slice(None, half())), pull(slice(half(), None))
    outcome = live(tmp_path, POWER, CONNECT, first, leap(seconds), second, REST, REPORT, pull(), REST, REPORT)
    after, last = outcome.reports
    assert after["reps"] + after["incomplete"] >= REPS
    assert last["reps"] == after["reps"] + REPS
    assert (last["incomplete"], last["faults"]) == (after["incomplete"], 0)
    starts = [int.from_bytes(record.body[8:16], "little") for record in reps_of(outcome)]
    assert starts == sorted(starts)
