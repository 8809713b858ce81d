"""What is wrong today, by (engine, case) or (engine, case, seed), and why as far as that is known.

A test that is listed here must fail: as soon as it passes, its line has to go.
"""

_RAIN = "a stray edge in the rest before or after a set is taken for its first or last magnet"

REPS: dict[tuple, str] = {
    ("firmware", "spurious_rain"): _RAIN,
}

BRAKES: dict[tuple, str] = {}
