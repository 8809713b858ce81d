"""Reps, cues and states in one line each, for people: SI units, with rpm beside."""

from __future__ import annotations

from brakebeat.link.messages import BoardStatus
from brakebeat.results import Cue, Rep
from brakebeat.screen import RPM_PER_RAD_S
from brakebeat.wording import CUE_WORDS, counted

TIMING_WORDS = {"early": "early", "inside": "inside", "late": "LATE", "none": "no brake", None: "unknown"}


def first_line(text: str) -> str:
    """The first line of ``text``, for places that have one only."""
    return text.partition("\n")[0]


def rep_line(rep: Rep, cues: list[Cue]) -> str:
    """One aligned line on a rep: number (from 1), peak speed, mean powers, brake fraction, timing, cues."""
    rpm = rep.peak_rad_s * RPM_PER_RAD_S
    heard = ", ".join(CUE_WORDS[cue.kind] for cue in cues)
    fraction = "  - " if rep.brake_fraction is None else f"{rep.brake_fraction:4.2f}"
    parts = [
        f"rep {rep.index + 1:3d}{' m' if rep.momentum else '  '}",
        f"peak {rep.peak_rad_s:6.2f} rad/s ({rpm:4.0f} rpm)",
        f"con {_watts(rep.concentric.mean_power_w)}",
        f"ecc {_watts(rep.eccentric.mean_power_w)}",
        f"brake {fraction} {TIMING_WORDS[rep.brake_timing]:8}",
        f"cue {heard or '-'}",
    ]
    if rep.flags:
        parts.append(f"[{', '.join(rep.flags)}]")
    return "  ".join(parts)


def cue_line(kind: str, rep: int | None = None) -> str:
    """One line on a sound that the board has just made, in rep ``rep`` (index from 0) where reps are counted so."""
    where = "" if rep is None else f" (rep {rep + 1})"
    return f"beep    {CUE_WORDS.get(kind, kind)}{where}"


def waiting_line(attempt: int, attempts: int | None, pause_s: float) -> str:
    """One line before the ``attempt``-th try to come back (None attempts: as often as it takes)."""
    of = "" if attempts is None else f" of {attempts}"
    return f"trying again in {pause_s:g} s (try {attempt}{of})"


def gone_line(first: int, last: int) -> str:
    """One line on records that the board has overwritten before this host came for them."""
    which = f"record {first}" if first == last else f"records {first} to {last}"
    return f"gone    {which}: overwritten on the board before they were fetched"


def status_lines(status: BoardStatus) -> list[str]:
    """What a board says of itself, in a few lines; its trouble, if it has any, in the last one."""
    version = f"firmware {status.firmware_version} on {status.implementation} ({status.platform})"
    lines = [
        f"board   {status.name}: {version}, up {status.uptime_s} s, {counted(status.rep_count, 'rep')}, "
        f"{status.reps_waiting} waiting, {status.reps_lost} lost{_supply(status)}",
        f"edges   {status.bounced} bounced, {status.missed} missed, {status.spurious} spurious, "
        f"{status.overrun} overrun, {status.incomplete} incomplete",
    ]
    if status.faults or status.journal_torn:
        lines.append(
            f"faults  {status.faults or 0} errors that its program went on after, "
            f"{status.journal_torn} damaged records or blocks"
        )
    if status.trouble:
        lines.append(f"trouble {status.trouble}")
    return lines


def _supply(status: BoardStatus) -> str:
    return "" if status.supply_mv is None else f", supply {status.supply_mv / 1000:.2f} V"


def _watts(power_w: float | None) -> str:
    return "   -  " if power_w is None else f"{power_w:4.0f} W"
