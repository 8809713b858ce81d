"""A checkup in words."""

from __future__ import annotations

from brakebeat.doctor.findings import CHECKS, Checkup

_MARKS = {"good": "ok     ", "look": "LOOK   ", "mend": "MEND   ", "unknown": "?      "}


def words(checkup: Checkup) -> str:
    """A line for each finding, what to do below it, a verdict at the end."""
    lines = []
    for finding in sorted(checkup.findings, key=lambda one: CHECKS.index(one.check)):
        lines.append(f"{_MARKS[finding.level]}{finding.words}")
        if finding.advice:
            lines.append(f"       -> {finding.advice}")
    if not checkup.sound:
        lines.append(
            "verdict: something has to be mended; figures from this rig are not to be trusted before that"
        )
    elif any(finding.level == "look" for finding in checkup.findings):
        lines.append("verdict: usable; have a look at what is marked")
    else:
        lines.append("verdict: sound")
    return "\n".join(lines)
