"""An encoder on the ESP32's pulse counter: sampled twice a millisecond, thinned, its edges placed between samples."""

import itertools
import math

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

# Each change is [time_us, place]: the encoder's count from then on.
SCRIPT = """
task = json.loads(sys.stdin.readline())
world = setup.board(task.get("chip", "esp32"))
world.now_us = 0
world.levels.update({25: 0, 26: 0})
from brakebeat_fw import sources
import machine
rig = {"board.sensor": "quadrature", "board.sensor_pin": 25, "board.sensor_pin_b": 26, "board.thin": task["thin"]}
rig.update(task.get("rig", {}))
source, trouble = sources.from_rig(rig, machine)
session = setup.Session()
blind = task.get("blind", [0, 0])
callback = first = None
for time_us, place in task["changes"]:
    timer = world.timers[0] if world.timers else None
    if timer:
        # While the VM is busy elsewhere no timer's handler comes.
        callback = callback or timer.callback
        timer.callback = (lambda _timer: None) if blind[0] <= time_us < blind[1] else callback
    world.pass_us(time_us - world.now_us)
    levels = (0, 1, 3, 2)[place % 4]
    world.drive(25, levels & 1)
    world.drive(26, levels >> 1)
    if place % task.get("pump", 1) == 0:
        source.pump(session)
        if first is None:
            first = (len(session.edges), source.lost)
world.pass_us(3000)
source.pump(session)
# After a loss it returns before what comes behind.
source.pump(session)
first = first or (0, 0)
told = {"kind": source.kind, "edges": session.edges, "lost": source.lost, "trouble": trouble}
told.update({"first": first[0], "first_lost": first[1]})
print(json.dumps(told))
"""


def played(changes, thin, **task):
    return run(SCRIPT, {"changes": changes, "thin": thin} | task)[0]


def swing(counts_per_s: float, period_s: float, duration_s: float) -> list[tuple[int, int]]:
    """An encoder that swings to and fro with that greatest speed: each change of its count, to the microsecond."""
    reach = counts_per_s * period_s / (2 * math.pi)
    changes, place = [], 0
    for time_us in range(0, round(duration_s * 1e6), 5):
        now = math.floor(reach * math.sin(2 * math.pi * time_us * 1e-6 / period_s) + 0.5)
        if now != place:
            changes.append((time_us, now))
            place = now
    assert all(abs(b - a) == 1 for (_, a), (_, b) in itertools.pairwise(changes))
    return changes


def crossings(changes: list[tuple[int, int]], thin: int) -> list[tuple[int, int]]:
    """When the count truly passed each multiple of ``thin``, and which way."""
    found, before = [], 0
    for time_us, place in changes:
        if place // thin != before // thin:
            found.append((time_us, place - before))
        before = place
    return found


@pytest.mark.parametrize("thin", [8, 32])
def test_edges_stand_where_the_count_passed(thin):
    changes = swing(20_000, 0.4, 0.35)
    done = played(changes, thin)
    true = crossings(changes, thin)
    assert (done["kind"], done["trouble"], done["lost"]) == ("counter", "", 0)
    assert [step for _, step in done["edges"]] == [step for _, step in true]
    # Between two samples 0.5 ms apart the speed is taken as constant: off by no more than the counts' own fineness, a
    # count and a half, where it runs at 2.5 counts a sample or more; within a sample elsewhere.
    for (time_us, _), (true_us, _) in zip(done["edges"], true, strict=True):
        speed = abs(20_000 * math.cos(2 * math.pi * true_us * 1e-6 / 0.4))
        assert abs(time_us - true_us) <= (1.5e6 / speed if speed > 5_000 else 500)
    # A sampled count is half a count more or less than the truth, in the mean none of it: edges are not late by half.
    late = [
        (time_us - true_us) * 1e-6 * 20_000 * abs(math.cos(2 * math.pi * true_us * 1e-6 / 0.4))
        for (time_us, _), (true_us, _) in zip(done["edges"], true, strict=True)
    ]
    assert abs(sum(late) / len(late)) < 0.2


def test_one_count_an_edge_loses_none_and_keeps_their_order():
    changes = swing(30_000, 0.2, 0.15)
    done = played(changes, 1)
    times = [time_us for time_us, _ in done["edges"]]
    assert len(times) > 1000
    assert times == sorted(times)
    # A turnaround between two samples hides the counts that came and went between them.
    assert sum(step for _, step in done["edges"]) == changes[-1][1]
    assert abs(len(times) - len(changes)) <= 4


def test_the_counter_starts_again_at_its_limits_and_no_count_is_lost():
    """40,000 counts one way, beyond the hardware's limit, and back."""
    places = [*range(1, 40_001), *range(39_999, -1, -1)]
    changes = [(1000 + 20 * number, place) for number, place in enumerate(places)]
    done = played(changes, 1000, pump=5000)
    assert [step for _, step in done["edges"]] == [1] * 40 + [-1] * 40
    assert done["lost"] == 0


def test_a_stall_loses_no_count_and_only_a_long_one_is_told():
    changes = [(1000 + 40 * number, number + 1) for number in range(12_000)]
    short = played(changes, 16, pump=100, blind=[100_000, 150_000])
    long = played(changes, 16, pump=100, blind=[100_000, 300_000])
    for done, lost in ((short, 0), (long, 1)):
        assert len(done["edges"]) == 12_000 // 16
        assert done["lost"] == lost
        for number, (time_us, _) in enumerate(done["edges"]):
            true_us = 1000 + 40 * (16 * (number + 1) - 1)
            # At an even speed a stall costs no more than a count's fineness at its two ends.
            assert abs(time_us - true_us) <= 60


def test_a_loss_counts_before_what_comes_behind_it():
    """The program asks after each ``pump``; all of this waits for one."""
    changes = [(1000 + 40 * number, number + 1) for number in range(10_000)]
    done = played(changes, 16, pump=10_000, blind=[100_000, 300_000])
    assert (done["first_lost"], done["lost"]) == (1, 1)
    true_us = [1000 + 40 * (16 * number + 15) for number in range(len(done["edges"]))]
    # The last sample before the loss comes half a millisecond before it.
    assert done["first"] == sum(time_us < 99_500 for time_us in true_us)
    assert len(done["edges"]) == 10_000 // 16


def test_a_full_ring_of_samples_loses_no_count():
    """The main loop is away for 4 s; 2047 samples wait, the rest is made up for by the next one."""
    changes = [(1000 + 500 * number, number + 1) for number in range(8_000)]
    done = played(changes, 4, pump=8_000)
    assert [step for _, step in done["edges"]] == [1] * 2_000
    # Those that have a sample of their own are placed by it.
    for number, (time_us, _) in enumerate(done["edges"][:1000]):
        assert abs(time_us - (1000 + 500 * (4 * number + 3))) <= 500


@pytest.mark.parametrize(
    ("chip", "rig", "reason"),
    [
        ("c3", {"board.source": "counter"}, "PCNT"),
        ("esp32", {"board.source": "counter", "board.sensor": "hall"}, "only for a quadrature encoder"),
        ("esp32", {"board.source": "pio"}, "rp2"),
        ("rp2", {"board.source": "counter"}, "esp32"),
    ],
)
def test_a_board_that_has_no_such_thing_says_so_and_goes_on_by_interrupt(chip, rig, reason):
    done = played([(1000, 1)], 1, chip=chip, rig=rig)
    assert done["kind"] in ("interrupt", "scheduled", "witnessed")
    assert done["trouble"].startswith(f"board.source: {rig['board.source']} cannot be used (")
    assert reason in done["trouble"]
