"""Which points of a curve lie about a time: viper's search against a plain one."""

from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.points import curve_of

TIMES = st.lists(st.integers(-(2**20), 2**28), min_size=2, max_size=30).map(sorted)


@given(TIMES, st.integers(0, 2**28 + 2**20), st.integers(0, 2**24), st.integers(0, 12))
def test_window_against_a_plain_search(times_us, at_us, half_us, least):
    points = curve_of([t * 1e-6 for t in times_us], [0.0] * len(times_us))
    last_place = len(times_us) - 1
    earlier = [k for k in range(last_place) if times_us[k] <= at_us]
    place = earlier[-1] if earlier else 0
    first = min([k for k in range(place + 1) if times_us[k] >= at_us - half_us], default=place + 1)
    last = max([k for k in range(place + 1, len(times_us)) if times_us[k] <= at_us + half_us], default=place)
    while last - first + 1 < min(least, len(times_us)):
        left = at_us - times_us[first - 1] if first else float("inf")
        right = times_us[last + 1] - at_us if last < last_place else float("inf")
        if left < right:
            first -= 1
        else:
            last += 1
    assert points.nearest(at_us * 1e-6) == place
    assert points.window(at_us * 1e-6, half_us * 1e-6, least) == (first, last)
