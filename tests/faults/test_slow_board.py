"""A board that is at a rep for so long that the ring of edges overflows: what was lost is counted, and marked where it
was lost; every rep without the mark is right."""

import struct

import numpy as np

from brakebeat.simulate import default_recording, preset
from tests.faults.lived import CONNECT, REPORT, WIRE, flags, live, needs_vm, reps_of

pytestmark = needs_vm
MAGNETS = 24
AT_A_REP_US = 8_000_000


def reps(folder, gaps_us, work_us):
    """(counters, reps by name of field and with flags) of a set, each rep of which takes so long to work out."""
    folder.mkdir()
    (folder / "rig.toml").write_text(
        f"pulses_per_rev = {MAGNETS}\ninertia_kg_m2 = 0.12\ndrum_radius_m = 0.03\n"
    )
    power = {"do": "power", "work_us": work_us, "idle_us": 20_000}
    play, rest = {"do": "play", "gaps_us": gaps_us}, {"do": "idle", "us": 30_000_000}
    outcome = live(folder, power, CONNECT, play, rest, REPORT)
    names = [name for name, _ in WIRE.REP_FIELDS]
    fields = [
        dict(zip(names, struct.unpack(WIRE.REP_FORMAT, record.body), strict=True))
        for record in reps_of(outcome)
    ]
    assert [one["flags"] for one in fields] == [flags(record.body) for record in reps_of(outcome)]
    return outcome.reports[0], fields


def test_reps_across_lost_edges_are_marked_and_the_others_right(tmp_path):
    recording, truth = default_recording(5, reps=10, sensor=preset("clean", MAGNETS))
    gaps_us = np.diff(recording.t_us, prepend=recording.t_us[0] - 500_000).tolist()
    calm, right = reps(tmp_path / "calm", gaps_us, 0)
    assert (calm["overrun"], len(right)) == (0, len(truth["reps"]))
    slow, found = reps(tmp_path / "slow", gaps_us, AT_A_REP_US)
    assert slow["overrun"] == slow["interrupts"] - slow["handled"] > 512
    marked = [one for one in found if one["flags"] & WIRE.FLAG_GAP]
    assert marked
    for one in found:
        if one in marked:
            continue
        same = min(right, key=lambda other: abs(other["start_us"] - one["start_us"]))
        assert abs(same["start_us"] - one["start_us"]) < 1_000
        assert abs(same["end_after_us"] - one["end_after_us"]) < 2_000
        assert abs(same["peak_rad_s"] / one["peak_rad_s"] - 1) < 2e-3
