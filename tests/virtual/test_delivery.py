"""Reps through links that break, clients that die and boards that lose power: each comes once, in order.

With BRAKEBEAT_LONG=1 in the environment a thousand reps and two hundred lost links (some minutes); else an eighth.
"""

import asyncio
import contextlib
import os
import random

import pytest
from bleak.exc import BleakError

from brakebeat.board.messages import decode_rep
from brakebeat.board.replay import replay
from brakebeat.virtual.air import RadioLimits, virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import virtual_board
from tests.sets_in_a_row import sets_in_a_row
from tests.virtual.client import Client

ADDRESS = "F0:0D:00:00:B0:01"
LONG = bool(os.environ.get("BRAKEBEAT_LONG"))
REPS, CUTS, CUT_SHORT, MOST_LIVES = (1000, 200, 2, 60) if LONG else (125, 25, 1, 30)
SETS = 12 if LONG else 6
# A board that ended by itself sends no more: no life is waited for for ever.
PATIENCE_S = 300.0


@pytest.fixture(scope="module")
def long_recording():
    return sets_in_a_row(SETS)


@pytest.fixture(scope="module")
def expected(long_recording):
    reps = replay(long_recording).reps
    assert len(reps) == 8 * SETS
    return reps


class Host:
    """What survives in it is `kept`: records that were put away, in their order."""

    def __init__(self, air, rng):
        self.air = air
        self.rng = rng
        self.kept = []
        self.journal_id = None
        self.cuts = 0

    @property
    def next(self):
        return self.kept[-1][0] + 1 if self.kept else 0

    async def session(self, until, enough=None):
        """One connection, ended by chance, with ``enough`` records, or when ``until`` is done and all is fetched."""
        with contextlib.suppress(BleakError, TimeoutError, EOFError):
            async with Client(ADDRESS, timeout=5) as client:
                await client.subscribe()
                error, hello = await client.hello()
                assert error == 0
                assert self.journal_id in (None, hello["journal_id"])
                self.journal_id = hello["journal_id"]
                assert hello["oldest"] <= self.next
                assert await client.start_from(self.next) == 0
                return await self._take(client, until, enough)
        return False

    async def _take(self, client, until, enough):
        doomed = self.rng.random() < 0.95
        records = self.rng.randrange(1, 3)
        while not client.lost.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(client.arrived.wait(), 0.02)
            client.arrived.clear()
            if doomed and len(client.order) >= records:
                self.cuts += 1
                if self.rng.random() < 0.5:
                    self.air.lose_links()
                # Else the client dies: what it had not put away is gone with it.
                return False
            for sequence in client.order:
                if sequence >= self.next:
                    self.kept.append((sequence, client.records[sequence]))
            if self.kept and self.rng.random() < 0.5:
                await client.acknowledge(self.next - 1)
            if enough is not None and len(self.kept) >= enough:
                return False
            if until.is_set():
                status = await client.status()
                if status["journal_next"] == self.next and not status["reps_waiting"] - self._unacknowledged(
                    status
                ):
                    return True
        return False

    def _unacknowledged(self, status):
        # Of what waits, what is still on its way to the journal: nothing, where all that waits is in it.
        return min(status["reps_waiting"], status["journal_next"] - status["journal_oldest"])


async def test_reps_arrive_once_each_in_order(long_recording, expected, tmp_path):
    rng = random.Random(20)
    lives = cut_short = 0
    wanted = []
    async with virtual_air(RadioLimits(mtu=185)) as air:
        with bleak_on(air):
            host = Host(air, rng)
            while len(wanted) < REPS or host.cuts < CUTS or cut_short < CUT_SHORT:
                lives += 1
                assert lives <= MOST_LIVES
                # Now and then the battery dies while the set goes on.
                dies = rng.random() < 0.4
                settings = {"speed": 8.0 if dies else 150.0, "wait_for_host": False, "address": ADDRESS}
                async with virtual_board(long_recording, air, tmp_path, **settings) as board:
                    first = len(host.kept)
                    enough = first + 9 if dies else None
                    async with asyncio.timeout(PATIENCE_S):
                        while not await host.session(board.played, enough):
                            if dies and len(host.kept) >= enough:
                                await board.kill()
                                break
                got = [decode_rep(record[8:])[0] for _, record in host.kept[first:]]
                boots = {int.from_bytes(record[2:4], "little") for _, record in host.kept[first:]}
                if dies:
                    # What the dead board still had comes first in its next life.
                    async with virtual_board(long_recording, air, tmp_path, speed=0.001, address=ADDRESS):
                        async with asyncio.timeout(PATIENCE_S):
                            while not await host.session(_already()):
                                pass
                    got = [decode_rep(record[8:])[0] for _, record in host.kept[first:]]
                    assert got == expected[: len(got)]
                    assert len(got) > 8
                    cut_short += len(got) < len(expected)
                else:
                    assert got == expected
                assert len(boots) == 1
                wanted += got
    sequences = [sequence for sequence, _ in host.kept]
    assert sequences == sorted(set(sequences))
    assert len(host.kept) == len(wanted) >= REPS
    print(f"{len(wanted)} reps, {lives} lives, {cut_short} of them cut short, {host.cuts} links lost")


def _already():
    event = asyncio.Event()
    event.set()
    return event
