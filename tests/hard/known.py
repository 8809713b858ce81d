"""What is wrong today, by (engine, case) or (engine, case, seed), and why as far as that is known.

A test that is listed here must fail: as soon as it passes, its line has to go.
"""

_LAST_MOMENT = (
    "a wheel stopped within 7 magnets: its last, long interval is taken for a missed magnet and the turnaround put "
    "into the gap after the true one"
)
_RAIN = "a stray edge in the rest before or after a set is taken for its first or last magnet"

REPS: dict[tuple, str] = {
    ("firmware", "brakes_at_the_last_moment"): _LAST_MOMENT,
    ("firmware", "spurious_rain"): _RAIN,
    ("firmware", "a_bad_day"): "a turnaround is off by more than 60 ms, a magnet too many found missed",
    ("reference", "spurious_rain", 1): "strays after the last rep hide where it ends: left out",
}

BRAKES: dict[tuple, str] = {}
