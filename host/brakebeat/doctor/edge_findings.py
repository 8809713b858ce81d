"""Bounces, edges from nowhere, jitter, and how the wheel ran out."""

from __future__ import annotations

from brakebeat.doctor.edges import Edges
from brakebeat.doctor.findings import Checkup, Level

# Below the first all is well, from the second on it has to be mended. Each is where `check` on simulated rigs begins
# to show it in the figures of a rep, or well below.
_BOUNCED = (0.005, 0.10)
_STRAY_PER_S = (0.05, 1.0)
# Of a wheel's gaps fewer than this part come again nowhere, missed edges among them; of stray ones' more.
_TORN = 0.15
_QUIETER = (
    "keep the sensor's wire away from motors and supplies, twist or shield it, add a pull-up of 10 kΩ at the board, "
    "join the grounds in one place"
)
_JITTER_US = (30.0, 120.0)


def judge_extra(checkup: Checkup, edges: Edges) -> None:
    """Bounces, and edges from nowhere."""
    bounced, strays = edges.bounces / edges.kept, edges.strays / edges.span_s
    checkup.add(
        "bounce",
        _level(bounced, _BOUNCED) if edges.bounces > 1 else "good",
        f"{edges.bounces} edges followed their own magnet's within 1.5 ms ({100 * bounced:.1f} %)",
        "a hall switch with hysteresis does not bounce; a reed contact does: add 10 nF from signal to ground at the "
        "board, shorten the wire"
        if bounced >= _BOUNCED[0]
        else "",
        bounces=edges.bounces,
        share=bounced,
    )
    checkup.add(
        "noise",
        _level(strays, _STRAY_PER_S) if edges.strays > 1 else "good",
        f"{edges.strays} edges from nowhere ({strays:.2f} a second)",
        _QUIETER if strays >= _STRAY_PER_S[0] else "",
        strays=edges.strays,
        per_s=strays,
    )


def judge_irregular(checkup: Checkup, split: float) -> None:
    """Where no edge could be told from another: whether gaps are torn as by edges from nowhere."""
    if split > _TORN:
        checkup.add(
            "noise",
            "mend",
            f"gaps come again after no number of edges ({100 * split:.0f} % of them do not): edges from nowhere tear "
            "them",
            _QUIETER,
            share=split,
        )


def judge_jitter(checkup: Checkup, edges: Edges) -> None:
    """How much the time stamps scatter."""
    jitter_us = edges.spin.fit.time_sigma_s * 1e6
    level = _level(jitter_us, _JITTER_US)
    checkup.add(
        "jitter",
        level,
        f"time stamps scatter by {jitter_us:.0f} us (standard deviation)",
        "see which source of edges the board uses (a PIO stamps steadily), that nothing else runs on it, and that "
        "magnets and sensor sit firmly"
        if level != "good"
        else "",
        time_us=jitter_us,
        angle_rad=edges.spin.fit.angle_sigma_rad,
    )


def judge_run(checkup: Checkup, edges: Edges) -> None:
    """Whether the wheel ran out as a free and balanced one does."""
    if "unbalanced" in edges.spin.flags:
        checkup.add(
            "free_run",
            "look",
            "the wheel gains and loses speed once a turn: it is out of balance",
            "balance it before you train with it: put weight opposite to where it comes to rest, firmly",
        )
    elif "not_free" in edges.spin.flags:
        checkup.add(
            "free_run",
            "look",
            "the wheel does not slow down steadily",
            "something may rub (guard, strap, bearing), a magnet may be loose, or a hand was still on it",
        )
    else:
        checkup.add("free_run", "good", "the wheel slows down steadily")


def _level(value: float, limits: tuple[float, float]) -> Level:
    return "good" if value < limits[0] else "look" if value < limits[1] else "mend"
