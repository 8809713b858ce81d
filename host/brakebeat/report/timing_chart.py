"""How well braking was timed, session by session."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.report.axes import Axis, Frame
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.figures import timing_of, working
from brakebeat.store.queries import StoredSet

# From the bottom up; each has a pattern of its own beside its colour.
_PARTS = (("inside", "inside"), ("early", "early"), ("late", "late"), ("none", "never braked"))


def timing_by_session(sessions: Sequence[Sequence[StoredSet]]) -> Element | None:
    """A column a session: shares of reps braked inside the window, early, late and not at all."""
    told = [(sets, timing_of(rep for each in sets for rep in working(each))) for sets in sessions]
    told = [(sets, timing) for sets, timing in told if timing.told]
    if len(told) < 2:
        return None
    every = 1 + (len(told) - 1) // 6
    ticks = tuple((float(i), f"{sets[0].started:%d %b}") for i, (sets, _) in enumerate(told))[::every]
    frame = Frame(
        Axis(-0.6, len(told) - 0.4, "day of the session", ticks),
        Axis(0.0, 100.0, "share of reps, %"),
        height=260.0,
    )
    inside: list[Element | None] = []
    words = []
    for place, (sets, timing) in enumerate(told):
        counts = [(name, css, getattr(timing, css)) for css, name in _PARTS]
        told_here = ", ".join(f"{count} {name}" for name, _, count in counts if count)
        words.append(f"session {sets[0].session_id}: {told_here} of {timing.told}")
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
    picture = frame.picture("Brake timing from session to session", "; ".join(words) + ".", "timing", *inside)
    return figure("Brake timing", picture, "Reps that count and whose timing is known.", entries)
