"""The magnet table that a board has learnt, asked for five offsets at a time."""

import asyncio
import struct
from types import SimpleNamespace

import pytest

from brakebeat.board.files import load_wire
from brakebeat.errors import InputError
from brakebeat.link.rig_transfer import LEARNT_REPS, learnt_magnets
from tests.firmware.loaded import session


def connection_to(offsets_rad, reps):
    """A board whose detector holds these offsets; answers as ``control.py`` does."""
    magnets = len(offsets_rad)
    spacing_rad = 6.2831853 / magnets
    table = SimpleNamespace(magnets=magnets, reps=reps, offsets=[o / spacing_rad for o in offsets_rad])
    board = SimpleNamespace(stretch=SimpleNamespace(table=table), spacing_rad=spacing_rad)
    asked = []

    async def ask(code, payload=b""):
        assert code == load_wire().COMMAND_MAGNETS
        asked.append(payload[0])
        answer = session.Session.learnt_magnets(board, payload[0])
        head = struct.calcsize(load_wire().ANSWER_HEAD_FORMAT)
        assert head + len(answer) + 4 <= 20  # the smallest MTU's indication
        return answer

    return SimpleNamespace(control=SimpleNamespace(ask=ask), asked=asked)


@pytest.mark.parametrize("magnets", [2, 5, 6, 12, 24, 32])
def test_all_offsets_arrive_in_order_with_mean_zero(magnets):
    offsets = [0.002 * ((7 * k) % 5 - 2) for k in range(magnets)]
    link = connection_to(offsets, LEARNT_REPS)
    got = asyncio.run(learnt_magnets(link))
    mean = sum(offsets) / magnets
    # Told in units of 1e-4 rad, cut off towards 0.
    assert got == pytest.approx([offset - mean for offset in offsets], abs=2.1e-4)
    assert link.asked == list(range(0, magnets, 5))


def test_too_few_reps_and_no_magnets_are_said():
    with pytest.raises(InputError, match="from 2 reps so far"):
        asyncio.run(learnt_magnets(connection_to([0.01, -0.01], 2)))
    with pytest.raises(InputError, match="no magnets apart"):
        asyncio.run(learnt_magnets(connection_to([0.0], 9)))
