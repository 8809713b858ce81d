"""Button, cues and main loop together, millisecond by millisecond of the board's own clock, on the VM."""

from typing import Any

import pytest

from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

# `presses`: [ms, level of the button's pin]; `cues`: [ms, kind].
SCRIPT = """
import asyncio
task = json.loads(sys.stdin.readline())
world = setup.board(task.get("chip", "rp2"))
import machine
from brakebeat_fw import app, rigfile, sounder

async def at_once(_ms):
    pass
app.sleep_ms = at_once
rig = rigfile.defaults()
rig.update({"board.buzzer_pin": 6, "board.led_pin": 7, "board.motor_pin": 8, "board.button_pin": 9})
rig.update(task.get("rig", {}))
presses = dict(task.get("presses", []))
cues = {}
for ms, kind in task.get("cues", []):
    cues.setdefault(ms, []).append(kind)


class Source:
    done = False
    lost = 0
    ms = 0
    most_writes = 0
    changes = []
    before = 0
    heard = None
    bonding = []
    meant = []
    def now(self):
        return world.now_us & 0x3FFFFFFF
    def pump(self, session):
        state = [world.machines[0].hertz if world.machines[0].duty else 0, world.level(7), world.level(8)]
        if state != self.heard:
            self.changes.append([self.ms] + state)
            self.heard = state
        self.most_writes = max(self.most_writes, world.writes - self.before)
        self.before = world.writes
        self.bonding.append(board.button.value())
        self.ms += 1
        world.pass_us(1000)
        if self.ms in presses:
            world.levels[9] = presses[self.ms]
        for kind in cues.get(self.ms, []):
            board._on_cue(kind, 0, self.ms * 1000)
        session.poll(self.now())
        if self.ms == task.get("turning"):
            board.session.phase = 1
        self.done = self.ms >= task["ms"]


source = Source()
the_sounder, trouble = sounder.from_rig(rig, machine)
board = app.App(rig, source, the_sounder, None, (trouble,), machine)
board.session.reps._last_end_us = 77
asyncio.run(board.run())
opened = [ms for ms in range(len(source.bonding)) if not source.bonding[ms]]
told = {"pumps": source.ms, "passed_us": world.now_us - 1000, "most_writes": source.most_writes}
told.update({"changes": source.changes, "muted": the_sounder.muted, "sounded": the_sounder.sounded})
told.update({"new_set": board.session.reps._last_end_us is None, "fed": world.fed})
told["opened"] = [opened[0], len(opened)] if opened else None
told["patterns"] = sounder.PATTERNS
print(json.dumps(told))
"""


def played(**task: Any) -> dict[str, Any]:
    return run(SCRIPT, task)[0]


def buzzer(told):
    return [[ms, hertz] for ms, hertz, _, _ in told["changes"]]


def pressed(from_ms, for_ms):
    return [[from_ms, 0], [from_ms + for_ms, 1]]


def bouncing(from_ms, for_ms):
    """A contact that chatters for 8 ms as it closes and as it opens."""
    chatter = [[at + offset, offset % 2] for at in (from_ms, from_ms + for_ms) for offset in range(8)]
    return [*chatter, [from_ms + 8, 0], [from_ms + for_ms + 8, 1]]


NEW_SET, AUDIBLE, BONDABLE, ERROR = 1500, 800, 2000, 300


@pytest.mark.parametrize("press", [pressed, bouncing])
def test_a_short_press_begins_a_new_set(press):
    told = played(ms=800, presses=press(100, 300))
    assert told["new_set"]
    assert [hertz for _, hertz in buzzer(told)] == [0, NEW_SET, 0, NEW_SET, 0]
    assert (told["muted"], told["opened"], told["sounded"]) == (False, None, 0)


def test_while_the_wheel_turns_a_short_press_does_nothing():
    told = played(ms=800, presses=pressed(100, 300), turning=50)
    assert not told["new_set"]
    assert buzzer(told) == [[0, 0]]


def test_a_spike_is_no_press():
    told = played(ms=800, presses=pressed(100, 15))
    assert not told["new_set"]
    assert buzzer(told) == [[0, 0]]


@pytest.mark.parametrize("press", [pressed, bouncing])
def test_held_for_a_second_it_mutes_and_unmutes(press):
    late = 1
    once = played(ms=3000, presses=press(100, 1500), cues=[[2500, late]])
    assert once["muted"]
    assert not once["new_set"]
    # Neither heard nor felt, but the lamp shows it, and the cue counts.
    assert all((hertz, motor) == (0, 0) for _, hertz, _, motor in once["changes"])
    assert [2500, 0, 1, 0] in once["changes"]
    assert once["sounded"] == 1
    twice = played(ms=4000, presses=[*press(100, 1500), *press(2000, 1500)], cues=[[3900, late]])
    assert not twice["muted"]
    assert [hertz for _, hertz in buzzer(twice) if hertz] == [AUDIBLE, 1500, 2600]


def test_muting_stops_what_sounds():
    told = played(ms=2200, presses=pressed(100, 1500), cues=[[1500, 3]])
    assert told["muted"]
    heard = buzzer(told)
    last = max(place for place, (_, hertz) in enumerate(heard) if hertz)
    # Its third tone would have gone on until 1950.
    assert heard[last + 1][0] == 1600 + 20


def test_held_for_three_seconds_it_lets_new_hosts_in_until_it_is_let_go():
    told = played(ms=5000, presses=pressed(100, 4000))
    assert [hertz for _, hertz in buzzer(told)] == [0, *[BONDABLE, 0] * 3]
    # Open from 3 s of holding until the release is believed.
    first_ms, open_ms = told["opened"]
    assert first_ms == 3100
    assert open_ms == 4100 + 20 - 3100
    assert (told["muted"], told["new_set"]) == (False, False)


def test_cues_have_patterns_of_their_own_also_for_a_motor():
    patterns = played(ms=10)["patterns"]
    assert len({str(pattern) for pattern in patterns}) == len(patterns)
    # Late, drop-off, set done and error, as a motor knows them: how long on and off.
    rhythms = set()
    for kind in (1, 2, 3, 4):
        rhythm: list[list[Any]] = []
        for hertz, ms in patterns[kind]:
            if rhythm and rhythm[-1][0] == bool(hertz):
                rhythm[-1][1] += ms
            else:
                rhythm.append([bool(hertz), ms])
        rhythms.add(str(rhythm))
    assert len(rhythms) == 4
    assert all(ms >= 60 for pattern in patterns for _, ms in pattern)


def test_lamp_and_motor_go_with_the_buzzer():
    told = played(ms=1000, cues=[[100, 2]])
    assert [(bool(hertz), lamp, motor) for _, hertz, lamp, motor in told["changes"]] == [
        (on, int(on), int(on)) for on in (False, True, False, True, False)
    ]


@pytest.mark.parametrize("volume", [0.0, 0.3, 1.0])
def test_volume(volume):
    told = played(ms=300, cues=[[100, 1]], rig={"board.volume": volume})
    assert [hertz for _, hertz in buzzer(told) if hertz] == ([2600] if volume else [])


def test_a_pattern_never_delays_the_detector():
    """However many cues come: one look at the edges each millisecond, the clock moved by nothing else, and between two
    looks no more than one tone's writes (frequency, duty, lamp, motor)."""
    quiet = played(ms=3000)
    loud = played(ms=3000, cues=[[ms, kind] for ms in range(1, 3000, 7) for kind in (0, 1, 2, 3)])
    assert loud["sounded"] == 4 * 429
    for told in (quiet, loud):
        assert told["pumps"] == 3000
        assert told["passed_us"] == 3_000_000
    assert quiet["most_writes"] == 0
    # Cues that come in the same millisecond are begun in it, window and late each at once.
    assert loud["most_writes"] <= 3 * 4
