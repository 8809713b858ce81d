"""100,000 edges a second without rhythm, as a loose plug makes them: counted as lost, no rep made of them, and the next
set is as right as without."""

import pytest

from tests.faults.lived import (
    CONNECT,
    POWER,
    REPORT,
    REPS,
    REST,
    WIRE,
    figures,
    flags,
    half,
    live,
    needs_vm,
    pull,
    reps_of,
)  # fmt: skip

pytestmark = needs_vm


def storm(loop_us=0, us=100_000):
    return {"do": "noise", "us": us, "gap_us": 10, "seed": 7, "loop_us": loop_us}


@pytest.mark.parametrize("loop_us", [0, 20_000])
def test_at_rest(tmp_path, loop_us):
    """The main loop gets its turn each millisecond, or, as where interrupts take the processor, each twenty."""
    orders = (POWER, CONNECT, pull(), REST, REPORT, storm(loop_us), REST, REPORT, pull(), REST, REPORT)
    outcome = live(tmp_path, *orders)
    before, after, last = outcome.reports
    edges = after["interrupts"] - before["interrupts"]
    assert edges > 9_000
    assert after["overrun"] >= 0.99 * edges
    assert (before["reps"], after["reps"], last["reps"]) == (REPS, REPS, 2 * REPS)
    assert (last["faults"], last["incomplete"], last["overrun"]) == (0, after["incomplete"], after["overrun"])
    reps = reps_of(outcome)
    assert len(reps) == 2 * REPS
    # What a second set makes of the same edges without a storm before it.
    calm = reps_of(live(tmp_path, POWER, CONNECT, pull(), REST, pull(), REST))[-REPS:]
    for rep, same in zip(reps[REPS:], calm, strict=True):
        assert figures(rep) == figures(same)
        assert flags(rep.body) == flags(same.body)


def test_amid_a_set(tmp_path):
    """Plug and socket part for a moment: what was under way is no whole rep, or is marked; then all is as ever."""
    first, second = pull(slice(None, half())), pull(slice(half(), None))
    outcome = live(
        tmp_path, POWER, CONNECT, first, REPORT, storm(), second, REST, REPORT, pull(), REST, REPORT
    )
    before, after, last = outcome.reports
    assert after["overrun"] > 9_000
    assert after["reps"] <= REPS <= after["reps"] + after["incomplete"]
    assert last["reps"] == after["reps"] + REPS
    reps = reps_of(outcome)
    assert len(reps) == last["reps"]
    # The one that the storm came in is marked, if it counts at all.
    across = reps[before["reps"]]
    assert after["incomplete"] or flags(across.body) & WIRE.FLAG_GAP
    assert not any(flags(rep.body) & WIRE.FLAG_GAP for rep in reps[-REPS:])
