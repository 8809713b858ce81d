"""A whole rig without hardware: the firmware in its own process, a recording for a wheel, a radio of air."""

from __future__ import annotations

import asyncio
import collections
import contextlib
import tempfile
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path

from brakebeat.board.engine import Engine, EngineChoice, choose_engine, command_line
from brakebeat.errors import DeviceError
from brakebeat.formats.recording import Recording, read_recording, write_recording
from brakebeat.formats.rig import Rig, write_rig
from brakebeat.virtual.air import RadioLimits, VirtualAir, virtual_air
from brakebeat.virtual.bleak_backend import bleak_on

BOARD_SIDE = Path(__file__).with_name("board_side")
_DEFAULT_ADDRESS = "F0:0D:00:00:B0:01"
_START_TIMEOUT_S = 20.0
_TICKS_MASK = 0x3FFFFFFF


@dataclass
class VirtualBoard:
    """A running firmware. ``name`` is what it advertises, ``engine`` what runs it."""

    name: str
    address: str
    engine: Engine
    # What the board's clock, which starts within 2^30 us, is behind the recording's.
    offset_us: int
    process: asyncio.subprocess.Process
    # Set once the recording has been played to its end and the wheel seen to stand still.
    played: asyncio.Event = field(default_factory=asyncio.Event)
    # How many reps the firmware found in it; None until then.
    reps_played: int | None = None
    exited: asyncio.Event = field(default_factory=asyncio.Event)
    last_words: collections.deque[str] = field(default_factory=lambda: collections.deque(maxlen=20))

    async def kill(self) -> None:
        """End the process at once, as a dead battery would."""
        if self.process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
        await self.process.wait()


@dataclass
class VirtualRig:
    """What ``virtual_rig`` gives: the board and the air that it is in."""

    board: VirtualBoard
    air: VirtualAir

    @property
    def name(self) -> str:
        """The board's advertised name."""
        return self.board.name

    @property
    def engine(self) -> Engine:
        """What runs the firmware: "micropython" or "cpython"."""
        return self.board.engine

    @property
    def offset_us(self) -> int:
        """To be added to the board's times to get the recording's."""
        return self.board.offset_us


@contextlib.asynccontextmanager
async def virtual_rig(
    recording: Recording | Path | str,
    *,
    speed: float = 1.0,
    engine: EngineChoice = "auto",
    rig: Rig | None = None,
    limits: RadioLimits | None = None,
    wait_for_host: bool = True,
) -> AsyncIterator[VirtualRig]:
    """A board in radio range that plays ``recording`` ``speed`` times as fast as it was pulled.

    While this is open, bleak in this process scans and connects in the virtual air. Nothing leaves the
    loopback.

    Args:
        recording: a recording or the path of one.
        engine: "auto" takes the MicroPython VM where it is installed, else CPython with the same files.
        rig: used in place of the recording's own.
        limits: how good the radio is.
        wait_for_host: the wheel starts to turn when a host listens (else at once).

    Raises:
        InputError: the recording cannot be read or the engine is not installed.
        DeviceError: the firmware did not start (its last words are in the message).
    """
    source = recording if isinstance(recording, Recording) else read_recording(recording)
    async with contextlib.AsyncExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="brakebeat-")))
        air = await stack.enter_async_context(virtual_air(limits))
        stack.enter_context(bleak_on(air))
        board = await stack.enter_async_context(
            virtual_board(
                source, air, folder, speed=speed, engine=engine, rig=rig, wait_for_host=wait_for_host
            )
        )
        yield VirtualRig(board, air)


@contextlib.asynccontextmanager
async def virtual_board(
    recording: Recording,
    air: VirtualAir,
    folder: Path,
    *,
    speed: float = 1.0,
    engine: EngineChoice = "auto",
    rig: Rig | None = None,
    wait_for_host: bool = True,
    address: str = _DEFAULT_ADDRESS,
) -> AsyncIterator[VirtualBoard]:
    """One board in ``air``; its files are written to ``folder``. For the arguments see ``virtual_rig``."""
    chosen = choose_engine(engine)
    rig_path, pulses_path = folder / "rig.toml", folder / "pulses.csv"
    write_rig(rig_path, rig or recording.rig)
    write_recording(
        pulses_path, recording.t_us, recording.step, {"pulses_per_rev": str(recording.rig.pulses_per_rev)}
    )
    command = command_line(
        chosen,
        BOARD_SIDE / "run_board.py",
        str(BOARD_SIDE),
        str(air.port),
        address.replace(":", ""),
        str(rig_path),
        str(pulses_path),
        str(speed),
        "wait" if wait_for_host else "go",
    )
    process = await asyncio.create_subprocess_exec(
        *command,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
        # A terminal's Ctrl-C is ours alone: a board that dies of it beforehand makes asyncio complain.
        start_new_session=True,
    )
    board = VirtualBoard("", address, chosen, _offset_us(recording), process)
    ready = asyncio.Event()
    listener = asyncio.create_task(_listen(board, ready))
    try:
        await _until_ready(board, ready)
        yield board
    finally:
        await board.kill()
        await listener


def _offset_us(recording: Recording) -> int:
    first_us = int(recording.t_us[0]) if len(recording.t_us) else 0
    start_us = first_us - first_us % 1000
    return start_us - (start_us & _TICKS_MASK)


async def _listen(board: VirtualBoard, ready: asyncio.Event) -> None:
    """Follow what the firmware's process prints, to its end."""
    assert board.process.stdout is not None
    async for raw in board.process.stdout:
        line = raw.decode(errors="replace").rstrip()
        board.last_words.append(line)
        words = line.removeprefix("board: ").split(maxsplit=1)
        if line.startswith("board: ready"):
            board.name = words[1]
            ready.set()
        elif line.startswith("board: played"):
            board.reps_played = int(words[1].split()[-2])
            board.played.set()
    board.exited.set()


async def _until_ready(board: VirtualBoard, ready: asyncio.Event) -> None:
    waits = {asyncio.create_task(event.wait()) for event in (ready, board.exited)}
    try:
        await asyncio.wait(waits, timeout=_START_TIMEOUT_S, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for wait in waits:
            wait.cancel()
    if not ready.is_set():
        words = "; ".join(board.last_words) or "it said nothing"
        raise DeviceError(f"virtual rig: the firmware on {board.engine} did not start: {words}")
