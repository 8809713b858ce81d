"""What came of recordings, as rows of the dataset's tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from brakebeat.check.compare import FileReport
from brakebeat.many.columns import PHASES, UNCERTAIN
from brakebeat.many.run import Found
from brakebeat.many.version import EngineName
from brakebeat.results import Analysis, Rep

Row = dict[str, Any]


def rep_rows(found: Found, analysis: Analysis) -> Iterator[Row]:
    """A row a rep."""
    set_of = {
        index: number
        for number, (first, last) in enumerate(analysis.sets)
        for index in range(first, last + 1)
    }
    for rep in analysis.reps:
        yield _named(found) | {"rep": rep.index, "set": set_of.get(rep.index)} | _rep_cells(rep)


def _rep_cells(rep: Rep) -> Row:
    cells = rep.to_document()
    said = cells.pop("uncertainty", {})
    del cells["index"]
    for phase in PHASES:
        cells |= {f"{phase}_{name}": value for name, value in cells.pop(phase).items()}
    return cells | {f"u_{key.replace('.', '_')}": said.get(key) for key in UNCERTAIN}


def analysis_row(found: Found, engine: EngineName, analysis: Analysis) -> Row:
    """The row of one engine's answer."""
    document = found.document(engine)
    return _named(found) | {
        "engine_version": document["engine_version"],
        "pulses": analysis.pulses,
        "reps": len(analysis.reps),
        "sets": len(analysis.sets),
        "cues": len(analysis.cues),
        **vars(analysis.quality),
        "header": list(document["header"].items()),
    }


def check_row(found: Found, report: FileReport) -> Row:
    """The row of one verdict."""
    names = ("verdict", "reps_firmware", "reps_reference", "matched")
    return _named(found) | {name: getattr(report, name) for name in names}


def agreement_rows(found: Found, report: FileReport) -> Iterator[Row]:
    """A row a figure."""
    for figure, of_figure in report.agreement.items():
        yield _named(found) | {"figure": figure} | of_figure.to_document()


def error_row(found: Found) -> Row:
    """The row of a recording that gave nothing."""
    assert found.fault is not None
    return {"file": found.name, "exit_code": found.fault.exit_code, "error": found.fault.words}


def _named(found: Found) -> Row:
    return {"file": found.name, "recording_sha256": found.digest}
