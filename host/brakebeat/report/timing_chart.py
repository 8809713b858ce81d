"""How well braking was timed, session by session."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.report.axes import Axis, Frame
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.figures import timing_of_sets
from brakebeat.report.spans import Span, in_spans, ticks
from brakebeat.store.sums import SetSums

# From the bottom up; each has a pattern of its own beside its colour.
_PARTS = (("inside", "inside"), ("early", "early"), ("late", "late"), ("none", "never braked"))
_AXIS_NAMES: dict[Span, str] = {
    "session": "day of the session",
    "week": "week from",
    "month": "month",
    "year": "year",
}


def timing_chart(sessions: Sequence[Sequence[SetSums]]) -> Element | None:
    """A column a session: shares of reps braked inside the window, early, late and not at all.

    Where there are many, a column is a week, a month or a year.
    """
    span, groups = in_spans(
        [sets for sets in sessions if timing_of_sets(sets).told], lambda sets: sets[0].started.date()
    )
    if len(groups) < 2:
        return None
    told = [(sets[0], timing_of_sets(each for one in sets for each in one)) for sets in groups]
    days = [sets[0].started.date() for sets, _ in told]
    axis = Axis(-0.6, len(told) - 0.4, _AXIS_NAMES[span], ticks(days))
    frame = Frame(axis, Axis(0.0, 100.0, "share of reps, %"), height=260.0)
    inside: list[Element | None] = []
    words = []
    for place, (sets, timing) in enumerate(told):
        counts = [(name, css, getattr(timing, css)) for css, name in _PARTS]
        told_here = ", ".join(f"{count} {name}" for name, _, count in counts if count)
        which = f"session {sets[0].session_id}" if span == "session" else f"{span} of {days[place]}"
        words.append(f"{which}: {told_here} of {timing.told}")
        base = 0.0
        for _, css, count in counts:
            if count:
                top = base + 100.0 * count / timing.told
                inside.append(frame.box((place - 0.36, place + 0.36), (base, top), f"part {css}", words[-1]))
                base = top
    entries: list[KeyEntry] = [
        ("band", f"part {css}", name)
        for css, name in _PARTS
        if any(getattr(timing, css) for _, timing in told)
    ]
    picture = frame.picture(f"Brake timing from {span} to {span}", "; ".join(words) + ".", "timing", *inside)
    caption = "Reps that count and whose timing is known."
    if span != "session":
        caption += f" A column is a {span}."
    return figure("Brake timing", picture, caption, entries)
