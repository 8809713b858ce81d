"""What the doctor hands back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from brakebeat.results import SCHEMA, finite

Level = Literal["good", "look", "mend", "unknown"]

# Every check, in the order of the report.
CHECKS = (
    "edges",
    "edges_per_turn",
    "magnets",
    "bounce",
    "noise",
    "jitter",
    "free_run",
    "magnet_table",
    "supply",
    "board",
)


@dataclass(frozen=True)
class Finding:
    """One check's verdict. advice: what to do, empty where nothing is; figures: what it rests on."""

    check: str
    level: Level
    words: str
    advice: str = ""
    figures: dict[str, Any] = field(default_factory=dict)


@dataclass
class Checkup:
    """All findings; ``magnets`` has a row for each magnet: passes, missed, offset."""

    findings: list[Finding] = field(default_factory=list)
    magnets: list[dict[str, Any]] = field(default_factory=list)

    def add(self, check: str, level: Level, words: str, advice: str = "", **figures: Any) -> None:
        """Note a finding."""
        assert check in CHECKS, check
        self.findings.append(Finding(check, level, words, advice, figures))

    def level(self, check: str) -> Level | None:
        """The worst verdict on a check; None where it was not made."""
        levels = [finding.level for finding in self.findings if finding.check == check]
        order: tuple[Level, ...] = ("mend", "look", "unknown", "good")
        return next((level for level in order if level in levels), None)

    @property
    def sound(self) -> bool:
        """Whether nothing has to be mended."""
        return all(finding.level != "mend" for finding in self.findings)

    def to_document(self) -> dict[str, Any]:
        """The JSON document of schema 1."""
        rows = sorted(self.findings, key=lambda finding: CHECKS.index(finding.check))
        document: dict[str, Any] = finite(
            {
                "schema": SCHEMA,
                "verdict": "pass" if self.sound else "fail",
                "findings": [
                    {
                        "check": row.check,
                        "level": row.level,
                        "words": row.words,
                        "advice": row.advice,
                        "figures": row.figures,
                    }
                    for row in rows
                ],
                "magnets": self.magnets,
            }
        )
        return document
