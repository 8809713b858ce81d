"""Words of the state machine through DMA and ring: the edges that the session gets are the sensor's."""

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run
from tests.firmware_sources.emulated import CYCLES_PER_US, stamps

pytestmark = needs_vm
MASK = 2**30 - 1
FULL = 0x0FFFFFFF

SCRIPT = """
task = json.loads(sys.stdin.readline())
world = setup.board("rp2")
world.now_us = task.get("now_us", 1000)
world.levels.update({14: task["levels"] & 1, 15: task["levels"] >> 1 & 1})
from brakebeat_fw import sources
import machine
rig = {"board.sensor": task["sensor"], "board.sensor_pin": 14, "board.sensor_pin_b": task.get("pin_b", 15)}
rig["board.thin"] = task.get("thin", 1)
world.hertz = task.get("hertz", 125000000)
source, trouble = sources.from_rig(rig, machine)
session = setup.Session()
lost = []
if task.get("pumps"):
    started = world.now_us
    dma = world.channels[0]
    if "count" in task:
        source._left = dma.count = task["count"]
    for words in task["pumps"]:
        dma.take(words)
        source.pump(session)
        lost.append(source.lost)
    counter = [each for each in world.machines if hasattr(each, "running")][0]
    sets = {name: counter.settings[name] for name in ("freq",)}
    sets["pin"] = counter.settings["in_base"].number
    sets["running"] = counter.running
    sets["dma"] = dma.control
    sets["read"] = dma.settings["read"]
    sets["started"] = dma.started
    sets["off"] = source._base % 4096
print(json.dumps({"edges": session.edges, "lost": lost, "kind": source.kind, "trouble": trouble,
    "sets": sets if task.get("pumps") else None, "polls": session.polls}))
"""


def played(**task):
    return run(SCRIPT, {"sensor": "hall", "levels": 3} | task)[0]


def words_of(path: list[int], first_us: int = 10, gap_us: int = 20) -> list[int]:
    """Words as the program makes them (its own test shows that it does): one level after the other."""
    return [levels << 30 | -(first_us + place * gap_us) & MASK for place, levels in enumerate(path)]


def test_how_the_hardware_is_set_up():
    sets = played(pumps=[[]])["sets"]
    assert (sets["freq"], sets["pin"], sets["running"]) == (16_000_000, 14, True)
    # A ring of the DMA's begins at a multiple of its size.
    assert sets["off"] == 0
    assert (16_000_000 * 256) % 125_000_000 != 0  # the divider is no whole number …
    assert (125_000_000 * 256) % 16_000_000 == 0  # … but one of 256ths, as the hardware has them
    # RP2040 data sheet, from memory: PIO0_BASE 0x50200000, RXF0 at 0x20; DREQ_PIO0_RX0 is 4.
    assert sets["read"] == 0x50200000 + 0x20
    assert sets["dma"] == {"inc_read": False, "ring_size": 12, "ring_sel": True, "treq_sel": 4}


def test_edges_of_one_hall_sensor_end_to_end_through_the_emulated_program():
    gaps_us = [140.0, 97.3, 55.5, 31.2, 204.0, 17.9, 88.8, 64.1]
    changes, at, falls = [(0, 1)], 0.0, []
    for gap_us in gaps_us:
        at += gap_us
        falls.append(at)
        changes += [(round(at * CYCLES_PER_US), 0), (round((at + 9) * CYCLES_PER_US), 1)]
    words = stamps(1, changes, changes[-1][0] + 64)
    done = played(levels=1, pumps=[words[:5], words[5:]], now_us=5000)
    assert done["kind"] == "pio"
    assert done["trouble"] == ""
    assert [step for _, step in done["edges"]] == [0] * len(falls)
    # The state machine began within the 4 us that starting it takes: its offset lies in their middle. It first looks
    # 6 cycles after that, and an edge is seen within 16.
    for (time_us, _), fall_us in zip(done["edges"], falls, strict=True):
        assert -6 / 16 <= time_us - (5002 + fall_us) <= 1.0


def test_two_hall_sensors_tell_the_sense():
    # A falls while B is high, then while B is low.
    done = played(sensor="hall_pair", pumps=[words_of([2, 0, 1, 3, 1, 0, 2, 3])])
    assert [step for _, step in done["edges"]] == [1, -1]


QUADRATURE = [0, 1, 3, 2]


def walk(start: int, moves: list[int]) -> list[int]:
    """Levels of an encoder after each move of +1 or -1 from the place ``start``."""
    path = []
    for move in moves:
        start += move
        path.append(QUADRATURE[start % 4])
    return path


@pytest.mark.parametrize("thin", [1, 4, 7])
def test_an_encoder_is_decoded_then_thinned(thin):
    moves = [1] * 60 + [-1] * 90 + [1, -1] * 5 + [1] * 33
    path = walk(2, moves)
    done = played(sensor="quadrature", levels=QUADRATURE[2], thin=thin, pumps=[words_of(path)])
    expected, place = [], 0
    for number, move in enumerate(moves):
        if (place + move) // thin != place // thin:
            expected.append([1000 + 2 + 10 + 20 * number, move])
        place += move
    assert done["edges"] == expected
    assert done["lost"] == [0]


def test_both_channels_at_once_is_a_lost_count():
    done = played(sensor="quadrature", levels=0, pumps=[words_of([1, 3, 0, 1])])
    # 3 to 0 is two counts in an unknown sense.
    assert done["lost"] == [1]
    assert [step for _, step in done["edges"]] == [1, 1, 1]


def test_the_ring_goes_round_and_time_wraps():
    pulses = 2000
    path = [0, 1] * pulses
    words = words_of(path, first_us=1, gap_us=1_000_000)
    pumps = [words[at : at + 300] for at in range(0, len(words), 300)]
    done = played(levels=1, pumps=pumps, now_us=2**30 - 50)
    assert len(done["edges"]) == pulses
    assert done["lost"][-1] == 0
    for number, (time_us, _) in enumerate(done["edges"]):
        assert time_us == (2**30 - 50 + 2 + 1 + 2_000_000 * number) & MASK


def test_an_overrun_is_counted_and_what_follows_is_right():
    words = words_of([0, 1] * 700)
    done = played(levels=1, pumps=[words[:100], words[100:1300], words[1300:1400]])
    # 1200 words waited where 1024 lie: 600 pulses.
    assert done["lost"] == [0, 600, 600]
    assert len(done["edges"]) == 50 + 50
    assert done["edges"][50][0] == 1000 + 2 + 10 + 20 * 1300


def test_after_its_last_transfer_the_dma_is_started_again_in_its_place():
    words = words_of([0, 1] * 100)
    done = played(levels=1, pumps=[words[:120], words[120:130], words[130:]], count=130)
    assert len(done["edges"]) == 100
    assert done["sets"]["started"] == 2
    assert done["lost"] == [0, 0, 0]


STOPPED = """
import gc
world = setup.board("rp2")
from brakebeat_fw import sources
import machine
sources.from_rig({"board.sensor_pin": 14}, machine)
# The app is gone; whatever is nobody's is given to others, and the wheel goes on turning.
gc.collect()
others = [bytearray(2048) for _ in range(2000)]
world.channels[0].take([0x7FFFFFFF] * 1500)
print(json.dumps(sum(any(other) for other in others)))
"""


def test_dma_that_goes_on_after_the_app_writes_into_nobody_elses_memory():
    assert run(STOPPED)[0] == 0


@pytest.mark.parametrize(
    ("task", "reason"),
    [
        ({"sensor": "quadrature", "pin_b": 17}, "sensor_pin_b is not sensor_pin + 1"),
        ({"hertz": 125_500_000}, "125500000 Hz is no whole number of MHz"),
    ],
)
def test_where_a_pio_cannot_be_used_interrupts_do_and_it_is_told(task, reason):
    done = played(**task)
    assert done["kind"] == "interrupt"
    assert done["trouble"].startswith("board.source: pio cannot be used (")
    assert reason in done["trouble"]
