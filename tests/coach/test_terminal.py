"""The big letters on a terminal: what stands there at each stage, and that it fits."""

import io

import pytest
from rich.console import Console

from brakebeat.coach.digits import big
from brakebeat.coach.session import CoachSession
from brakebeat.coach.terminal import bar, screen

from .events import BOARD_US, WALL_US, arrived, choice, connected, live

NOW_S = WALL_US / 1e6


def shown(*events, width=100, height=40, **plan):
    session = CoachSession(choice("Mara [bold]Quill[/bold]", **plan))
    for event in events:
        session.take(event, NOW_S)
    console = Console(width=width, height=height, file=io.StringIO())
    console.print(screen(session, NOW_S, height))
    return console.file.getvalue()


def reps(*peaks):
    return [
        arrived(n, BOARD_US + 2_000_000 * (n + 1), peak, 5 * peak, momentum=n < 2)
        for n, peak in enumerate(peaks)
    ]


def test_before_the_first_rep():
    text = shown()
    assert "READY   set 1 of" in text
    assert "looking for the board" in text
    assert "Keep clear of wheel and strap" in text
    # Names are text: no markup of theirs is obeyed.
    assert "Mara [bold]Quill[/bold]" in text


def test_momentum_reps_are_counted_against_their_own_number():
    text = shown(connected(), *reps(50.0, 57.6), reps=6)
    assert "MOMENTUM REP" in text
    for line in big("m2/2").splitlines():
        assert line.rstrip() in text


def test_a_rep_that_counts():
    text = shown(connected(), *reps(50.0, 57.6, 77.0), reps=6)
    for line in big("1/6").splitlines():
        assert line.rstrip() in text
    assert "77 rad/s" in text
    assert "385 W" in text
    assert "best ┃ 77" in text


def test_effort_dropped_and_all_done():
    assert "EFFORT HAS DROPPED OFF" in shown(connected(), *reps(50.0, 57.6, 77.0, 60.0), reps=6)
    text = shown(connected(), *reps(50.0, 57.6, 77.0), reps=1, sets=1)
    assert "✓ ALL SETS DONE" in text


@pytest.mark.parametrize("height", [20, 24, 40])
def test_it_fits_a_small_terminal(height):
    text = shown(connected(), *reps(*[60.0 + n for n in range(30)]), width=80, height=height, reps=30)
    assert len(text.rstrip().splitlines()) <= height
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "89.00 rad/s" in text  # the newest rep


def test_the_bar_has_room_for_the_last_rep():
    assert bar(30.0, None, None, 60.0).count("█") == round(40 * 30 / (1.15 * 60))
    assert bar(None, None, None, None).count("█") == 0
    assert bar(60.0, 60.0, 70.0, 60.0).count("▽") == 1
    assert shown(connected(), *reps(60.0), live(speed=30.0)).count("█") > 0
