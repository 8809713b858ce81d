"""Drop-off and set-done cues against what really happened in a simulated set, not against closed forms."""

import dataclasses

import pytest

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay
from brakebeat.formats.rig import Rig

# A rep this near to the limit may go either way: 1 % in the peak, 2 % in the mean power.
PEAK_DOUBT, POWER_DOUBT = 0.01, 0.02
PEAK_LEFT, POWER_LEFT = 0.90, 0.75
SEEDS = range(930_000, 930_004)


@pytest.mark.parametrize("kind", ["clean-6", "clean-24", "quadrature-96"])
def test_drop_off_sounds_for_the_weak_and_for_no_other(kind):
    """The set's efforts are drawn from 0.6 to 1.05: the best so far is compared as the trade does."""
    weak = strong = 0
    for seed in SEEDS:
        sensed = CONDITIONS[kind].sensed(seed)
        found = replay(sensed.recording)
        cues = {cue.rep: cue.t_us for cue in found.cues if cue.kind == "drop_off"}
        best_peak = best_power = 0.0
        assert len(found.reps) == len(sensed.truth["reps"])
        for place, rep in enumerate(sensed.truth["reps"]):
            if rep["momentum"]:
                assert place not in cues
                continue
            peak, power = rep["peak_rad_s"], rep["concentric"]["mean_power_w"]
            if best_peak:
                peak_left, power_left = peak / best_peak, power / best_power
                if peak_left < PEAK_LEFT - PEAK_DOUBT or power_left < POWER_LEFT - POWER_DOUBT:
                    weak += 1
                    # Sounded at the extension: as soon as an edge after it tells, and no later than a few.
                    assert -30_000 < cues[place] - rep["extension_us"] < 60_000
                elif peak_left > PEAK_LEFT + PEAK_DOUBT and power_left > POWER_LEFT + POWER_DOUBT:
                    strong += 1
                    assert place not in cues
            best_peak, best_power = max(best_peak, peak), max(best_power, power)
    assert weak > 5
    assert strong > 15


def test_set_done_sounds_at_the_planned_reps_extension():
    """Eight planned reps beyond the two that get the wheel going: the tenth."""
    sensed = CONDITIONS["clean-6"].sensed(930_010)
    rig = Rig(pulses_per_rev=6, cues={"planned_reps": 8})
    recording = dataclasses.replace(sensed.recording, rig_override=rig)
    (done,) = [cue for cue in replay(recording).cues if cue.kind == "set_done"]
    assert done.rep == 9
    assert -30_000 < done.t_us - sensed.truth["reps"][9]["extension_us"] < 60_000
