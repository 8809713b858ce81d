"""Pictures from a set's figures alone: when each rep was braked, drop-off, eccentric to concentric."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.formats.rig import Rig
from brakebeat.report.axes import BOTTOM, TOP, Axis, Frame, axis_around, mark
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.figures import drops, known, mean_power_w, peak_rad_s, working
from brakebeat.report.numbers import number, percent
from brakebeat.store.queries import StoredSet
from brakebeat.store.rep_rows import StoredRep

_ROW = 20.0
_SHAPES = {"inside": "disc", "early": "early", "late": "late", "none": "cross"}
_TIMING_KEY: tuple[KeyEntry, ...] = (
    ("mark", "disc inside", "inside the window"),
    ("mark", "early early", "early"),
    ("mark", "late late", "late"),
    ("mark", "cross late", "never braked harder than friction"),
    ("mark", "ring", "momentum rep or taken out"),
    ("band", "window", "brake window"),
)


def brake_strip(each: StoredSet, rig: Rig, key: str) -> Element | None:
    """A line a rep: where on the way back the brake began."""
    shown = [rep for rep in each.reps if rep.rep.brake_fraction is not None or rep.rep.brake_timing == "none"]
    if not shown:
        return None
    low, high = rig.brake_window
    last = max([1.0, high, *known(shown, lambda rep: rep.rep.brake_fraction)])
    rows = Axis(
        len(shown) + 0.5, 0.5, "rep", tuple((i + 1.0, str(rep.number)) for i, rep in enumerate(shown))
    )
    frame = Frame(
        Axis(0.0, 1.04 * last, "brake fraction (0 at φ = 0, 1 back at the start)"),
        rows,
        height=TOP + BOTTOM + _ROW * len(shown),
        left=34.0,
    )
    inside = [
        frame.box((max(low, 0.0), high), (0.5, len(shown) + 0.5), "window"),
        frame.upright(rig.brake_target, "target"),
        *(_timing_mark(frame, place, rep, last) for place, rep in enumerate(shown, 1)),
    ]
    told = "; ".join(_timing_words(rep) for rep in shown)
    picture = frame.picture("Brake timing of each rep", f"{told}.", f"{key}-brake", *inside)
    words = (
        f"Window {number(rig.brake_target, 2)} ± {number(rig.brake_tolerance, 2)} of the concentric angle, from the "
        "rig's settings. The mark's shape says whether a rep was early, inside or late."
    )
    return figure("Brake timing", picture, words, _TIMING_KEY)


def _timing_words(rep: StoredRep) -> str:
    at = "" if rep.rep.brake_fraction is None else f" at {number(rep.rep.brake_fraction, 2)}"
    return f"rep {rep.number}: {rep.rep.brake_timing or 'unknown'}{at}{'' if rep.counts else ' (does not count)'}"


def _timing_mark(frame: Frame, place: int, rep: StoredRep, last: float) -> Element:
    timing = rep.rep.brake_timing or "inside"
    kind = _SHAPES[timing] if rep.counts else ("cross" if timing == "none" else "ring")
    at = last if rep.rep.brake_fraction is None else rep.rep.brake_fraction
    css = "late" if timing == "none" else timing
    return mark(kind, frame.px(at), frame.py(place), _timing_words(rep), css if rep.counts else "")


def drop_off(each: StoredSet, rig: Rig, key: str) -> Element | None:
    """How far each rep fell short of the set's best."""
    reps = working(each)
    peak, power = drops(reps, peak_rad_s), drops(reps, mean_power_w)
    if len(reps) < 2:
        return None
    limits = [
        limit for limit in (rig.cues.drop_off_peak, rig.cues.drop_off_power if power else 0.0) if limit > 0.0
    ]
    low = 1.25 * max(0.02, *limits, *(share for _, share in peak + power))
    frame = Frame(
        _reps_axis(reps),
        Axis(100.0 * low, -100.0 * 0.06 * low, "below the set's best, %"),
        height=260.0,
    )
    inside: list[Element | None] = [frame.across(0.0, "zero")]
    for limit, name, css in (
        (rig.cues.drop_off_peak, "peak velocity", "limit a"),
        (rig.cues.drop_off_power if power else 0.0, "mean power", "limit b"),
    ):
        if limit > 0.0:
            inside.append(frame.across(100.0 * limit, css))
            inside.append(
                frame.text(frame.x.low, 100.0 * limit, f" cue at {percent(limit)}, {name}", css="soft", dy=13)
            )
    for series, kind, css, name in (
        (peak, "disc", "a", "peak velocity"),
        (power, "square", "b", "mean power"),
    ):
        inside.append(frame.line([(float(n), 100.0 * share) for n, share in series], f"series {css}"))
        inside += [
            mark(
                kind,
                frame.px(n),
                frame.py(100.0 * share),
                f"rep {n}: {name} {percent(share, 1)} below the best",
                css,
                4.2,
            )
            for n, share in series
        ]
    told = "; ".join(f"rep {n}: peak velocity {percent(share, 1)} below" for n, share in peak)
    told += "".join(f"; rep {n}: mean power {percent(share, 1)} below" for n, share in power)
    entries: list[KeyEntry] = [("mark", "disc a", "peak angular velocity")]
    if power:
        entries.append(("mark", "square b", "concentric mean power"))
    words = (
        "Against the best rep of this set. The dashed lines are the rig's own settings for the drop-off cue."
    )
    picture = frame.picture("Drop-off within the set", f"{told}.", f"{key}-drop", *inside)
    return figure("Drop-off", picture, words, entries)


def ratios(each: StoredSet, key: str) -> Element | None:
    """Eccentric over concentric power of each rep, peak and mean."""
    reps = working(each)
    series = (
        ("peak power", "disc", "a", [(rep.number, rep.rep.ratio_peak_power) for rep in reps]),
        ("mean power", "square", "b", [(rep.number, rep.rep.ratio_mean_power) for rep in reps]),
    )
    values = [value for *_, points in series for _, value in points if value is not None]
    if not values:
        return None
    frame = Frame(
        _reps_axis(reps), axis_around([*values, 1.0], "eccentric ÷ concentric, no unit"), height=260.0
    )
    inside: list[Element | None] = [frame.across(1.0, "zero")]
    told = []
    for name, kind, css, points in series:
        for n, value in points:
            if value is not None:
                words = f"rep {n}: {name} ratio {number(value, 2)}"
                told.append(words)
                inside.append(mark(kind, frame.px(n), frame.py(value), words, css, 4.2))
    picture = frame.picture("Eccentric to concentric power", f"{'; '.join(told)}.", f"{key}-ratio", *inside)
    words = "The two say different things: mean power usually favours the concentric phase, peak power the eccentric."
    entries = [("mark", "disc a", "peak power ratio"), ("mark", "square b", "mean power ratio")]
    return figure("Eccentric to concentric", picture, words, entries)


def _reps_axis(reps: Sequence[StoredRep]) -> Axis:
    numbers = [rep.number for rep in reps]
    every = 1 + len(numbers) // 12
    ticks = tuple((float(n), str(n)) for n in numbers[::every])
    return Axis(min(numbers) - 0.5, max(numbers) + 0.5, "rep", ticks)
