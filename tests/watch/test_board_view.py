"""What a table knows of a board, and the table itself: words and signs beside every colour."""

import dataclasses
import io

import pytest
from rich.console import Console

from brakebeat.link import (
    CueHeard,
    LinkLost,
    LiveArrived,
    LiveState,
    RecordsGone,
    RepArrived,
    StatusArrived,
    Waiting,
    decode_status,
)
from brakebeat.results import Cue, PhaseFigures, Rep
from brakebeat.watch.board_view import BoardView
from brakebeat.watch.table import LiveTable, drop_words, render
from tests.link.fake_board import FakeBoard


def arrived(index, peak=60.0, start_s=None, cues=(), **values):
    start_us = int(1e6 * (2 * index if start_s is None else start_s))
    figures = {"momentum": False, "extension_us": start_us + 900_000, "end_us": start_us + 1_800_000}
    figures |= {"peak_us": start_us + 850_000, "concentric_rad": 40.0, "eccentric_rad": 40.0}
    rep = Rep(index=index, start_us=start_us, peak_rad_s=peak, **(figures | values))
    return RepArrived(rep, [Cue(start_us, index, kind) for kind in cues], b"", 1, index, 1)


def live(**values):
    state = LiveState("concentric", 3, 3, 45.2, 0, 0, None, 0, 0.0)
    return LiveArrived(dataclasses.replace(state, **values))


def drops(*events):
    view = BoardView("barn wheel")
    for event in events:
        view.take(event)
    return [None if row.drop is None else round(row.drop, 3) for row in view.rows]


def test_drop_off_is_below_the_sets_best_so_far():
    assert drops(*(arrived(n, peak) for n, peak in enumerate([60, 63, 56.7, 62.37, 70]))) == [
        None,
        0,
        0.1,
        0.01,
        0,
    ]


def test_momentum_reps_neither_count_nor_drop():
    assert drops(arrived(0, 90, momentum=True), arrived(1, 60), arrived(2, 54)) == [None, None, 0.1]


def test_a_new_set_or_a_restarted_board_begins_anew():
    assert drops(
        arrived(0, 60), arrived(1, 54), arrived(2, 30, start_s=100), arrived(3, 15, start_s=102)
    ) == [
        None,
        0.1,
        None,
        0.5,
    ]
    assert drops(arrived(5, 60), arrived(0, 30)) == [None, None]


@pytest.mark.parametrize(
    ("drop", "fell", "words"),
    [
        (None, False, "–"),
        (0.0, False, "best"),
        (0.123, False, "−12%"),
        (0.2, True, "−20% DROPPED"),
        (None, True, "– DROPPED"),
    ],
)
def test_a_drop_in_words(drop, fell, words):
    assert drop_words(drop, fell) == words


def printed(boards, checked=False, height=40, width=150, **console):
    out = io.StringIO()
    Console(file=out, width=width, **console).print(render(boards, "Keep clear.", (width, height), checked))
    return out.getvalue()


def full_view():
    view = BoardView("barn wheel", connected=True, link="connected")
    view.take(live())
    for event in [
        arrived(0, 50, momentum=True, brake_fraction=0.24, brake_timing="inside"),
        arrived(1, 60, brake_fraction=0.56, brake_timing="late", cues=["late"]),
        arrived(2, 51, brake_fraction=0.1, brake_timing="early", cues=["drop_off"]),
        arrived(
            3, 60, concentric=PhaseFigures(mean_power_w=412.4), eccentric=PhaseFigures(mean_power_w=455.2)
        ),
    ]:
        view.take(event)
    return view


def test_the_table_says_everything_without_a_colour():
    text = printed([full_view()])
    rows = [line.split() for line in text.splitlines()]
    assert ["1", "m", "50.00", "477", "–", "–", "0.24", "inside", "–"] in rows
    assert ["2", "60.00", "573", "–", "–", "0.56", "LATE", "–", "late"] in rows
    assert ["3", "51.00", "487", "–", "–", "0.10", "early", "−15%", "DROPPED", "drop-off"] in rows
    assert ["4", "60.00", "573", "412", "455", "–", "unknown", "best"] in rows
    assert "● connected   pull →     45.2 rad/s ( 432 rpm)   rep 3 of the set" in text
    assert "Keep clear." in text


def test_colours_are_only_on_top():
    coloured = printed([full_view()], force_terminal=True, color_system="truecolor")
    plain = printed([full_view()])
    stripped = "".join(
        piece.partition("m")[2] if n else piece for n, piece in enumerate(coloured.split("\x1b["))
    )
    assert "\x1b[" in coloured
    assert stripped == plain


def test_the_reference_has_a_column_where_it_is_asked():
    view = full_view()
    view.note(1, "peak +0.1%  ok")
    view.note(99, "of a rep that is not here")
    assert "board − reference" in printed([view], checked=True)
    assert "peak +0.1%  ok" in printed([view], checked=True)
    assert "reference" not in printed([view])


def test_a_narrow_terminal_cuts_words_and_no_figures():
    view = full_view()
    view.note(1, "TOO FAR: brake  peak +0.1%  brake +0.22  power -0.4%")
    rows = [line.split() for line in printed([view], checked=True, width=80).splitlines()]
    assert ["2", "60.00", "573", "–", "–", "0.56", "LATE", "–", "late", "TOO"] in [row[:10] for row in rows]
    assert ["3", "51.00", "487", "–", "–", "0.10", "early", "−15%", "DROPPED", "drop-off"] in rows


@pytest.mark.parametrize(("width", "checked"), [(60, True), (60, False), (48, False)])
def test_a_still_narrower_one_leaves_columns_out_and_cuts_no_figure(width, checked):
    view = full_view()
    view.note(1, "TOO FAR: brake  peak +0.1%")
    text = printed([view], checked=checked, width=width)
    head, *rows = [line for line in text.splitlines() if line.lstrip().startswith(("rep ", "1 ", "2 ", "3 "))]
    assert "rpm" not in head
    for row, figures in zip(rows, (("50.00", "0.24"), ("60.00", "0.56"), ("51.00", "0.10")), strict=True):
        assert set(figures) <= set(row.split())
        # Only the check's own words are cut.
        assert "…" not in row.split("TOO")[0]
    assert "−15% DROPPED" in rows[2]


def test_as_many_reps_as_there_is_room_for_the_latest_last():
    view = BoardView("barn wheel")
    for number in range(50):
        view.take(arrived(number))
    lines = [line for line in printed([view], height=20).splitlines() if "60.00" in line]
    assert [line.split()[0] for line in lines] == [str(number) for number in range(37, 51)]


def test_several_boards_have_a_block_each():
    boards = [BoardView("barn wheel"), BoardView("cellar wheel")]
    boards[0].take(arrived(0))
    boards[1].take(LinkLost("the link to the board was lost"))
    text = printed(boards)
    assert (
        text.index("barn wheel") < text.index("60.00") < text.index("cellar wheel") < text.index("○ the link")
    )


def test_a_lost_link_is_told_and_what_was_live_is_gone():
    view = full_view()
    assert view.live is not None
    view.take(LinkLost("the board did not answer in time"))
    assert "○ the board did not answer in time" in printed([view])
    assert "pull →" not in printed([view])
    view.take(Waiting(2, None, 4.0))
    assert "○ link lost, trying again in 4 s" in printed([view])
    view.take(CueHeard("late", 3, 1.0))
    view.end("gave up")
    assert (view.ended, view.last_cue) == (True, "late")


def test_overwritten_reps_are_told():
    view = BoardView("barn wheel")
    view.take(RecordsGone(3, 9))
    assert "7 reps overwritten before being fetched" in printed([view])


async def test_troubles_have_lines_of_their_own_on_a_narrow_terminal_too():
    view = full_view()
    board = FakeBoard(status={"trouble": b"rig.toml: line 3: no such key; default rig in use"})
    view.take(StatusArrived(decode_status(board.status_message())))
    view.warning = "it works with another rig file"
    lines = printed([view], width=80).splitlines()
    assert "trouble: rig.toml: line 3: no such key; default rig in use" in lines
    assert "CAREFUL: it works with another rig file" in lines


def test_the_live_table_draws_at_its_start_and_at_its_end():
    out = io.StringIO()
    view = BoardView("barn wheel")
    with LiveTable([view], "Keep clear.", Console(file=out, force_terminal=True, width=120), False) as table:
        view.take(arrived(0))
        table.show(at_once=False)
    assert out.getvalue().count("barn wheel") >= 2
    assert "60.00" in out.getvalue()
