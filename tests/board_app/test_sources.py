"""Edges from pins: what the interrupt handlers store, and what is said where a pin cannot be used."""

import time
from array import array
from typing import ClassVar

import pytest

from tests.board_app.firmware import sources


class Pin:
    """A pin whose level and interrupts the test drives."""

    IN, PULL_UP = 0, 1
    IRQ_FALLING, IRQ_RISING = 1, 2
    hard_allowed = True
    made: ClassVar[dict[int, "Pin"]] = {}

    def __init__(self, number, mode, pull):
        if number > 28:
            raise ValueError("invalid pin")
        assert (mode, pull) == (self.IN, self.PULL_UP)
        self.level = 1
        self.handler = None
        self.trigger = 0
        Pin.made[number] = self

    def irq(self, handler, trigger, **options):
        if options and not self.hard_allowed:
            raise TypeError("unexpected keyword argument 'hard'")
        self.handler, self.trigger, self.hard = handler, trigger, options.get("hard", False)

    def value(self):
        return self.level

    def drive(self, level):
        edge = self.IRQ_RISING if level > self.level else self.IRQ_FALLING
        changed, self.level = level != self.level, level
        if changed and self.trigger & edge:
            self.handler(self)


class Machine:
    Pin = Pin


class Session:
    """Notes what it is fed."""

    def __init__(self):
        self.edges = []
        self.polls = 0

    def feed(self, times: array, steps: array, count: int):
        self.edges += zip(times[:count], steps[:count], strict=True)

    def poll(self, now):
        self.polls += 1


@pytest.fixture
def clock(monkeypatch):
    """Microseconds that the test sets; beyond 2^30, as the widest port counts."""
    now = [2**30 + 5]
    monkeypatch.setattr(time, "ticks_us", lambda: now[0], raising=False)
    Pin.made.clear()
    monkeypatch.setattr(Pin, "hard_allowed", True)
    return now


def pulse(pin, clock, advance_us):
    clock[0] += advance_us
    pin.drive(0)
    clock[0] += 100
    pin.drive(1)


def test_one_hall_sensor_gives_one_edge_a_magnet(clock):
    source, session = sources.PinSource({"board.sensor_pin": 14}, Machine), Session()
    for _ in range(100):
        pulse(Pin.made[14], clock, 900)
    source.pump(session)
    assert session.edges == [(5 + 900 + 1000 * k, 0) for k in range(100)]
    assert (session.polls, source.lost, Pin.made[14].hard) == (1, 0, True)


def test_a_port_without_hard_interrupts(clock, monkeypatch):
    monkeypatch.setattr(Pin, "hard_allowed", False)
    source, session = sources.PinSource({"board.sensor_pin": 14}, Machine), Session()
    pulse(Pin.made[14], clock, 900)
    source.pump(session)
    assert session.edges == [(905, 0)]


def test_edges_beyond_the_ring_are_counted(clock):
    source, session = sources.PinSource({"board.sensor_pin": 14}, Machine), Session()
    for _ in range(600):
        pulse(Pin.made[14], clock, 900)
    source.pump(session)
    assert len(session.edges) + source.lost == 600
    source.pump(session)
    assert len(session.edges) + source.lost == 600


def test_two_hall_sensors_tell_the_sense(clock):
    rig = {"board.sensor": "hall_pair", "board.sensor_pin": 14, "board.sensor_pin_b": 15}
    source, session = sources.PinSource(rig, Machine), Session()
    a, b = Pin.made[14], Pin.made[15]
    for first, second in ((a, b), (b, a)):
        first.drive(0)
        second.drive(0)
        first.drive(1)
        second.drive(1)
    source.pump(session)
    assert [step for _, step in session.edges] == [1, -1]


def test_quadrature_counts_four_a_line_both_ways(clock):
    rig = {"board.sensor": "quadrature", "board.sensor_pin": 14, "board.sensor_pin_b": 15}
    source, session = sources.PinSource(rig, Machine), Session()
    a, b = Pin.made[14], Pin.made[15]
    for _ in range(3):
        a.drive(0)
        b.drive(0)
        a.drive(1)
        b.drive(1)
    forward = len(session.edges)
    source.pump(session)
    senses = [step for _, step in session.edges]
    assert senses == [senses[0]] * 12
    for _ in range(3):
        b.drive(0)
        a.drive(0)
        b.drive(1)
        a.drive(1)
    source.pump(session)
    assert [step for _, step in session.edges[12:]] == [-senses[0]] * 12
    assert forward == 0


@pytest.mark.parametrize(
    ("rig", "named"),
    [
        ({}, "board.sensor_pin: not set"),
        ({"board.sensor_pin": 99}, "board.sensor_pin: 99 cannot be used"),
        ({"board.sensor_pin": 3, "board.sensor": "hall_pair"}, "board.sensor_pin_b: not set"),
        ({"board.sensor_pin": 3, "board.sensor": "laser"}, "'laser' is not one of hall"),
    ],
)
def test_a_sensor_that_cannot_be_set_up_is_told(rig, named, clock):
    source, trouble = sources.from_rig(rig, Machine)
    assert named in trouble
    session = Session()
    source.pump(session)
    assert session.polls == 1
