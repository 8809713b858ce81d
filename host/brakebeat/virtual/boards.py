"""Several boards without hardware on one air, each playing a recording, with the host's bleak on it, too."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from brakebeat.board.engine import EngineChoice
from brakebeat.formats.recording import Recording
from brakebeat.virtual.air import virtual_air
from brakebeat.virtual.bleak_backend import bleak_on
from brakebeat.virtual.rig import VirtualBoard, virtual_board


@dataclass
class VirtualBoards:
    """Running boards without hardware."""

    boards: list[VirtualBoard]
    # In all recordings.
    edges: int

    def over(self, reps: int) -> bool:
        """Whether every recording is played to its end and ``reps`` reps are all that were in them."""
        played = [board.reps_played for board in self.boards]
        return None not in played and reps >= sum(count or 0 for count in played)

    async def played(self) -> None:
        """Wait until every recording is played."""
        for board in self.boards:
            await board.played.wait()


@contextlib.asynccontextmanager
async def boards_on_air(
    recordings: Sequence[Recording], *, speed: float, engine: EngineChoice, wait_for_host: bool
) -> AsyncIterator[VirtualBoards]:
    """A board for each recording while this is open; the options are ``virtual_board``'s."""
    async with contextlib.AsyncExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="brakebeat-")))
        air = await stack.enter_async_context(virtual_air())
        stack.enter_context(bleak_on(air))
        boards = []
        for number, recording in enumerate(recordings, 1):
            own = folder / str(number)
            own.mkdir()
            board = virtual_board(
                recording,
                air,
                own,
                speed=speed,
                engine=engine,
                wait_for_host=wait_for_host,
                address=f"F0:0D:00:00:B0:{number:02X}",
            )
            boards.append(await stack.enter_async_context(board))
        yield VirtualBoards(boards, sum(len(recording.t_us) for recording in recordings))
