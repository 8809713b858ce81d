"""Firmware against reference on one recording: pairs, agreement figure by figure, verdict."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from brakebeat.check.agreement import Agreement, bland_altman
from brakebeat.check.limits import Limits
from brakebeat.check.matching import match
from brakebeat.results import Analysis, Rep

Verdict = Literal["pass", "fail"]

# Figure -> how a rep gives it. `None` where the engine could not know it.
FIGURES: dict[str, Callable[[Rep], float | None]] = {
    "peak_rad_s": lambda rep: rep.peak_rad_s,
    "start_us": lambda rep: rep.start_us,
    "extension_us": lambda rep: rep.extension_us,
    "end_us": lambda rep: rep.end_us,
    "brake_fraction": lambda rep: rep.brake_fraction,
    "concentric_mean_power_w": lambda rep: rep.concentric.mean_power_w,
}


@dataclass(frozen=True)
class FigureReport:
    """One figure over the matched reps: the agreement, what is limited and whether it holds.

    ``one_sided`` counts pairs in which only one engine gave the figure. That is a disagreement (one says
    that the athlete braked, the other that not), unless the silent one flagged the rep ``few_edges`` or
    ``gap`` and so said that it cannot tell: those are counted in ``withheld`` and judged no further.
    """

    agreement: Agreement
    statistic: str
    limit: float
    ok: bool
    one_sided: int = 0
    withheld: int = 0

    def to_document(self) -> dict[str, Any]:
        """The figure as the JSON schema has it."""
        a = self.agreement
        return {
            "n": a.n,
            "bias": a.bias,
            "loa_low": a.loa_low,
            "loa_high": a.loa_high,
            "max_abs": a.max_abs,
            "max_rel": a.max_rel,
            "limit": self.limit,
            "ok": self.ok,
        }


@dataclass(frozen=True)
class FileReport:
    """All that the check has to say of one recording; ``pairs`` are (firmware, reference)."""

    file: str
    verdict: Verdict
    reps_firmware: int
    reps_reference: int
    pairs: list[tuple[Rep, Rep]]
    only_firmware: list[int]
    only_reference: list[int]
    agreement: dict[str, FigureReport]
    engine: str = "cpython"
    quality: dict[str, int | None] = field(default_factory=dict)

    @property
    def matched(self) -> int:
        """How many reps both engines found."""
        return len(self.pairs)

    def to_document(self) -> dict[str, Any]:
        """The file's entry in the JSON schema."""
        return {
            "file": self.file,
            "verdict": self.verdict,
            "reps_firmware": self.reps_firmware,
            "reps_reference": self.reps_reference,
            "matched": self.matched,
            "only_firmware": self.only_firmware,
            "only_reference": self.only_reference,
            "agreement": {name: report.to_document() for name, report in self.agreement.items()},
        }


def compare(firmware: Analysis, reference: Analysis, limits: Limits, file: str = "<memory>") -> FileReport:
    """Match both engines' reps and judge them.

    The verdict is ``pass`` only where every rep has its partner and every figure keeps its limit.
    ``only_*`` hold rep indices, not positions.
    """
    matching = match(firmware.reps, reference.reps, limits.matching.min_overlap)
    pairs = [(firmware.reps[i], reference.reps[j]) for i, j in matching.pairs]
    agreement = judge(pairs, limits)
    one_to_one = not matching.only_firmware and not matching.only_reference
    return FileReport(
        file=file,
        verdict="pass" if one_to_one and all(report.ok for report in agreement.values()) else "fail",
        reps_firmware=len(firmware.reps),
        reps_reference=len(reference.reps),
        pairs=pairs,
        only_firmware=[firmware.reps[i].index for i in matching.only_firmware],
        only_reference=[reference.reps[j].index for j in matching.only_reference],
        agreement=agreement,
        engine=firmware.engine,
        quality=dict(vars(firmware.quality)),
    )


def pool(reports: Iterable[FileReport], limits: Limits) -> dict[str, FigureReport]:
    """The agreement over the reps of all files together."""
    return judge([pair for report in reports for pair in report.pairs], limits)


def judge(pairs: list[tuple[Rep, Rep]], limits: Limits) -> dict[str, FigureReport]:
    """One report per figure over ``pairs`` of (firmware, reference)."""
    return {name: _judge_figure(name, pairs, limits) for name in FIGURES}


def _judge_figure(name: str, pairs: list[tuple[Rep, Rep]], limits: Limits) -> FigureReport:
    get, limit = FIGURES[name], getattr(limits, name)
    a: list[float] = []
    b: list[float] = []
    one_sided = withheld = 0
    for firmware, reference in pairs:
        mine, theirs = get(firmware), get(reference)
        if mine is not None and theirs is not None:
            a.append(mine)
            b.append(theirs)
        elif mine is not None or theirs is not None:
            silent = firmware if mine is None else reference
            excused = "few_edges" in silent.flags or "gap" in silent.flags
            withheld += excused
            one_sided += not excused
    agreement = _agreement(a, b, is_time=name.endswith("_us"))
    value = getattr(agreement, limit.statistic)
    holds = agreement.n == 0 or (value is not None and value <= limit.limit)
    return FigureReport(agreement, limit.statistic, limit.limit, holds and not one_sided, one_sided, withheld)


def _agreement(a: list[float], b: list[float], is_time: bool) -> Agreement:
    agreement = bland_altman(a, b)
    if not is_time:
        return agreement
    # The zero of a clock is arbitrary, so a ratio of two times says nothing.
    fields = dict(vars(agreement))
    fields["max_rel"] = None
    return Agreement(**fields)
