"""What `brakebeat check` prints for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import TextIOWrapper
from typing import TextIO

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from brakebeat.check.compare import FIGURES, FigureReport, FileReport
from brakebeat.results import Rep
from brakebeat.whole_table import print_whole
from brakebeat.wording import counted


@dataclass(frozen=True)
class _Look:
    """How a figure appears: its words, the unit shown, unit shown per SI unit, digits after the point."""

    words: str
    unit: str
    scale: float
    digits: int

    @property
    def heading(self) -> str:
        """Words and unit."""
        return f"{self.words}, {self.unit}" if self.unit else self.words


# A clock's microseconds are shown as milliseconds: nobody reads 12345 µs at a glance.
LOOKS = {
    "peak_rad_s": _Look("peak", "rad/s", 1, 3),
    "start_us": _Look("start", "ms", 1e-3, 1),
    "extension_us": _Look("φ = 0", "ms", 1e-3, 1),
    "end_us": _Look("end", "ms", 1e-3, 1),
    "brake_fraction": _Look("brake", "", 1, 3),
    "concentric_mean_power_w": _Look("power", "W", 1, 1),
}
ABOUT = (
    "Differences are firmware - reference. peak: greatest angular velocity;\n"
    "φ = 0: the extension; brake: onset as part of the way back; power: mean concentric."
)


# A pipe has no width of its own, and 80 columns would fold every table.
_WIDTH_WITHOUT_TERMINAL = 100


def console_for(stream: TextIO) -> Console:
    """A console on ``stream`` that prints question marks for what its encoding lacks, instead of failing."""
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(errors="replace")
    return Console(file=stream, width=None if stream.isatty() else _WIDTH_WITHOUT_TERMINAL)


def show_agreement(report: FileReport, console: Console) -> None:
    """Print the agreement over one recording's reps and the verdict, without the line per rep."""
    print_whole(console, agreement_table(report.agreement, counted(report.matched, "rep")))
    console.print(Text(ABOUT))
    _print_misses([report], report.agreement, console)
    _print_verdict([report], console)


def show_reports(reports: Sequence[FileReport], pooled: Mapping[str, FigureReport], console: Console) -> None:
    """Print a line per file (or a line per rep of the only one), the pooled agreement and the verdict."""
    if len(reports) == 1:
        print_whole(console, _rep_table(reports[0]))
        _print_counters(reports[0], console)
    else:
        print_whole(console, _file_table(reports), ("recording",))
    print_whole(console, agreement_table(pooled, counted(sum(report.matched for report in reports), "rep")))
    console.print(Text(ABOUT))
    _print_misses(reports, pooled, console)
    _print_verdict(reports, console)


# Of more recordings than anyone reads, only those that fail get a line.
_LINES_FOR_ALL = 60


def show_many(reports: Sequence[FileReport], pooled: Mapping[str, FigureReport], console: Console) -> None:
    """``show_reports`` for any number of recordings: where they are many, a line only for each that fails."""
    if len(reports) <= _LINES_FOR_ALL:
        show_reports(reports, pooled, console)
        return
    failed = [report for report in reports if report.verdict == "fail"]
    if failed:
        print_whole(console, _file_table(failed), ("recording",))
    print_whole(console, agreement_table(pooled, counted(sum(report.matched for report in reports), "rep")))
    console.print(Text(ABOUT))
    _print_misses(failed, pooled, console)
    _print_verdict(reports, console)


def _print_misses(
    reports: Sequence[FileReport], figures: Mapping[str, FigureReport], console: Console
) -> None:
    for report in reports:
        for line in unmatched_lines(report):
            console.print(Text(line), soft_wrap=True)
    for line in withheld_lines(figures):
        console.print(Text(line), soft_wrap=True)


def _print_verdict(reports: Sequence[FileReport], console: Console) -> None:
    failed = [report.file for report in reports if report.verdict == "fail"]
    if failed:
        console.print(
            Text(f"verdict: FAIL ({len(failed)} of {counted(len(reports), 'recording')})", style="bold red")
        )
    else:
        console.print(
            Text(
                f"verdict: pass ({len(reports)} of {counted(len(reports), 'recording')})", style="bold green"
            )
        )


def agreement_table(figures: Mapping[str, FigureReport], over: str) -> Table:
    """Bland-Altman table, firmware minus reference, with units; fits 80 columns."""
    table = _new_table(Text(f"agreement over {over}"), "figure")
    for heading in ("n", "bias", "95 % limits", "worst", "relative", "allowed"):
        table.add_column(heading, justify="right")
    table.add_column("")
    for name, report in figures.items():
        look, a = LOOKS[name], report.agreement
        table.add_row(
            look.heading,
            str(a.n),
            _number(a.bias, look, sign=True),
            "-" if a.sd is None else f"{_number(a.loa_low, look, True)} … {_number(a.loa_high, look, True)}",
            _number(a.max_abs, look),
            "-" if a.max_rel is None else f"{100 * a.max_rel:.2f} %",
            limit_words(name, report),
            _verdict(report.ok),
        )
    return table


def limit_words(name: str, report: FigureReport) -> str:
    """The limit as people write it: a percentage, or a number with its unit."""
    if report.statistic == "max_rel":
        return f"{100 * report.limit:g} %"
    look = LOOKS[name]
    return f"{report.limit * look.scale:g} {look.unit}".strip()


def unmatched_lines(report: FileReport) -> list[str]:
    """One line for each engine that found reps which the other did not; reps counted from 1."""
    return [
        f"{report.file}: found by the {engine} only: rep {', '.join(str(index + 1) for index in indices)}"
        for engine, indices in (("firmware", report.only_firmware), ("reference", report.only_reference))
        if indices
    ]


def withheld_lines(figures: Mapping[str, FigureReport]) -> list[str]:
    """One line per figure that an engine did not give."""
    lines = []
    for name, report in figures.items():
        if report.one_sided:
            lines.append(
                f"{LOOKS[name].words}: {report.one_sided} reps have it from one engine only (a failure)"
            )
        if report.withheld:
            lines.append(
                f"{LOOKS[name].words}: {counted(report.withheld, 'rep')} flagged as too poor in edges to tell"
            )
    return lines


def _new_table(title: Text, first: str) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(first)
    return table


def _file_table(reports: Sequence[FileReport]) -> Table:
    table = _new_table(Text("the worst difference in each recording"), "recording")
    table.add_column("reps", justify="right")
    for name, figure in reports[0].agreement.items():
        relative = figure.statistic == "max_rel"
        table.add_column(f"{LOOKS[name].words}, %" if relative else LOOKS[name].heading, justify="right")
    table.add_column("")
    for report in reports:
        cells = [_worst(name, figure) for name, figure in report.agreement.items()]
        table.add_row(Text(report.file), _rep_counts(report), *cells, _verdict(report.verdict == "pass"))
    return table


def _rep_counts(report: FileReport) -> str:
    """One number where the engines agree, else what each found and how many of those match."""
    if report.reps_firmware == report.reps_reference == report.matched:
        return str(report.matched)
    return f"{report.reps_firmware}|{report.reps_reference}, {report.matched} both"


def _rep_table(report: FileReport) -> Table:
    engine = {"micropython": "MicroPython VM", "cpython": "CPython"}.get(report.engine, report.engine)
    table = _new_table(Text(f"{report.file}: firmware (on {engine}) | reference"), "rep")
    for heading in ("peak, rad/s", "start, s", "φ = 0, s", "end, s", "brake", "power, W"):
        table.add_column(heading, justify="right")
    for firmware, reference in report.pairs:
        cells = (_both(name, firmware, reference) for name in FIGURES)
        table.add_row(str(firmware.index + 1), *cells)
    return table


def _both(name: str, firmware: Rep, reference: Rep) -> str:
    digits = {"peak_rad_s": 1, "concentric_mean_power_w": 0}.get(name, 2)
    scale = 1e-6 if name.endswith("_us") else 1
    values = (FIGURES[name](firmware), FIGURES[name](reference))
    return "|".join("-" if value is None else f"{value * scale:.{digits}f}" for value in values)


def _print_counters(report: FileReport, console: Console) -> None:
    counted = [f"{count} {name}" for name, count in report.quality.items() if count is not None]
    if counted:
        console.print(Text(f"counted by the firmware: {', '.join(counted)}"))


def _worst(name: str, report: FigureReport) -> Text:
    a = report.agreement
    if report.statistic == "max_rel":
        words = "-" if a.max_rel is None else f"{100 * a.max_rel:.2f}"
    else:
        words = _number(a.max_abs, LOOKS[name])
    return Text(words) if report.ok else Text(words + "!", style="bold red")


def _number(value: float | None, look: _Look, sign: bool = False) -> str:
    return "-" if value is None else f"{value * look.scale:{'+' if sign else ''}.{look.digits}f}"


def _verdict(ok: bool) -> Text:
    return Text("ok", style="green") if ok else Text("FAIL", style="bold red")
