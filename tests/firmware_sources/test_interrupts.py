"""Pin interrupts on ports whose handlers are hard, scheduled with a pulse counter beside, and scheduled alone."""

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

# Each move is [gap_us, level, whether the VM comes round to its handlers after it].
SCRIPT = """
task = json.loads(sys.stdin.readline())
world = setup.board(task["chip"])
from brakebeat_fw import sources
import machine
rig = {"board.sensor_pin": 4, "board.sensor_pin_b": 5, "board.source": "interrupt"}
rig.update(task.get("rig", {}))
source, trouble = sources.from_rig(rig, machine)
session = setup.Session()
lost = []
for pulses in task["rounds"]:
    for gap_us, served in pulses:
        world.pass_us(gap_us)
        world.drive(4, 0, served)
        world.pass_us(50)
        world.drive(4, 1, served)
    world.run_queue()
    world.pass_us(1000)
    source.pump(session)
    lost.append(source.lost)
told = {"kind": source.kind, "lost": lost, "edges": session.edges}
told.update({"dropped": world.dropped, "trouble": trouble})
print(json.dumps(told))
"""


def played(chip, rounds, **rig):
    return run(SCRIPT, {"chip": chip, "rounds": rounds, "rig": rig})[0]


@pytest.mark.parametrize(
    ("chip", "kind"), [("rp2", "interrupt"), ("esp32", "witnessed"), ("c3", "scheduled")]
)
def test_nothing_is_lost_where_handlers_come_in_time(chip, kind):
    done = played(chip, [[[900, True]] * 5] * 20)
    assert (done["kind"], done["trouble"], done["dropped"]) == (kind, "", 0)
    assert done["lost"] == [0] * 20
    assert len(done["edges"]) == 100


@pytest.mark.parametrize("chip", ["esp32", "c3"])
def test_a_queue_that_runs_over_is_told_by_the_counter_or_by_nothing(chip):
    """A long stall: 20 edges, of which the queue holds 8. Then the wheel stands and the count is exact."""
    stalled = [[[300, False]] * 20]
    done = played(chip, [[[900, True]] * 3, *stalled, [], [], *stalled, [], []])
    assert len(done["edges"]) == 3 + 8 + 8
    assert done["dropped"] == 24
    assert done["lost"] == ([0, 0, 12, 12, 12, 24, 24] if chip == "esp32" else [0] * 7)


def test_with_edges_all_the_time_losses_are_never_overstated():
    rounds = [[[300, number % 7 != 3]] * 15 for number in range(60)]
    done = played("esp32", [*rounds, [], []])
    assert done["dropped"] > 0
    assert done["lost"] == sorted(done["lost"])
    assert done["lost"][-1] == done["dropped"]
    assert done["lost"][-1] + len(done["edges"]) == 15 * 60


def test_the_counter_starts_again_at_its_limit():
    done = played("esp32", [[[60, True]] * 400] * 100)
    assert len(done["edges"]) == 40_000
    assert done["lost"][-1] == 0


def test_hard_handlers_are_stamped_at_once():
    done = played("rp2", [[[300, False]] * 20])
    assert [time_us for time_us, _ in done["edges"]] == [1000 + 300 + 350 * number for number in range(20)]


ENCODER = """
task = json.loads(sys.stdin.readline())
world = setup.board(task["chip"])
world.levels.update({4: 0, 5: 0})
from brakebeat_fw import sources
import machine
rig = {"board.sensor": "quadrature", "board.sensor_pin": 4, "board.sensor_pin_b": 5, "board.source": "interrupt"}
rig["board.thin"] = task["thin"]
source, trouble = sources.from_rig(rig, machine)
session = setup.Session()
place = 0
for move in task["moves"]:
    place += move
    world.pass_us(100)
    levels = (0, 1, 3, 2)[place % 4]
    world.drive(4, levels & 1)
    world.drive(5, levels >> 1)
    source.pump(session)
print(json.dumps([session.edges, source.kind]))
"""


@pytest.mark.parametrize("thin", [1, 6])
@pytest.mark.parametrize(("chip", "kind"), [("rp2", "interrupt"), ("c3", "scheduled")])
def test_an_encoder_by_interrupt_is_thinned(thin, chip, kind):
    moves = [1] * 40 + [-1] * 70 + [1, -1] * 4
    (edges, told), _ = run(ENCODER, {"chip": chip, "thin": thin, "moves": moves})
    expected, place = [], 0
    for number, move in enumerate(moves):
        if (place + move) // thin != place // thin:
            expected.append([1000 + 100 * (number + 1), move])
        place += move
    assert told == kind
    assert edges == expected
