"""A long session for tests: a sample's set again and again, with rests between."""

import dataclasses

import numpy as np

from brakebeat.formats.recording import Recording, read_recording
from brakebeat.samples import find

REST_US = 13_000_000


def sets_in_a_row(number: int) -> Recording:
    """``number`` sets of 8 reps with two late brakes each, a rest longer than a set's pauses after each."""
    one = read_recording(find("late"))
    period = int(one.t_us[-1] - one.t_us[0]) + REST_US
    times = np.concatenate([one.t_us + place * period for place in range(number)])
    return dataclasses.replace(one, t_us=times, step=np.tile(one.step, number))
