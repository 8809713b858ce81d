"""Several boards at once: events with their board's number, failures kept apart, searches that share one radio."""

import asyncio
import contextlib
from types import SimpleNamespace

import pytest

from brakebeat.errors import DeviceError
from brakebeat.link.finder import Finder, Wanted, scan
from brakebeat.link.several import Ended, merged


async def stream(events, error=None, asked=None):
    for event in events:
        if asked is not None:
            asked.append(event)
        yield event
        await asyncio.sleep(0)
    if error is not None:
        raise error


async def all_of(streams, got=None):
    got = [] if got is None else got
    async with contextlib.aclosing(merged(streams)) as events:
        async for item in events:
            got.append(item)
    return got


async def test_each_event_with_its_number_in_order():
    got = await all_of([stream("abc"), stream("xy")])
    assert [event for number, event in got if number == 0] == ["a", "b", "c", Ended("")]
    assert [event for number, event in got if number == 1] == ["x", "y", Ended("")]


async def test_one_that_fails_does_not_end_the_others():
    got = []
    with pytest.raises(DeviceError, match="board A is gone"):
        await all_of([stream("a", DeviceError("board A is gone")), stream("vwxyz")], got)
    assert (0, Ended("board A is gone")) in got
    assert [event for number, event in got if number == 1] == [*"vwxyz", Ended("")]


async def test_all_failures_are_in_the_message_once():
    streams = [stream("", DeviceError(words)) for words in ("one", "two", "one")]
    with pytest.raises(DeviceError) as failed:
        await all_of(streams)
    assert sorted(str(failed.value).split("\n")) == ["one", "two"]


async def test_the_next_event_is_asked_for_once_the_last_is_dealt_with():
    asked = []
    async with contextlib.aclosing(merged([stream("abc", asked=asked)])) as events:
        async for _, event in events:
            if isinstance(event, Ended):
                break
            for _ in range(10):
                await asyncio.sleep(0)
            assert asked[-1] == event


async def test_a_bug_is_not_hidden():
    with pytest.raises(ZeroDivisionError):
        await all_of([stream("a", ZeroDivisionError())])


async def test_closing_ends_every_stream():
    ended = []

    async def endless(number):
        try:
            while True:
                yield number
                await asyncio.sleep(0)
        finally:
            ended.append(number)

    async with contextlib.aclosing(merged([endless(0), endless(1)])) as events:
        async for _ in events:
            break
    assert sorted(ended) in ([0], [0, 1], [1])
    assert asyncio.all_tasks() == {asyncio.current_task()}


# -- one radio -----------------------------------------------------------------------------------------------


class Air:
    """Boards that advertise to whoever scans; notes how many scan at once."""

    def __init__(self, *boards):
        self.boards = list(boards)
        self.scanning = self.most = 0

    def scanner(self):
        air = self

        class Scanner:
            def __init__(self, on_seen, service_uuids):
                self._on_seen = on_seen

            async def __aenter__(self):
                air.scanning += 1
                air.most = max(air.most, air.scanning)
                self._task = asyncio.create_task(self._advertise())

            async def __aexit__(self, *_error):
                air.scanning -= 1
                self._task.cancel()

            async def _advertise(self):
                while True:
                    for name, address, rssi in air.boards:
                        device = SimpleNamespace(name=name, address=address)
                        self._on_seen(device, SimpleNamespace(local_name=name, rssi=rssi))
                    await asyncio.sleep(0.001)

        return Scanner


@pytest.fixture
def air(monkeypatch):
    made = Air(("barn wheel", "AA", -60), ("cellar wheel", "BB", -50))
    monkeypatch.setattr("brakebeat.link.finder.BleakScanner", made.scanner())
    return made


async def test_searches_share_a_scan_and_never_scan_twice_at_once(air):
    finder = Finder()
    wanted = [Wanted(name="barn wheel"), Wanted(address="bb"), Wanted(name="Cellar Wheel"), Wanted()]
    found = await asyncio.gather(*(finder.find(one) for one in wanted))
    assert [device.address for device in found[:3]] == ["AA", "BB", "BB"]
    assert air.most == 1


async def test_nobody_scans_while_someone_connects(air):
    finder = Finder()
    async with finder.quiet():
        search = asyncio.create_task(finder.find(Wanted(name="barn wheel")))
        await asyncio.sleep(0.01)
        assert air.scanning == 0
        assert not search.done()
    assert (await search).address == "AA"


async def test_one_that_is_not_there_does_not_hold_up_the_others(air, monkeypatch):
    monkeypatch.setattr("brakebeat.link.finder._TURN_S", 0.01)
    finder = Finder()
    absent = asyncio.create_task(finder.find(Wanted(name="attic wheel"), 0.1))
    assert (await finder.find(Wanted(name="barn wheel"))).address == "AA"
    with pytest.raises(
        DeviceError, match=r"'attic wheel' was not found .* in reach: barn wheel, cellar wheel"
    ):
        await absent


async def test_a_scan_gives_the_strongest_first_with_names_once_known(air):
    air.boards.append((None, "BB", -40))
    seen = await scan(0.02)
    assert [(board.name, board.address) for board in seen] == [("cellar wheel", "BB"), ("barn wheel", "AA")]
