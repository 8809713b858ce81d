"""The firmware on its VM with strangers, bonded hosts, raw edges, several boards, and a cable."""

import asyncio
import base64
import binascii
import contextlib
import struct

import numpy as np
import pytest
from bleak import BleakClient

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from brakebeat.board.messages import decode_rep
from brakebeat.board.replay import replay
from brakebeat.formats.recording import read_recording
from brakebeat.samples import find
from brakebeat.virtual import virtual_rig
from brakebeat.virtual.air import RadioLimits, virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import virtual_board
from tests.virtual.client import Client, command, sealed, unsealed, wire

RIG = b"pulses_per_rev = 6\ninertia_kg_m2 = 0.1\nbrake_target = 0.4\n"
BEGIN = struct.pack("<HI", len(RIG), binascii.crc32(RIG))
ADDRESSES = ("F0:0D:00:00:B0:01", "F0:0D:00:00:B0:02")


@pytest.fixture(scope="module")
def late():
    return read_recording(find("late"))


async def every_change(client):
    """The error of each command that changes something."""
    _, hello = await client.hello()
    commands = (
        (wire.COMMAND_RAW_START, b""),
        (wire.COMMAND_RIG_BEGIN, BEGIN),
        (wire.COMMAND_RIG_PART, bytes(2) + RIG),
        (wire.COMMAND_RIG_COMMIT, b""),
        (wire.COMMAND_ERASE, struct.pack("<I", hello["journal_id"])),
    )
    return [(await client.ask(code, payload))[0] for code, payload in commands]


async def trusted(client):
    """The board hears of the encryption a little later than we do."""
    while not (await client.status())["state"] & wire.STATE_TRUSTED:
        await asyncio.sleep(0.05)


async def test_a_stranger_may_read_and_a_bonded_host_may_change(late, tmp_path):
    settings = {"speed": 200.0, "wait_for_host": False, "address": ADDRESSES[0]}
    async with virtual_air() as air:
        with bleak_on(air):
            async with virtual_board(late, air, tmp_path, **settings) as board:
                await board.played.wait()
                rig_file = (tmp_path / "rig.toml").read_bytes()
                async with Client(ADDRESSES[0]) as stranger:
                    await stranger.subscribe()
                    assert await every_change(stranger) == [wire.ERROR_REFUSED] * 5
                    await stranger.start_from(0)
                    while len(stranger.records) < board.reps_played:
                        await asyncio.sleep(0.02)
                    status = await stranger.status()
                assert (tmp_path / "rig.toml").read_bytes() == rig_file
                assert status["journal_next"] - status["journal_oldest"] == board.reps_played
                async with Client(ADDRESSES[0]) as host:
                    await host.subscribe()
                    await host.ble.pair()
                    await trusted(host)
                    assert await every_change(host) == [0] * 5
                assert (tmp_path / "rig.toml").read_bytes() == RIG
                while not (tmp_path / "bonds").exists():
                    await asyncio.sleep(0.02)
                await board.kill()
            # The bond outlives the power cut; who is bonded is trusted again without pairing anew.
            (tmp_path / "rig.toml").write_bytes(rig_file)
            async with virtual_board(late, air, tmp_path, **settings), Client(ADDRESSES[0]) as host:
                await host.subscribe()
                await trusted(host)
                assert (await host.ask(wire.COMMAND_RAW_START))[0] == 0


async def test_what_sealed_garbage_and_wrong_lengths_get(late):
    async with virtual_rig(late, speed=200.0) as rig, Client(rig.board.address) as client:
        await client.subscribe()
        good = command(wire.COMMAND_HELLO, b"\2\2")
        for data in (b"", b"\1", good[:-1], good + b"\0", bytes(20), good[:5] + b"\xff" + good[6:]):
            await client.write(data)
        await client.write(good)
        answers = []
        while not answers or answers[-1][0] != wire.COMMAND_HELLO or answers[-1][2]:
            answers.append(await client.answer())
            # The one good command within the glued ones is obeyed, what follows it is not.
            if len([answer for answer in answers if answer[2] == wire.ERROR_MALFORMED]) < 5:
                answers.append(await client.answer())
        assert {answer[2] for answer in answers} <= {0, wire.ERROR_MALFORMED}


@pytest.mark.parametrize("mtu", [23, 185])
async def test_raw_edges_equal_the_source_edge_for_edge(late, mtu):
    limits = RadioLimits(mtu=mtu)
    async with virtual_rig(late, speed=8.0, limits=limits) as rig, Client(rig.board.address) as client:
        await client.subscribe()
        await client.ble.pair()
        await trusted(client)
        error, content = await client.ask(wire.COMMAND_RAW_START)
        assert error == 0
        (board_us,) = struct.unpack("<Q", content)
        await client.hello()
        await rig.board.played.wait()
        edges = []
        while len(edges) < len(late.t_us):
            await asyncio.sleep(0.05)
            edges = decoded(client.raw, board_us)
    assert [time for time, _ in edges] == [int(time) - rig.offset_us for time in late.t_us]
    assert [step for _, step in edges] == list(late.step)


def decoded(messages, now_us):
    """(time, step) of every edge; numbers without a gap, nothing lost."""
    edges = []
    for number, message in enumerate(messages):
        found, lost, first_us = struct.unpack_from(wire.RAW_HEAD_FORMAT, message)
        assert (found, lost) == (number & 0xFFFF, 0)
        now_us += (first_us - now_us + 2**31) % 2**32 - 2**31
        value = shift = 0
        for byte in message[wire.RAW_HEAD_SIZE :]:
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                now_us += value >> 2
                edges.append((now_us, {0: 0, 1: 1, 3: -1}[value & 3]))
                value = shift = 0
    return edges


async def test_two_boards_at_once(late, tmp_path):
    expected = replay(late).reps
    async with virtual_air() as air, contextlib.AsyncExitStack() as stack:
        stack.enter_context(bleak_on(air))
        clients = []
        for number, address in enumerate(ADDRESSES):
            folder = tmp_path / str(number)
            folder.mkdir()
            board = await stack.enter_async_context(
                virtual_board(late, air, folder, speed=50.0, address=address)
            )
            client = await stack.enter_async_context(Client(address))
            await client.subscribe()
            clients.append((board, client))
        for _, client in clients:
            await client.hello()
            await client.start_from(0)
        for board, client in clients:
            await board.played.wait()
            while len(client.records) < board.reps_played:
                await asyncio.sleep(0.02)
            reps = [decode_rep(client.records[sequence][8:], board.offset_us)[0] for sequence in client.order]
            assert reps == expected


async def test_device_information(late):
    async with virtual_rig(late, speed=200.0) as rig, BleakClient(rig.board.address) as client:
        values = [bytes(await client.read_gatt_char(f"2a{number}")) for number in ("24", "25", "26")]
    assert values[0] == b"Brakebeat"
    assert values[1].decode() == rig.board.address.replace(":", "").lower()
    assert values[2].decode()


@pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")
async def test_the_same_messages_over_a_cable(tmp_path):
    """The program as it starts on a port without a radio, its console for a cable."""
    (tmp_path / "rig.toml").write_bytes(RIG)
    process = await asyncio.create_subprocess_exec(
        micropython_command(),
        str(firmware_dir() / "main.py"),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        cwd=tmp_path,
    )

    async def hear(letter):
        async for raw in process.stdout:
            line = raw.decode().strip()
            if line.startswith("$" + letter):
                data = base64.b64decode(line[2:])
                return unsealed(letter.encode() + data)[1:]
        raise AssertionError("the board fell silent")

    def say(data):
        line = base64.b64encode(sealed(b"C" + data)[1:])
        process.stdin.write(b"$C" + line + b"\n")

    try:
        process.stdin.write(b"some noise\n$Cbad!\n$CAAAA\n")
        say(command(wire.COMMAND_HELLO, b"\2\2", 5))
        answer = unsealed(await hear("C"))
        assert answer[:3] == bytes((wire.COMMAND_HELLO, 5, 0))
        assert len(await hear("L")) == wire.LIVE_SIZE
        status = struct.unpack_from(wire.STATUS_FORMAT, unsealed(await hear("S")))
        assert status[0] == wire.PROTOCOL_VERSION
        # Who holds the cable may change things, and the time goes into the journal.
        say(command(wire.COMMAND_RAW_START, b"", 6))
        assert unsealed(await hear("C"))[:3] == bytes((wire.COMMAND_RAW_START, 6, 0))
        assert len(await hear("W")) == wire.RAW_HEAD_SIZE
        say(command(wire.COMMAND_TIME, struct.pack("<Q", 10**15), 7))
        assert unsealed(await hear("C"))[:3] == bytes((wire.COMMAND_TIME, 7, 0))
        say(command(wire.COMMAND_FROM, bytes(4), 8))
        part = await hear("R")
        assert part[1] == wire.PART_LAST
        record = unsealed(part[2:])
        assert (record[0], record[1]) == (wire.RECORD_TIME, wire.TIME_SIZE)
    finally:
        process.kill()
        await process.wait()


def test_the_recording_is_long_enough_to_tell(late):
    assert len(late.t_us) > 500
    assert np.all(np.diff(late.t_us) >= 0)
