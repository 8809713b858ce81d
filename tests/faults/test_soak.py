"""A short soak (the hour is ``python -m brakebeat.bench.soak``), and that a wrong count would be seen."""

import os

from brakebeat.bench.soak import HEAP_LIMIT_BYTES, Soak, compare, soak
from brakebeat.bench.soaking.board import Outcome, Taken
from brakebeat.bench.soaking.events import Event, draw
from tests.faults.lived import needs_vm


@needs_vm
def test_every_count_is_what_was_fed_and_the_heap_is_flat():
    long = bool(os.environ.get("BRAKEBEAT_LONG"))
    found = soak(minutes=60 if long else 4, seed=25, idle_us=1_000 if long else 20_000)
    assert found.wrong == []
    assert found.heap_growth_bytes <= HEAP_LIMIT_BYTES
    assert found.reps >= 16
    assert {"set", "rest", "power-up", "connect"} <= set(found.events)
    assert found.wraps


def test_an_hour_holds_all_that_may_happen():
    kinds = [event.kind for event in draw(60, 1, 1_000)]
    assert {"set", "rest", "power-up", "connect", "disconnect", "strays", "storm"} == set(kinds)
    assert kinds.count("set") > 8


REPORT = {
    "reps": 2, "overrun": 0, "bounced": 0, "spurious": 0, "incomplete": 0, "missed": 0, "interrupts": 9, "handled": 9,
    "faults": 0, "trouble": "", "refused": 0, "reps_lost": 0, "journal_torn": 0, "overwritten": 0, "journal_boot": 0,
    "clock_us": 5_500_000, "since_power_us": 5_500_000, "uptime_s": 5, "at_rest": True, "journal_next": 2,
}  # fmt: skip


def judged(records=(0, 1), **changes):
    events = [Event("power-up", [], {"reps": 2, "interrupts": 9, "handled": 9})]
    taken = [Taken(7, number, 1, 0, b"") for number in records]
    return compare(events, Outcome([REPORT | changes], taken))


def test_a_count_that_is_off_by_one_is_told():
    assert judged() == []
    assert judged(reps=3) == ["0 power-up: reps 3, fed 2"]
    assert judged(bounced=1) == ["0 power-up: bounced 1, fed 0"]
    assert judged(clock_us=5_500_001) == ["0 power-up: clock_us 5500001, not 5500000"]
    assert judged(faults=1) == ["0 power-up: faults 1, not 0"]
    assert judged(records=(1, 0)) == ["records did not all arrive once and in order"]
    assert judged(records=(0, 0, 1)) == [
        "records did not all arrive once and in order",
        "3 reps arrived, fed 2",
    ]


def test_heap_that_grows_is_seen():
    grown = Soak(1.0, {}, 0, 0, 0, 0, 0, [1000, 900, 1000, 1100, 1500, 1500], [])
    assert grown.heap_growth_bytes == 600
    assert not grown.ok
