"""No heap per edge: neither the handlers nor the main loop's side of a source takes any."""

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

SCRIPT = """
import gc
task = json.loads(sys.stdin.readline())
world = setup.board(task["chip"])
world.levels.update({4: 1, 5: 1})
from brakebeat_fw import sources
import machine
rig = {"board.sensor": task["sensor"], "board.sensor_pin": 4, "board.sensor_pin_b": 5, "board.thin": task["thin"]}
if task["interrupt"]:
    rig["board.source"] = "interrupt"
source, trouble = sources.from_rig(rig, machine)


class Quiet:
    fed = 0
    def feed(self, times, steps, count):
        self.fed += count
    def poll(self, now):
        pass


session = Quiet()


handler, _, pin, _, _ = world.irqs.get(4, (None,) * 5)


gray = [0]
def turning(pin):
    # Each look at both pins is one count further.
    gray[0] += 1
    place = (gray[0] + 1) // 2
    return (place + gray[0] % 2) // 2 % 2


def interrupts(rounds):
    for _ in range(rounds):
        # No faster than a wheel, or it would be a storm.
        world.now_us += 1000
        handler(pin)


def words(rounds):
    path = (2, 0, 1, 3) if task["sensor"] != "hall" else (0, 1)
    dma = world.channels[0]
    dma.take([(path[at % len(path)] << 30) | (-at * 100 & 0x3FFFFFFF) for at in range(1, rounds + 1)])


place = [0]
def count():
    place[0] = (place[0] + 7) % 32000
    return place[0]


def samples(rounds):
    for _ in range(rounds):
        world.now_us += 1000
        source._sample(None)


if source.kind == "counter":
    source._value = count
    arrive = samples
elif source.kind == "pio":
    arrive = None
else:
    arrive = interrupts
    if source._beside:
        source._beside.value = count
    # The stand-in's own checks take heap; the pins' levels do not.
    machine.Pin.value = turning if task["sensor"] == "quadrature" else lambda self: 1
if not arrive:
    words(400)
# Whatever is made once is made now.
if arrive:
    arrive(20)
source.pump(session)
if not arrive:
    words(400)
gc.collect()
gc.disable()
before = gc.mem_alloc()
if arrive:
    arrive(400)
handled = gc.mem_alloc()
source.pump(session)
pumped = gc.mem_alloc()
print(json.dumps([source.kind, session.fed, handled - before, pumped - handled]))
"""


@pytest.mark.parametrize(
    ("chip", "sensor", "interrupt", "kind", "least"),
    [
        ("rp2", "hall", True, "interrupt", 400),
        ("rp2", "hall_pair", True, "interrupt", 400),
        ("rp2", "quadrature", True, "interrupt", 60),
        ("rp2", "hall", False, "pio", 400),
        ("rp2", "hall_pair", False, "pio", 200),
        ("rp2", "quadrature", False, "pio", 190),
        ("esp32", "hall", False, "witnessed", 400),
        ("c3", "hall", False, "scheduled", 400),
        ("esp32", "quadrature", False, "counter", 700),
    ],
)
def test_nothing_is_taken(chip, sensor, interrupt, kind, least):
    task = {
        "chip": chip,
        "sensor": sensor,
        "interrupt": interrupt,
        "thin": 4 if sensor == "quadrature" else 1,
    }
    (told, fed, by_handlers, by_pump), _ = run(SCRIPT, task)
    assert told == kind
    assert fed >= least
    assert by_handlers == 0
    assert by_pump == 0
