"""Cue sounds: the right pattern, at once where it is urgent, nothing that waits."""

import pytest

from tests.board_app.firmware import sounder, wire


class Output:
    """Notes every tone with the time at which it came."""

    def __init__(self):
        self.now_ms = 0
        self.tones = []

    def tone(self, hertz):
        self.tones.append((self.now_ms, hertz))


class Player:
    """A sounder with a noting output, run millisecond by millisecond."""

    def __init__(self):
        self.output = Output()
        self.sounder = sounder.Sounder((self.output,))

    def play(self, kind):
        self.sounder.play(kind, self.output.now_ms)

    def run(self, duration_ms):
        for _ in range(duration_ms):
            self.output.now_ms += 1
            self.sounder.service(self.output.now_ms)


@pytest.mark.parametrize("kind", range(len(sounder.PATTERNS)))
def test_a_pattern_as_it_is_written(kind):
    player = Player()
    player.play(kind)
    player.run(2000)
    expected, at_ms = [], 0
    for hertz, duration_ms in sounder.PATTERNS[kind]:
        expected.append((at_ms, hertz))
        at_ms += duration_ms
    assert player.output.tones == [*expected, (at_ms, 0)]


def test_every_kind_of_cue_has_a_sound_of_its_own():
    kinds = range(len(wire.CUE_NAMES))
    assert len({sounder.PATTERNS[kind] for kind in kinds}) == len(kinds)


def test_the_late_cue_cuts_off_whatever_sounds():
    player = Player()
    player.play(wire.CUE_SET_DONE)
    player.run(50)
    player.play(wire.CUE_LATE)
    assert player.output.tones[-1] == (50, sounder.PATTERNS[wire.CUE_LATE][0][0])


def test_two_cues_at_once_sound_one_after_the_other():
    player = Player()
    player.play(wire.CUE_DROP_OFF)
    player.play(wire.CUE_SET_DONE)
    player.run(2000)
    tones = [hertz for _, hertz in player.output.tones]
    drop_off, set_done = ([hertz for hertz, _ in sounder.PATTERNS[kind]] for kind in (2, 3))
    assert tones == [*drop_off, *set_done, 0]
    assert player.sounder.sounded == 2


def test_a_flood_of_cues_is_counted_and_ends():
    player = Player()
    for _ in range(100):
        player.play(wire.CUE_SET_DONE)
    player.run(5000)
    assert player.sounder.sounded == 100
    assert player.output.tones[-1][1] == 0


def test_unknown_kinds_and_missing_outputs_are_survived():
    silent = sounder.Sounder()
    silent.play(250, 0)
    silent.play(wire.CUE_LATE, 0)
    for now_ms in range(1000):
        silent.service(now_ms)
    assert silent.sounded == 2


class Machine:
    """A board's `machine`, as far as sounds need it. Pins above 28 do not exist."""

    class Pin:
        OUT = 1

        def __init__(self, number, mode=None, value=None):
            if not isinstance(number, int):
                raise TypeError("pin number needed")
            if number > 28:
                raise ValueError("invalid pin")
            self.level = value

        def value(self, level):
            self.level = level

    class PWM:
        def __init__(self, pin, *, freq, duty_u16):
            self.duty = duty_u16
            self.hertz = freq

        def duty_u16(self, duty):
            self.duty = duty

        def freq(self, hertz):
            self.hertz = hertz


def test_buzzer_and_lamp():
    buzzer = sounder.Buzzer(Machine, 15, 0.5)
    lamp = sounder.Lamp(Machine, 16)
    both = sounder.Sounder((buzzer, lamp))
    both.play(wire.CUE_LATE, 0)
    assert (buzzer._pwm.hertz, buzzer._pwm.duty, lamp._pin.level) == (2600, 16384, 1)
    both.service(1000)
    assert (buzzer._pwm.duty, lamp._pin.level) == (0, 0)


def test_pins_that_cannot_be_used_are_told_and_cost_only_their_own_output():
    made, trouble = sounder.from_rig({"board.buzzer_pin": 99, "board.led_pin": 2}, Machine)
    assert "board.buzzer_pin: 99" in trouble
    assert len(made._outputs) == 1
    made, trouble = sounder.from_rig({"board.buzzer_pin": "GP15"}, Machine)
    assert "board.buzzer_pin" in trouble
    assert sounder.from_rig({}, Machine)[1] == ""
    assert sounder.from_rig({"board.buzzer_pin": 1}, None)[1] == ""
