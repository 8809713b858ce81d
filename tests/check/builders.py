"""Analyses made up for tests of what compares and draws them."""

from brakebeat.results import Analysis, PhaseFigures, Quality, Rep, split_sets


def make_rep(index: int, start_s: float, length_s: float = 2.0, **changes) -> Rep:
    """A plausible rep that starts at ``start_s``."""
    start_us, length_us = round(start_s * 1e6), round(length_s * 1e6)
    rep = Rep(
        index=index,
        momentum=index < 2,
        start_us=start_us,
        extension_us=start_us + length_us // 2,
        end_us=start_us + length_us,
        peak_us=start_us + length_us // 2 - 50_000,
        peak_rad_s=70.0 + index,
        concentric_rad=40.0,
        eccentric_rad=39.0,
        brake_onset_us=start_us + length_us * 6 // 10,
        brake_fraction=0.25,
        brake_timing="inside",
        concentric=PhaseFigures(length_s / 2, 400.0, 400.0, 700.0, 12.0, 500.0),
        eccentric=PhaseFigures(length_s / 2, 390.0, 390.0, 900.0, 15.0, 600.0),
    )
    for name, value in changes.items():
        setattr(rep, name, value)
    return rep


def make_analysis(reps: list[Rep], engine="reference") -> Analysis:
    """An analysis with ``reps`` and the sets that follow from them."""
    return Analysis(
        engine=engine, pulses=100, reps=reps, quality=Quality(bounced=1), sets=split_sets(reps, 10)
    )
