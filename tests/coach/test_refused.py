"""A board that gives no raw edges to this computer: the session goes on without, and says so."""

import sys

import pytest

from brakebeat.board.files import load_wire
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.plain import PlainCoach, closing
from brakebeat.coach.runner import run_session
from brakebeat.coach.session import CoachSession
from brakebeat.link import Wanted
from brakebeat.link.control import CommandError
from brakebeat.store import open_store
from brakebeat.store.queries import sets
from tests.link.fake_board import FakeBoard, FakeTransport

from .events import choice


@pytest.fixture
def board(monkeypatch):
    """A board with three reps in its journal that nobody may bond with now."""
    made = FakeBoard(trusted=False, bondable=False, status={"pulses_per_rev": 6})
    made.add_reps(3)

    async def found(*_args):
        return FakeTransport(made)

    monkeypatch.setattr(sys.modules["brakebeat.link.follow"], "find", found)
    return made


async def _followed(store, reps=3):
    session = CoachSession(choice())
    await run_session(
        session,
        Keeper(store, session.choice),
        [PlainCoach(session)],
        Wanted(),
        scan_s=0.1,
        over=lambda so_far: so_far >= reps,
    )
    return session


async def test_the_reps_are_kept_and_the_reason_is_told(board, tmp_path, capsys):
    with open_store(tmp_path / "log") as store:
        session = await _followed(store)
        kept = [rep.rep.index for one in sets(store) for rep in one.reps]
    assert kept == [0, 1, 2]
    assert board.obeyed.count("raw_start") == 1
    assert not session.edges_kept
    assert "needs a bond" in session.no_edges
    assert "it does not pair now" in session.no_edges
    # At once, while there is time to press the button, and at the end.
    assert "CAREFUL no raw edges are kept: barn wheel: refused" in capsys.readouterr().out
    assert any(line.startswith("no raw edges, so no curves in the report") for line in closing(session))


async def test_one_that_bonds_gives_its_edges(board, tmp_path):
    board.bondable = True
    board.edges = [([1_500, 2_500], [0, 0])]
    with open_store(tmp_path / "log") as store:
        session = await _followed(store)
    assert session.edges_kept
    assert session.no_edges == ""


async def test_another_refusal_is_an_error(board, tmp_path):
    board.refuse = {"raw_start": [load_wire().ERROR_BUSY] * 9}
    with open_store(tmp_path / "log") as store, pytest.raises(CommandError, match="while the wheel turns"):
        await _followed(store)
