"""A process that dies takes one recording along, not the thousands of others."""

import os
import signal
import time
from functools import partial

from brakebeat.many.processes import _shared_out
from brakebeat.many.work import Answer, Task


def _fatal(task: Task) -> Answer:
    """Dies of some recordings, as of too little memory."""
    if task.data == b"poison":
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.01)
    return Answer({"reference": task.name})


def _once(marker: str, task: Task) -> Answer:
    """Dies the first time only."""
    if task.data == b"poison" and not os.path.exists(marker):  # noqa: PTH110
        os.close(os.open(marker, os.O_CREAT))
        os.kill(os.getpid(), signal.SIGKILL)
    return Answer({"reference": task.name})


def _tasks(*poisoned: int):
    return (
        Task(place, f"set{place}.csv", b"poison" if place in poisoned else b"", ("reference",))
        for place in range(12)
    )


def _by_place(do, tasks):
    return {task.place: answer for task, answer in _shared_out(do, tasks, 2)}


def test_the_one_that_kills_its_process_is_named_and_the_rest_is_done():
    answers = _by_place(_fatal, _tasks(4, 9))
    assert sorted(answers) == list(range(12))
    assert {place for place, answer in answers.items() if answer.fault} == {4, 9}
    assert answers[4].fault is not None
    assert answers[4].fault.words.startswith("set4.csv: ")
    assert answers[5].documents == {"reference": "set5.csv"}


def test_a_death_by_accident_costs_nothing(tmp_path):
    answers = _by_place(partial(_once, str(tmp_path / "died")), _tasks(3))
    assert [answers[place].documents["reference"] for place in range(12)] == [
        f"set{n}.csv" for n in range(12)
    ]
