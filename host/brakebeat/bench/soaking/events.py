"""What befalls a board in a soak: events drawn by chance, each with what the board must count in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brakebeat.bench.soaking.board import Order
from brakebeat.simulate import default_recording

# All that a board counts of its edges.
COUNTERS = ("reps", "overrun", "bounced", "spurious", "incomplete", "missed", "interrupts", "handled")
_WRAP_US = 2**30
_SET_SEEDS = 12
_FIRST_SEED = 2_100_000
# A processor's time at a rep, while edges come: a third of what a small board takes today would be no rep's length.
_WORK_US = 150_000
_REST_US = 15_000_000


@dataclass
class Event:
    """Something that befalls the board: what is done, and by how much which counter must rise (None: any)."""

    kind: str
    orders: list[Order]
    expected: dict[str, int | None] = field(default_factory=dict)


class Chance:
    """Draws events. Times are those of the board's world, in microseconds."""

    def __init__(self, seed: int, idle_us: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._idle_us = idle_us
        self._linked = False
        self._sets: dict[int, tuple[list[int], int]] = {}

    def _between(self, low: float, high: float) -> int:
        return int(self._rng.integers(int(low), int(high)))

    def power(self) -> Event:
        """Power off and on, the counter anywhere, half the time shortly before it wraps."""
        first = self._between(0, _WRAP_US)
        if self._rng.random() < 0.5:
            first = _WRAP_US - self._between(1e6, 60e6)
        self._linked = False
        order = {"do": "power", "first_ticks": first, "work_us": _WORK_US, "idle_us": self._idle_us}
        return Event("power-up", [order, {"do": "idle", "us": 3_000_000}])

    def link(self) -> Event:
        """A host comes or goes."""
        self._linked = not self._linked
        what = "connect" if self._linked else "disconnect"
        return Event(what, [{"do": what}, {"do": "idle", "us": self._between(1e6, 20e6)}])

    def rest(self) -> Event:
        """Nothing moves."""
        return Event("rest", [{"do": "idle", "us": self._between(10e6, 120e6)}])

    def pulls(self) -> Event:
        """A set of 8 reps, some edges of which are repeated as a chattering switch does."""
        gaps, reps = self._set(self._between(0, _SET_SEEDS))
        chatter = {self._between(0, len(gaps) - 1) for _ in range(self._between(0, 6))}
        fed: list[int] = []
        for place, gap in enumerate(gaps):
            late = 150 if place - 1 in chatter else 0
            fed.append(gap - late)
            if place in chatter:
                fed.append(150)
        play: Order = {"do": "play", "gaps_us": fed}
        expected: dict[str, int | None] = {
            "reps": reps,
            "bounced": len(chatter),
            "interrupts": len(fed),
            "handled": len(fed),
            "spurious": None,
        }
        return Event("set", [play, {"do": "idle", "us": _REST_US}], expected)

    def _set(self, number: int) -> tuple[list[int], int]:
        if number not in self._sets:
            recording, truth = default_recording(_FIRST_SEED + number, reps=8)
            first = recording.t_us[0] - 500_000
            self._sets[number] = np.diff(recording.t_us, prepend=first).tolist(), len(truth["reps"])
        return self._sets[number]

    def strays(self) -> Event:
        """Lone edges while the wheel stands."""
        gaps = [self._between(4e6, 9e6) for _ in range(self._between(1, 4))]
        expected: dict[str, int | None] = dict.fromkeys(("spurious", "interrupts", "handled"), len(gaps))
        return Event("strays", [{"do": "play", "gaps_us": gaps}, {"do": "idle", "us": _REST_US}], expected)

    def storm(self) -> Event:
        """100,000 edges a second without rhythm; the main loop gets its turn each millisecond, or each 20."""
        order = {
            "do": "noise",
            "us": self._between(0.2e6, 2e6),
            "gap_us": 10,
            "seed": self._between(1, 2**30),
        }
        order["loop_us"] = 20_000 if self._rng.random() < 0.5 else 0
        kept: dict[str, int | None] = dict.fromkeys(COUNTERS)
        return Event("storm", [order, {"do": "idle", "us": _REST_US}], kept | {"reps": 0})

    def any(self) -> Event:
        """One of them."""
        makers = (self.pulls, self.rest, self.link, self.strays, self.storm, self.power)
        return makers[self._rng.choice(len(makers), p=(0.38, 0.24, 0.18, 0.08, 0.05, 0.07))]()


def draw(minutes: float, seed: int, idle_us: int) -> list[Event]:
    """Events for so long, a set after the first power-up and a link at the end among them."""
    chance = Chance(seed, idle_us)
    events = [chance.power(), chance.link(), chance.pulls()]
    while sum(_length_us(event) for event in events) < minutes * 60e6:
        events.append(chance.any())
    events.append(chance.power())
    events.append(chance.link())
    events.append(Event("rest", [{"do": "idle", "us": 60_000_000}]))
    return events


def _length_us(event: Event) -> int:
    return sum(order.get("us", 0) + sum(order.get("gaps_us", ())) for order in event.orders)
