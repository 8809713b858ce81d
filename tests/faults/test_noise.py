"""Noise of 100 to 10,000 edges a second, as a cable without a screen makes it: no rep is made of it, what it costs is
bounded, it is counted, and a second after it all is as ever."""

import struct
from itertools import pairwise
from types import MethodType

import numpy as np
import pytest

from brakebeat.board import replay
from brakebeat.formats.recording import Recording
from brakebeat.simulate import default_recording, preset
from tests.faults.lived import (
    CONNECT,
    POWER,
    REPORT,
    REPS,
    REST,
    figures,
    flags,
    half,
    live,
    needs_vm,
    pull,
    reps_of,
)  # fmt: skip
from tests.firmware.hot import batches, fresh
from tests.firmware.loaded import session as session_module

MAGNETS = (1, 2, 6, 24)
RATES = (100, 300, 1_000, 3_000, 10_000)
# What has been measured on boards' cables is neither; these two are as different as noise can be.
KINDS = ("even", "exponential")
SECOND_US = 1_000_000


def noise_us(kind: str, rate: int, seconds: float, seed: int) -> np.ndarray:
    """Times of so many edges a second without rhythm: gaps up to twice the mean, or memoryless ones."""
    rng = np.random.default_rng([seed, rate])
    count, mean_us = int(rate * seconds), 1e6 / rate
    gaps = rng.uniform(1, 2 * mean_us, count) if kind == "even" else rng.exponential(mean_us, count)
    return np.cumsum(np.maximum(1, gaps).astype(np.int64))


def noise(mean_us, us=2 * SECOND_US, loop_us=0):
    return {"do": "noise", "us": us, "gap_us": mean_us, "seed": 7, "loop_us": loop_us}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("magnets", MAGNETS)
def test_no_rep_is_made_of_it_and_every_edge_is_counted(magnets, rate, kind):
    t_us = SECOND_US + noise_us(kind, rate, min(10.0, 6_000 / rate), seed=1)
    header = {"pulses_per_rev": str(magnets), "inertia_kg_m2": "0.12", "drum_radius_m": "0.03"}
    found = replay(Recording(t_us, np.zeros(len(t_us), np.int8), header))
    assert found.reps == []
    assert found.cues == []
    assert found.quality.incomplete >= 1
    # The others came before it was known for noise. A hundred a second are no more than 24 magnets of a slow wheel.
    assert found.quality.bounced + found.quality.spurious >= (0.5 if rate > 100 else 0.25) * len(t_us)


@pytest.mark.parametrize("seed", [2, 5])
def test_edges_that_scatter_are_no_wheels(seed):
    """So slow that a wheel could have made nearly each interval."""
    t_us = SECOND_US + noise_us("even", 60, 10.0, seed)
    header = {"pulses_per_rev": "24", "inertia_kg_m2": "0.12", "drum_radius_m": "0.03"}
    assert replay(Recording(t_us, np.zeros(len(t_us), np.int8), header)).reps == []


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("magnets", MAGNETS)
def test_a_board_that_lags_behind_reads_few_turnarounds_at_once(magnets, rate, monkeypatch):
    """One takes a small board up to seconds: the watchdog, which waits for 30, hears of each."""
    fed = []
    monkeypatch.setattr(session_module.watchdog, "feed", lambda: fed.append(1))
    session = fresh(pulses_per_rev=magnets, inertia_kg_m2=0.12, drum_radius_m=0.03)
    read = [0]
    tidy_turn = session.stretch.tidy_turn

    def counted(_self):
        read[0] += 1
        return tidy_turn()

    session.stretch.tidy_turn = MethodType(counted, session.stretch)
    edges = [(int(t), 0) for t in noise_us("even", rate, min(20.0, 6_000 / rate), seed=2)]
    most = 0
    for times, steps in batches(edges, [64]):
        before = read[0]
        session.feed(times, steps, len(times))
        session.poll(times[-1])
        most = max(most, read[0] - before)
    assert most <= 16
    assert read[0] <= 0.03 * len(edges)
    assert len(fed) >= read[0]


@needs_vm
@pytest.mark.parametrize("mean_us", [100, 300, 2_000, 10_000])
def test_at_rest_the_next_set_is_as_right_as_without(tmp_path, mean_us):
    orders = (POWER, CONNECT, pull(), REST, REPORT, noise(mean_us), REST, REPORT, pull(), REST, REPORT)
    outcome = live(tmp_path, *orders)
    before, after, last = outcome.reports
    edges = after["interrupts"] - before["interrupts"]
    left_out = sum(after[name] - before[name] for name in ("bounced", "spurious", "overrun"))
    assert edges > 0.9 * 2 * SECOND_US / mean_us
    assert left_out > 0.5 * edges
    assert (before["reps"], after["reps"], last["reps"]) == (REPS, REPS, 2 * REPS)
    assert (last["faults"], last["incomplete"]) == (0, after["incomplete"])
    # As the first set after power-up: where the wheel stands nobody knows any more.
    reps = reps_of(outcome)
    for rep, same in zip(reps[REPS:], reps[:REPS], strict=True):
        assert flags(rep.body) == flags(same.body)
        assert peak_rad_s(rep) == pytest.approx(peak_rad_s(same), rel=1e-3)


@needs_vm
@pytest.mark.parametrize("mean_us", [300, 2_000, 10_000])
def test_amid_a_set_nothing_is_invented(tmp_path, mean_us):
    first, second = pull(slice(None, half())), pull(slice(half(), None))
    broken = (first, noise(mean_us, us=SECOND_US), second)
    outcome = live(tmp_path, POWER, CONNECT, *broken, REST, REPORT, pull(), REST, REPORT)
    after, last = outcome.reports
    assert after["reps"] < REPS <= after["reps"] + after["incomplete"]
    assert last["reps"] == after["reps"] + REPS
    assert last["faults"] == 0


@pytest.mark.parametrize("magnets", [2, 6, 24])
@pytest.mark.parametrize("rate", [300, 3_000])
def test_a_second_of_it_over_a_running_set(magnets, rate):
    """The wheel goes on meanwhile. Reps that begin a second after the noise count again, reps before it count."""
    recording, truth = default_recording(8, reps=10, sensor=preset("dirty", magnets))
    begins = truth["reps"][4]["start_us"] + 200_000
    added = begins + noise_us("exponential", rate, 1.0, seed=3)
    t_us = np.sort(np.concatenate([recording.t_us, added]))
    found = replay(Recording(t_us, np.zeros(len(t_us), np.int8), recording.header)).reps
    ends = int(added[-1])
    # A turnaround is believed half a second behind it.
    sure = [
        rep
        for rep in truth["reps"]
        if rep["end_us"] < begins - SECOND_US or rep["start_us"] > ends + SECOND_US
    ]
    assert len(sure) >= 7
    for rep in sure:
        assert min(abs(one.start_us - rep["start_us"]) for one in found) < 100_000
    assert len(found) <= len(truth["reps"])
    assert all(one.end_us <= other.start_us + 1_000 for one, other in pairwise(found))
    assert not any(begins < one.start_us and one.end_us < ends for one in found)
    assert not any(flags_of(one) for one in found if one.start_us > ends + SECOND_US)


def peak_rad_s(record) -> float:
    """The first of a rep's figures."""
    peak: float = struct.unpack_from("<f", figures(record))[0]
    return peak


def flags_of(rep) -> set[str]:
    return set(rep.flags) & {"gap", "few_edges"}
