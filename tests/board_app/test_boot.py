"""A board is never dead: whatever is missing or fails is told over the radio, or at least on the console."""

import asyncio
import contextlib
import os
import struct
from pathlib import Path

import pytest
from bleak import BleakScanner

from brakebeat.board.engine import command_line, micropython_command
from brakebeat.board.files import firmware_dir
from brakebeat.virtual.air import virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import BOARD_SIDE
from tests.virtual.client import Client, wire

ADDRESS = "F0:0D:00:00:B0:08"
SCRIPT = Path(__file__).with_name("vm_app.py")
ENGINES = ["cpython"] if micropython_command() is None else ["micropython", "cpython"]


@contextlib.asynccontextmanager
async def running(command, folder):
    """A process in ``folder``; killed at the end."""
    process = await asyncio.create_subprocess_exec(
        *command,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
        cwd=folder,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


@contextlib.asynccontextmanager
async def board_in(situation, engine, air, folder, rig="rig.toml"):
    command = command_line(engine, SCRIPT, str(BOARD_SIDE), str(air.port), situation, rig)
    async with running(command, folder) as process:
        yield process


async def status_of_the_board():
    """What a host that connects now is told, once the board has said something of it."""
    device = await BleakScanner.find_device_by_address(ADDRESS)
    async with Client(device) as client:
        return await client.status()


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize(
    ("rig", "told"),
    [
        (None, "rig.toml: cannot be read"),
        ("pulses_per_rev = many\n", "rig.toml: line 1"),
        ("pulses_per_rev = 0\n", "rig.toml: pulses_per_rev"),
        ("pulses_per_rev = 6\n[board\n", "rig.toml: line 2"),
        ("name = 'x", "rig.toml: line 1"),
        ("\0\0\0", "rig.toml: line 1"),
    ],
)
async def test_a_rig_file_that_is_missing_or_bad_is_told_over_the_radio(engine, rig, told, tmp_path):
    if rig is not None:
        (tmp_path / "rig.toml").write_text(rig)
    async with virtual_air() as air, board_in("boot", engine, air, tmp_path):
        with bleak_on(air):
            status = await status_of_the_board()
    assert told in status["trouble"]
    assert status["name"] == "Brakebeat-B008"
    assert status["rep_count"] == 0


async def test_a_good_rig_file_without_pins_says_only_that(tmp_path):
    (tmp_path / "rig.toml").write_text('name = "shed wheel"\npulses_per_rev = 6\ninertia_kg_m2 = 0.07\n')
    async with virtual_air() as air, board_in("boot", ENGINES[0], air, tmp_path):
        with bleak_on(air):
            status = await status_of_the_board()
    assert (status["name"], status["trouble"]) == ("shed wheel", "no pins on this machine: no sensor")


@pytest.mark.parametrize("engine", ENGINES)
async def test_a_detector_that_fails_is_started_again_and_the_link_stays(engine, tmp_path):
    async with virtual_air() as air, board_in("broken_source", engine, air, tmp_path):
        with bleak_on(air):
            device = await BleakScanner.find_device_by_address(ADDRESS)
            async with Client(device) as client:
                await client.subscribe()
                await client.hello()
                reps: set[int] = set()
                while len(reps) < 4:
                    await asyncio.sleep(0.02)
                    # The count of reps goes on over restarts, or a host would take new ones for old.
                    reps |= {struct.unpack(wire.LIVE_FORMAT, live)[5] for live in client.lives}
                    assert not client.lost.is_set()
                status = await client.status()
    assert "detector restarted: ValueError('made to fail'" in status["trouble"]
    assert max(reps) - min(reps) >= 3


@pytest.mark.parametrize("engine", ENGINES)
async def test_a_radio_that_does_not_start_stops_nothing_else(engine, tmp_path):
    async with virtual_air() as air, board_in("broken_radio", engine, air, tmp_path) as process:
        said = (await process.stdout.read()).decode()
    assert "trouble radio did not start" in said
    assert said.rstrip().endswith("pumped")


@pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")
async def test_main_as_it_lies_on_a_board(tmp_path):
    """Started like a board starts it, on a port with neither pins nor radio: it says so and stays up."""
    command = [micropython_command(), str(firmware_dir() / "main.py")]
    async with running(command, tmp_path) as process:
        said = [(await process.stdout.readline()).decode() for _ in range(3)]
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(process.wait(), 0.3)
        assert process.returncode is None
    assert ["rig.toml" in said[0], "no pins" in said[1], "no radio" in said[2]] == [True] * 3


@pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")
async def test_a_program_that_cannot_be_read_is_quoted_and_started_again(tmp_path):
    """Here there is nothing to reset; on a board the reset follows the message."""
    (tmp_path / "main.py").write_text(
        (firmware_dir() / "main.py").read_text().replace("sleep(5)", "sleep(0)")
    )
    package = tmp_path / "brakebeat_fw"
    package.mkdir()
    (package / "__init__.py").write_text("")
    for name in ("ports.py", "boards.py", "rigfile.py", "watchdog.py"):
        (package / name).write_text((firmware_dir() / "brakebeat_fw" / name).read_text())
    (package / "app.py").write_text("raise RuntimeError('half a file')\n")
    async with running([micropython_command(), str(tmp_path / "main.py")], tmp_path) as process:
        said = (await process.stdout.read()).decode()
    assert "half a file" in said
