"""Edges on tape: order, holes, and what a header says of them."""

import numpy as np
import pytest

from brakebeat.formats.recording import read_recording, write_recording
from brakebeat.watch.tape import EdgeTape, Hole


def edges(*times):
    return np.array(times), np.zeros(len(times), np.int8)


def test_what_came_is_on_it_in_order():
    tape = EdgeTape()
    tape.add(*edges(10, 20))
    tape.add(*edges())
    tape.add(*edges(20, 30), 0)
    assert tape.edges()[0].tolist() == [10, 20, 20, 30]
    assert (tape.count, tape.last_us, tape.lost, tape.uncounted, tape.marks()) == (4, 30, 0, 0, {})


def test_holes_are_counted_and_placed():
    tape = EdgeTape()
    tape.add(*edges(10), 2)
    tape.add(*edges(20), None)
    tape.add(*edges(30), 5)
    assert tape.holes == [Hole(10, 10, 2), Hole(10, 20, None), Hole(20, 30, 5)]
    assert tape.marks() == {"edges_lost": "7 or more", "holes_us": "10-10 10-20 20-30"}


def test_many_holes_make_no_endless_header():
    tape = EdgeTape()
    for number in range(500):
        tape.add(*edges(number), 1)
    assert tape.marks()["edges_lost"] == "500"
    assert tape.marks()["holes_us"].endswith("and 400 more")


def test_marks_come_back_from_the_file(tmp_path):
    tape = EdgeTape()
    tape.add(*edges(10, 20))
    tape.add(*edges(90), 4)
    made = tape.recording({"pulses_per_rev": "6"})
    write_recording(tmp_path / "set.csv", made.t_us, made.step, made.header)
    back = read_recording(tmp_path / "set.csv")
    assert back.header == {"pulses_per_rev": "6", "edges_lost": "4", "holes_us": "20-90"}
    assert back.t_us.tolist() == [10, 20, 90]


@pytest.mark.parametrize("later", [(5,), (30, 20)])
def test_time_does_not_run_backwards(later):
    tape = EdgeTape()
    tape.add(*edges(10))
    with pytest.raises(ValueError, match="after one at 10 us"):
        tape.add(*edges(*later))
    assert tape.count == 1


def test_what_is_old_can_be_forgotten():
    tape = EdgeTape()
    for begin in range(0, 100, 10):
        tape.add(*edges(begin, begin + 5), 1)
    tape.forget_before(41)
    assert tape.edges()[0].tolist() == [45, 50, 55, 60, 65, 70, 75, 80, 85, 90, 95]
    assert tape.edges(91)[0].tolist() == [95]
    assert (tape.count, tape.lost) == (20, 10)
    tape.forget_before(1000)
    assert tape.edges()[0].size == 0
