"""The host's own code against the firmware on its VM: through broken links, hosts that end and boards that lose power
each rep arrives once, in order, bit for bit as the replay has it; and two boards at once keep to themselves."""

import asyncio
import contextlib
import random

import numpy as np
import pytest

from brakebeat.board.replay import replay
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.link import (
    Connected,
    EdgesArrived,
    Finder,
    Ledger,
    LinkLost,
    LiveArrived,
    RepArrived,
    Wanted,
    follow,
)
from brakebeat.link.several import Ended, merged
from brakebeat.samples import find
from brakebeat.virtual.air import RadioLimits, virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import virtual_board
from brakebeat.watch.recorder import Recorder
from brakebeat.watch.rig_header import KnownRig
from brakebeat.watch.tape import EdgeTape
from tests.sets_in_a_row import sets_in_a_row

ADDRESSES = ("F0:0D:00:00:B0:01", "F0:0D:00:00:B0:02")
PAUSES_S = (0.02, 0.05)
SETS = 3
# A board that ended by itself sends no more: no test waits for it for ever.
PATIENCE_S = 300.0


@pytest.fixture(scope="module")
def sets():
    return sets_in_a_row(SETS)


@pytest.fixture(scope="module")
def expected(sets):
    reps = replay(sets).reps
    assert len(reps) == 8 * SETS
    return reps


class Host:
    """Follows a board for ever; what is in ``kept`` survives it, as a file would."""

    def __init__(self, air, rng):
        self.air = air
        self.rng = rng
        self.kept = []
        self.journal_id = 0
        self.boots = []
        self.cuts = self.ends = self.losses = 0
        self.news = asyncio.Event()

    async def run(self):
        while True:
            known = {self.journal_id: self.kept[-1].sequence + 1} if self.kept else {}
            stream = follow(
                Wanted(address=ADDRESSES[0]), pauses_s=PAUSES_S, endless=True, ledger=Ledger(0, known)
            )
            async with contextlib.aclosing(stream) as events:
                await self._until_it_ends(events)
            self.ends += 1

    async def _until_it_ends(self, events):
        async for event in events:
            self.losses += isinstance(event, LinkLost)
            if isinstance(event, Connected) and event.boot not in self.boots:
                self.boots.append(event.boot)
            if isinstance(event, RepArrived):
                self.kept.append(event)
                self.journal_id = event.journal_id
                self.news.set()
            if isinstance(event, RepArrived | LiveArrived):
                chance = self.rng.random()
                if chance < 0.1:
                    self.cuts += self.air.lose_links()
                elif chance < 0.12:
                    return

    def of_life(self, life):
        """What is kept of the board's life of this number."""
        return [event.rep for event in self.kept if event.boot in self.boots[life : life + 1]]

    async def has(self, life, count):
        """Wait until so many reps of a life are kept."""
        async with asyncio.timeout(PATIENCE_S):
            while len(self.of_life(life)) < count:
                self.news.clear()
                await self.news.wait()


async def test_each_rep_once_through_cuts_ends_and_lost_power(sets, expected, tmp_path):
    rng = random.Random(4)
    # How many reps a life lasts; None: to the end.
    lives = [None, 9, 3, None, 14, None]
    async with virtual_air(RadioLimits(mtu=185)) as air:
        with bleak_on(air):
            host = Host(air, rng)
            task = asyncio.create_task(host.run())
            for life, dies_after in enumerate(lives):
                settings = {"speed": 60.0, "wait_for_host": True, "address": ADDRESSES[0]}
                async with virtual_board(sets, air, tmp_path, **settings) as board:
                    await host.has(life, len(expected) if dies_after is None else dies_after)
                    if dies_after is not None:
                        await board.kill()
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
    for life, dies_after in enumerate(lives):
        reps = host.of_life(life)
        assert reps == expected[: len(reps)]
        assert len(reps) >= (dies_after or len(expected))
    sequences = [event.sequence for event in host.kept]
    assert sequences == sorted(set(sequences))
    assert len({event.journal_id for event in host.kept}) == 1
    assert host.cuts >= 10
    assert host.ends >= 2


async def test_two_boards_at_once(sets, expected, tmp_path):
    other = read_recording(find("clean"))
    theirs = replay(other).reps
    reps, edges = {0: [], 1: []}, {0: [], 1: []}
    async with virtual_air() as air:
        with bleak_on(air):
            boards = []
            async with contextlib.AsyncExitStack() as stack:
                for number, (recording, address) in enumerate(zip((sets, other), ADDRESSES, strict=True)):
                    folder = tmp_path / str(number)
                    folder.mkdir()
                    board = virtual_board(recording, air, folder, speed=15.0, address=address)
                    boards.append(await stack.enter_async_context(board))
                finder = Finder()
                streams = [follow(Wanted(address=board.address), finder=finder, raw=True) for board in boards]
                async with contextlib.aclosing(merged(streams)) as events:
                    async for number, event in events:
                        assert not isinstance(event, Ended)
                        if isinstance(event, RepArrived):
                            reps[number].append(event.rep)
                        elif isinstance(event, EdgesArrived):
                            edges[number] += event.t_us.tolist()
                        if len(reps[0]) == len(expected) and len(reps[1]) == len(theirs):
                            break
    assert (reps[0], reps[1]) == (expected, theirs)
    for number, recording in enumerate((sets, other)):
        got = edges[number]
        # The last reps may overtake the last edges.
        assert got == recording.t_us[: len(got)].tolist()
        assert len(got) > 0.9 * len(recording.t_us)


async def test_a_recording_through_a_broken_link_says_what_is_missing(sets, tmp_path):
    recorder = Recorder(tmp_path / "made.csv", [KnownRig(sets.rig)])
    async with virtual_air() as air:
        with bleak_on(air):
            async with virtual_board(sets, air, tmp_path, speed=15.0, address=ADDRESSES[0]):
                stream = follow(Wanted(address=ADDRESSES[0]), pauses_s=PAUSES_S, endless=True, raw=True)
                async with contextlib.aclosing(stream) as events:
                    async for event in events:
                        recorder.take(event)
                        if recorder.links_lost == 0 and recorder.tape.count > 200:
                            air.lose_links()
                        if recorder.tape.last_us is not None and recorder.tape.last_us >= sets.t_us[-2]:
                            break
    recorder.save()
    made = read_recording(tmp_path / "made.csv")
    (hole,) = recorder.tape.holes
    assert made.header["holes_us"] == f"{hole.from_us}-{hole.to_us}"
    assert made.header["edges_lost"] == "0 or more"
    assert recorder.summary()[1].startswith("INCOMPLETE: edges may be missing, in one place")
    outside = (sets.t_us <= hole.from_us) | (sets.t_us >= hole.to_us)
    assert made.t_us.tolist() == sets.t_us[outside][: made.t_us.size].tolist()


async def test_ten_minutes_at_600_edges_a_second_edge_for_edge(tmp_path):
    """In the board's own time; where this computer is too slow for the haste, at half of it again."""
    rng = np.random.default_rng(600)
    intervals = np.clip(rng.normal(1e6 / 600, 60, 360_000), 200, None).astype(np.int64)
    times = 1_000_000 + np.cumsum(intervals)
    source = Recording(times, np.zeros(times.size, np.int8), {"pulses_per_rev": "24"})
    for speed in (40.0, 20.0, 10.0):
        tape = await taped(source, speed, tmp_path)
        if not tape.holes:
            break
    assert tape.holes == []
    assert np.array_equal(tape.edges()[0], times)


async def taped(source, speed, folder):
    """All raw edges of a played recording."""
    tape = EdgeTape()
    async with virtual_air() as air:
        with bleak_on(air):
            async with virtual_board(source, air, folder, speed=speed, address=ADDRESSES[0]):
                stream = follow(Wanted(address=ADDRESSES[0]), raw=True)
                async with contextlib.aclosing(stream) as events:
                    async for event in events:
                        if isinstance(event, EdgesArrived):
                            tape.add(event.t_us, event.step, event.missing)
                        if tape.last_us == source.t_us[-1]:
                            return tape
    raise AssertionError("unreachable")
