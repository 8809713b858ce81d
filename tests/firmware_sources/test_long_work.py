"""While a rep is worked out edges wait: the sources hand them over bit by bit, and the session is not told that it is
later than the edges it has not had."""

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

# A session that takes 0.4 s over each of its first batches, in which more edges come. It notes what time it is told.
SCRIPT = """
task = json.loads(sys.stdin.readline())
world = setup.board(task["chip"])
world.levels.update({4: 1, 5: 1} if task["sensor"] == "hall" else {4: 0, 5: 0})
from brakebeat_fw import sources
import machine
rig = {"board.sensor": task["sensor"], "board.sensor_pin": 4, "board.sensor_pin_b": 5}
rig["board.source"] = task["source"]
source, trouble = sources.from_rig(rig, machine)
made = [0]


def edge():
    number = made[0] = made[0] + 1
    world.pass_us(2000)
    if task["sensor"] != "hall":
        world.drive(4 + number % 2, 1 - world.level(4 + number % 2))
    elif source.kind == "pio":
        word = (source._state[2] - world.now_us) & 0x3FFFFFFF
        world.channels[0].take([word, 1 << 30 | word - 100])
    else:
        world.drive(4, 0)
        world.drive(4, 1)
    world.pass_us(2000)


def edges(count):
    for _ in range(count):
        edge()


class Busy:
    times = []
    told = []
    at_work = 0
    def feed(self, times, steps, count):
        self.times.extend([times[at] for at in range(count)])
        if self.at_work < 3:
            self.at_work += 1
            edges(task["meanwhile"])
    def poll(self, now):
        self.told.append([now, made[0] - len(self.times)])


session = Busy()
edges(100)
fed = []
for _ in range(task["pumps"]):
    before = len(session.times)
    source.pump(session)
    fed.append(len(session.times) - before)
print(json.dumps([source.kind, made[0], session.times, session.told, fed, source.lost]))
"""


@pytest.mark.parametrize(
    ("chip", "sensor", "source"),
    [
        ("rp2", "hall", "pio"),
        ("rp2", "hall", "interrupt"),
        ("esp32", "hall", "interrupt"),
        ("c3", "hall", "interrupt"),
        ("esp32", "quadrature", "counter"),
    ],
)
def test_what_waits_comes_first_and_the_main_loop_gets_its_turn(chip, sensor, source):
    task = {"chip": chip, "sensor": sensor, "source": source, "meanwhile": 100, "pumps": 8}
    (kind, made, times, told, fed, lost), _ = run(SCRIPT, task)
    assert kind in (source, "witnessed", "scheduled")
    assert made == 400
    assert (len(times), lost) == (made, 0)
    assert times == sorted(times)
    # One long batch, then sounds, watchdog and radio have their turn.
    assert all(count <= 64 for count in fed[:3])
    assert fed[0]
    # The time is told only once nothing waits.
    assert told
    assert all(waiting == 0 for _, waiting in told)
