"""The stand-in `bluetooth` keeps to what a board's does (MicroPython's documentation of that module)."""

import asyncio
import contextlib
import errno
import json
from pathlib import Path

import pytest
from bleak import BleakClient, BleakScanner

from brakebeat.board.engine import command_line, micropython_command
from brakebeat.virtual.air import RadioLimits, virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import BOARD_SIDE

PROBE = Path(__file__).with_name("vm_probe.py")
ADDRESS = "F0:0D:00:00:B0:07"
ENGINES = [
    pytest.param(
        "micropython",
        marks=pytest.mark.skipif(
            micropython_command() is None, reason="no `micropython` command is installed"
        ),
    ),
    "cpython",
]


class Probe:
    """A running scenario."""

    def __init__(self, process):
        self.process = process

    async def line(self, start):
        """The next line that begins with ``start``; fails with all that was said where none comes."""
        said = []
        async for raw in self.process.stdout:
            said.append(raw.decode().rstrip())
            if said[-1].startswith(start):
                return said[-1][len(start) :]
        raise AssertionError("\n".join(said))

    async def found(self):
        return json.loads(await self.line("found "))


@contextlib.asynccontextmanager
async def probing(engine, air, scenario):
    command = command_line(engine, PROBE, str(BOARD_SIDE), str(air.port), scenario)
    process = await asyncio.create_subprocess_exec(
        *command, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT
    )
    try:
        yield Probe(process)
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


@pytest.mark.parametrize("engine", ENGINES)
async def test_calls(engine):
    async with virtual_air() as air, probing(engine, air, "calls") as probe:
        found = await probe.found()
    assert found == {
        "before": errno.ENODEV,
        "same": True,
        "too_long": errno.EINVAL,
        "just_fits": 0,
        "response_too_long": errno.EINVAL,
        "unknown_handle": errno.EINVAL,
        "unknown_setting": "ValueError",
        "mac": list(bytes.fromhex(ADDRESS.replace(":", ""))),
        "uuid": 0xB3,
        "bad_uuid": "ValueError",
        "handles": found["handles"],
        "local_write_grows": 300,
        "not_connected": found["not_connected"],
        "inactive": errno.ENODEV,
    }
    assert len(set(found["handles"])) == 2
    assert found["not_connected"] not in (0, errno.ENOMEM)


@pytest.mark.parametrize("engine", ENGINES)
async def test_with_a_host(engine):
    # A pace at which the board is faster than the radio, so that its queue does fill up.
    limits = RadioLimits(queue=7, event_interval_s=0.05, packets_per_event=1)
    async with virtual_air(limits) as air, probing(engine, air, "with_host") as probe:
        with bleak_on(air):
            found = await _play_host(air, probe)
    assert found["address_inside"] != found["address_after"]
    assert found["cut_to"] == 20
    assert found["appended"] == [1] * 30 + [2] * 30
    assert found["emptied"] == 0
    assert (found["queue"], found["full"]) == (7, errno.ENOMEM)
    assert found["gone"] not in (0, errno.ENOMEM)
    assert (found["kicked"], found["kicked_again"]) == (True, False)


async def _play_host(air, probe):
    device = await BleakScanner.find_device_by_address(ADDRESS)
    lost = asyncio.Event()
    async with BleakClient(device, disconnected_callback=lambda _client: lost.set()) as client:
        # Registered twice, there once.
        (service,) = [one for one in client.services if one.uuid.startswith("f2af3db3")]
        readable, notifying = service.characteristics
        await client.write_gatt_char(readable, bytes(60), response=True)
        await probe.line("board: go on")
        await client.write_gatt_char(readable, b"\1" * 30, response=True)
        await client.write_gatt_char(readable, b"\2" * 30, response=True)
        while await client.read_gatt_char(readable) != b"subscribe now":
            await asyncio.sleep(0.005)
        heard: list[bytes] = []
        again = asyncio.Event()

        def on_value(_sender, data):
            heard.append(bytes(data))
            if data == b"again":
                again.set()

        await client.start_notify(notifying, on_value)
        await client.write_gatt_char(readable, b"\4", response=True)
        await again.wait()
        assert heard == [b"update", *(bytes([number]) for number in range(7)), b"again"]
        assert air.lose_links() == 1
        await lost.wait()
    lost.clear()
    async with BleakClient(ADDRESS, disconnected_callback=lambda _client: lost.set()) as client:
        await client.write_gatt_char(client.services.get_characteristic("2a26"), b"\3", response=True)
        await lost.wait()
    return await probe.found()
