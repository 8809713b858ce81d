"""When a set should end: velocity loss as studies of free weights have it, held to any course of reps."""

from hypothesis import example, given
from hypothesis import strategies as st

from brakebeat.coach.effort import Best
from brakebeat.formats.rig import Cues

from .events import arrived

PEAKS = st.lists(st.floats(20.0, 120.0), min_size=1, max_size=30)
SHARES = st.floats(0.01, 0.9)


def reps_until_stop(peaks, share):
    """How many reps are done by then: all where it never comes."""
    best, rule = Best(), Cues(drop_off_peak=share, drop_off_power=0.0)
    for done, peak in enumerate(peaks, 1):
        rep = arrived(peak=peak).rep
        if best.drop(rep, rule).stop:
            return done
        best.add(rep)
    return len(peaks)


@given(PEAKS, SHARES, SHARES)
@example([100.0, 90.0, 80.0, 70.0, 60.0, 50.0], 0.25, 0.4)
def test_a_smaller_loss_ends_the_set_no_later(peaks, one, other):
    # Groups that stopped at a loss of 25 % or less did fewer reps (212 against 384 in all): Hernandez-Belmonte and
    # Pallares, Appl Sci 2022;12(9):4425.
    less, more = sorted((one, other))
    assert reps_until_stop(peaks, less) <= reps_until_stop(peaks, more)


@given(PEAKS, SHARES)
def test_loss_is_against_the_fastest_rep_so_far_whatever_their_number(peaks, share):
    # Fastest rep against the current one, the set ends at the threshold: a review of 15 studies (dlib.si).
    falls = [number for number, peak in enumerate(peaks, 1) if 1.0 - peak / max(peaks[:number]) > share]
    assert reps_until_stop(peaks, share) == (falls[0] if falls else len(peaks))


@given(PEAKS)
def test_a_share_of_nothing_turns_it_off(peaks):
    assert reps_until_stop([*peaks, 1e-3], 0.0) == len(peaks) + 1
