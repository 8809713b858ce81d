"""From what came of each recording to what the call says: verdicts, documents, the Parquet dataset."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from brakebeat.check.compare import FileReport, compare
from brakebeat.check.limits import Limits
from brakebeat.many.dataset import Dataset, writing
from brakebeat.many.rows import agreement_rows, analysis_row, check_row, error_row, rep_rows
from brakebeat.many.run import Found
from brakebeat.many.version import EngineName
from brakebeat.results import SCHEMA, Rep, finite

DATASET = "parquet"


def reports(found: Iterable[Found], firmware: EngineName, limits: Limits) -> Iterator[FileReport]:
    """Both engines compared, for each recording that gave both."""
    for one in found:
        if one.fault is None:
            report = compare(one.analysis(firmware), one.analysis("reference"), limits, one.name)
            # Thousands of them are held at once: without what no verdict needs.
            yield dataclasses.replace(report, pairs=[(_slim(a), _slim(b)) for a, b in report.pairs])


def _slim(rep: Rep) -> Rep:
    return dataclasses.replace(rep, uncertainty={})


def exit_code(found: Iterable[Found], passed: bool = True) -> int:
    """2 where a recording was wrong, else 3 where an engine failed on one, else 1 where a check failed."""
    codes = {one.fault.exit_code for one in found if one.fault is not None}
    return min(codes) if codes else 0 if passed else 1


def check_document(found: Sequence[Found], checked: Sequence[FileReport]) -> dict[str, Any]:
    """The JSON document of ``check``, and what could not be checked; a fault is no pass."""
    passed = not any(one.fault for one in found) and all(report.verdict == "pass" for report in checked)
    document = {
        "schema": SCHEMA,
        "verdict": "pass" if passed else "fail",
        "files": [report.to_document() for report in checked],
        "errors": _errors(found),
    }
    return finite(document)


def analyse_document(found: Sequence[Found]) -> dict[str, Any]:
    """The JSON document of ``analyse`` over any number of recordings."""
    files = [
        {"file": one.name, "analysis": one.document("reference")["analysis"]}
        for one in found
        if one.fault is None
    ]
    return {"schema": SCHEMA, "files": files, "errors": _errors(found)}


def _errors(found: Iterable[Found]) -> list[dict[str, Any]]:
    return [error_row(one) for one in found if one.fault is not None]


def write_dataset(
    folder: Path,
    found: Sequence[Found],
    engines: Sequence[EngineName],
    checked: Sequence[FileReport] | None = None,
) -> None:
    """Write the call's results as Parquet into ``folder``/parquet, which is replaced as a whole.

    ``checked``: a report for each of ``found`` without a fault, in their order; None where nothing was compared.

    Raises ``InputError`` where it cannot be written, or pyarrow is missing.
    """
    tables: dict[str, Sequence[str]] = {"reps": engines, "analyses": engines, "errors": ("",)}
    if checked is not None:
        tables |= {"checks": ("",), "agreement": ("",)}
    with writing(folder / DATASET, tables) as dataset:
        _add_analyses(dataset, found, engines)
        good = [one for one in found if one.fault is None]
        for one, report in zip(good, checked or [], strict=checked is not None):
            dataset.add("checks", check_row(one, report))
            for row in agreement_rows(one, report):
                dataset.add("agreement", row)


def _add_analyses(dataset: Dataset, found: Iterable[Found], engines: Sequence[EngineName]) -> None:
    for one in found:
        if one.fault is not None:
            dataset.add("errors", error_row(one))
            continue
        for engine in engines:
            analysis = one.analysis(engine)
            dataset.add("analyses", analysis_row(one, engine, analysis), engine)
            for row in rep_rows(one, analysis):
                dataset.add("reps", row, engine)
