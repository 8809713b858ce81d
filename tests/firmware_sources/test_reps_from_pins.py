"""From levels at a board's pins to reps: one known set through every source, on the VM made a board."""

import math

import pytest

from brakebeat.board.messages import decode_rep
from tests.firmware.exact import Piece, magnet_edges, steady
from tests.firmware.test_cues import FIRST_S, RANGE_RAD, Pull
from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm
REPS = 4
MAGNETS = 12
LINES = 96
THIN = 4

# `levels`: [us, levels of A + 2 * B] from power-up; a PIO gets them as the words that its program makes of them.
SCRIPT = """
task = json.loads(sys.stdin.readline())
levels = json.loads(sys.stdin.readline())
world = setup.board(task["chip"])
start_us = world.now_us
a, b = 14, 15
first = levels[0][1]
world.levels.update({a: first & 1, b: first >> 1})
from brakebeat_fw import rigfile, sources
from brakebeat_fw.session import Session
import machine
rig = rigfile.defaults()
rig.update({"board.sensor_pin": a, "board.sensor_pin_b": b})
rig.update(task["rig"])
source, trouble = sources.from_rig(rig, machine)
records = []
session = Session(rig, lambda record: records.append(bytes(record).hex()), lambda *cue: None)
started_us = source._state[2] if source.kind == "pio" else start_us
next_us = start_us + 1000
for at in range(1, len(levels)):
    time_us, level = levels[at]
    while next_us <= start_us + time_us:
        world.pass_us(next_us - world.now_us)
        source.pump(session)
        next_us += 1000
    world.pass_us(start_us + time_us - world.now_us)
    if source.kind == "pio":
        world.channels[0].take([level << 30 | (started_us - world.now_us) & 0x3FFFFFFF])
    else:
        world.drive(a, level & 1)
        world.drive(b, level >> 1)
for _ in range(3000):
    world.pass_us(1000)
    source.pump(session)
print(json.dumps([source.kind, trouble, source.lost, records]))
"""


def motion() -> tuple[list[Piece], list[float]]:
    """The set's pieces and the second at which each rep starts."""
    pieces = steady([piece for place in range(REPS) for piece in Pull().pieces((-1) ** place)])
    return pieces, [FIRST_S + sum(p.duration_s for p in pieces[: 3 * place]) for place in range(REPS)]


def hall_levels() -> list[tuple[int, int]]:
    """A falls at each magnet and rises 800 us later (B, not wired, is high)."""
    pieces, _ = motion()
    levels = [(0, 3)]
    for time_s in magnet_edges(pieces, MAGNETS, FIRST_S):
        levels += [(round(time_s * 1e6), 2), (round(time_s * 1e6) + 800, 3)]
    assert levels == sorted(levels)
    return levels


def encoder_levels() -> list[tuple[int, int]]:
    """An encoder of so many lines: four counts a line, each an angle that the shaft passes."""
    pieces, _ = motion()
    count = 2 * math.pi / (4 * LINES)
    passed = []
    at_s = FIRST_S
    for piece in pieces:
        for number in range(-200, int(2.2 * RANGE_RAD / count)):
            passed += [(at_s + t, sense) for t, sense in piece.times_at((number + 0.5) * count)]
        at_s += piece.duration_s
    levels, place = [(0, 0)], 0
    for time_s, sense in sorted(passed):
        place += sense
        levels.append((round(time_s * 1e6), (0, 1, 3, 2)[place % 4]))
    return levels


HALL = {"pulses_per_rev": MAGNETS, "board.sensor": "hall"}
ENCODER = {"pulses_per_rev": 4 * LINES // THIN, "board.sensor": "quadrature", "board.thin": THIN}


@pytest.mark.parametrize(
    ("chip", "sensor", "source", "kind"),
    [
        ("rp2", "hall", "auto", "pio"),
        ("rp2", "hall", "interrupt", "interrupt"),
        ("esp32", "hall", "auto", "witnessed"),
        ("c3", "hall", "auto", "scheduled"),
        ("rp2", "encoder", "auto", "pio"),
        ("rp2", "encoder", "interrupt", "interrupt"),
        ("esp32", "encoder", "auto", "counter"),
        ("c3", "encoder", "auto", "scheduled"),
    ],
)
def test_every_source_gives_the_reps_that_were_pulled(chip, sensor, source, kind):
    rig = (HALL if sensor == "hall" else ENCODER) | {"board.source": source, "inertia_kg_m2": 0.1}
    levels = hall_levels() if sensor == "hall" else encoder_levels()
    (told, trouble, lost, records), _ = run(SCRIPT, {"chip": chip, "rig": rig}, levels)
    assert (told, trouble, lost) == (kind, "", 0)
    reps = [decode_rep(bytes.fromhex(record))[0] for record in records]
    assert len(reps) == REPS
    for rep, start_s in zip(reps, motion()[1], strict=True):
        # Closed forms; how near the figures come is the detector's own tests' affair.
        assert rep.start_us * 1e-6 == pytest.approx(start_s, abs=0.02)
        assert rep.peak_rad_s == pytest.approx(Pull().peak_rad_s, rel=0.01)
        assert rep.concentric_rad + rep.eccentric_rad == pytest.approx(2 * RANGE_RAD, rel=0.02)
