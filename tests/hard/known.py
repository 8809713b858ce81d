"""What is wrong today, by (engine, case) or (engine, case, seed), and why as far as that is known.

A test that is listed here must fail: as soon as it passes, its line has to go.
"""

_RAIN = "a stray edge in the rest before or after a set is taken for its first or last magnet"

REPS: dict[tuple, str] = {
    ("firmware", "spurious_rain"): _RAIN,
}

BRAKES: dict[tuple, str] = {
    (
        "firmware",
        "a_bad_day",
        1,
    ): "rep 6 brakes at 0.54 and gets no late cue (its reps were wrong before)",
}
