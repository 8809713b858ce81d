"""``brakebeat bench``: runs its parts, and keeps what they found as one JSON document and as a table in the README."""

from __future__ import annotations

import contextlib
import json
import os
import platform
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from brakebeat import __version__
from brakebeat.bench.parts import PARTS, run_part
from brakebeat.bench.parts.figure import Measured, NotRun, Scale
from brakebeat.bench.provenance import fingerprints
from brakebeat.errors import BrakebeatError, InputError, reason
from brakebeat.formats.atomic import atomic_write
from brakebeat.pools import usable_cores
from brakebeat.results import SCHEMA, finite

BEGIN = "<!-- made by `brakebeat bench --readme`: begin -->"
END = "<!-- made by `brakebeat bench --readme`: end -->"
Document = dict[str, Any]


def measure(names: Sequence[str], scale: Scale, tell: Callable[[str], None]) -> Iterator[Document]:
    """Run the parts one after the other; after each, the document so far. What cannot be run is told in its place."""
    document: Document = {"schema": SCHEMA, "parts": {}}
    for name in names:
        tell(f"{name}: {PARTS[name]} …")
        try:
            measured = run_part(name, scale)
        except BrakebeatError as error:
            measured = Measured(not_run=[NotRun("all of it", str(error))])
        document["parts"][name] = _part(measured, scale)
        yield document


def _part(measured: Measured, scale: Scale) -> Document:
    """Each part says for itself when, where and on which code it ran: a document may be put together from runs."""
    return finite(
        {
            "ended": datetime.now(UTC).isoformat(timespec="seconds"),
            "quick": scale.quick,
            "code": fingerprints(),
            "computer": _computer(),
            "figures": [figure.to_document() for figure in measured.figures],
            "not_run": [vars(missing) for missing in measured.not_run],
        }
    )


def _computer() -> Document:
    document: Document = {
        "system": f"{platform.system()} {platform.machine()}",
        "cores": usable_cores(),
        "python": platform.python_version(),
        "brakebeat": __version__,
        # More than there are cores: other programs were at work, and times on the clock are too long.
        "load_average_5_min": None,
    }
    with contextlib.suppress(OSError, AttributeError):
        document["load_average_5_min"] = round(os.getloadavg()[1], 1)
    return document


def failed(document: Document) -> list[str]:
    """What does not hold its limits: part, thing measured, figure."""
    return [
        f"{name}: {figure['what']}: {figure['figure']}"
        for name, part in document["parts"].items()
        for figure in part["figures"]
        if figure["ok"] is False
    ]


def read_earlier(path: Path) -> Document:
    """The document of an earlier run. Raises ``InputError`` where ``path`` holds none."""
    try:
        earlier: Document = json.loads(path.read_text(encoding="utf-8"))
        if earlier["schema"] != SCHEMA or not earlier["parts"].keys() <= PARTS.keys():
            raise ValueError("other parts, or another schema, than this version's")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); leave --keep out") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: cannot be read ({reason(error)}); leave --keep out") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(
            f"{path}: holds no document of `brakebeat bench --json` ({error}); leave --keep out"
        ) from error
    return earlier


def together(earlier: Document, document: Document) -> Document:
    """``document`` with the parts of ``earlier`` that it lacks, in the parts' own order."""
    parts = {**earlier["parts"], **document["parts"]}
    return {"schema": SCHEMA, "parts": {name: parts[name] for name in PARTS if name in parts}}


def write_json(document: Document, path: Path) -> None:
    """Write the document, whole or not at all. Raises ``InputError`` where it cannot be written."""
    with atomic_write(path) as stream:
        stream.write((json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode())


def put_into(readme: Path, document: Document) -> None:
    """Put the table between the two marks of a Markdown file.

    Raises ``InputError`` where the file or a mark is missing.
    """
    before, after = around(readme)
    with atomic_write(readme) as stream:
        stream.write(f"{before}{BEGIN}\n\n{markdown(document)}\n{END}{after}".encode())


def around(readme: Path) -> tuple[str, str]:
    """What stands before and behind the two marks. Raises ``InputError`` where the file or a mark is missing."""
    try:
        text = readme.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{readme}: cannot be read ({reason(error)}); name a Markdown file") from error
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise InputError(f"{readme}: no lines {BEGIN} and {END}; put them where the table belongs")
    return before, after


def markdown(document: Document) -> str:
    """A table for each part, what was not run, and where it ran. What does not hold its limit is bold."""
    lines: list[str] = []
    for name, part in document["parts"].items():
        quick = ", quick: not to be quoted" if part["quick"] else ""
        lines += [f"*{PARTS[name]}* (`{name}`{quick})", ""]
        lines += [*_table(part["figures"]), ""] if part["figures"] else []
        missing = "; ".join(f"{one['what']} ({one['why']})" for one in part["not_run"])
        lines += [f"Not run: {missing}.", ""] if missing else []
    return "\n".join([*lines, *_where(document["parts"])]) + "\n"


def _table(figures: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """A row for each thing measured, a column for each figure of it; units and limits stand in the heads."""
    rows: dict[str, dict[str, str]] = {}
    heads: dict[str, None] = {}
    for figure in figures:
        head = _head(figure)
        heads[head] = None
        rows.setdefault(figure["what"], {})[head] = _cell(figure)
    yield "| | " + " | ".join(heads) + " |"
    yield "| --- |" + " --: |" * len(heads)
    for what, cells in rows.items():
        yield f"| {what} | " + " | ".join(cells.get(head, "") for head in heads) + " |"


def _head(figure: Mapping[str, Any]) -> str:
    return f"{figure['figure']}, {figure['unit']}" if figure["unit"] else str(figure["figure"])


def _cell(figure: Mapping[str, Any]) -> str:
    bold = "**" if figure["ok"] is False else ""
    limit = (
        ""
        if figure["limit"] is None
        else f" ({'≥' if figure['at_least'] else '≤'} {number(figure['limit'])})"
    )
    return f"{bold}{number(figure['value'])}{bold}{limit}"


def number(value: float | None) -> str:
    """Three digits that count, or all of a whole number below ten million; thousands set apart."""
    if value is None:
        return "–"
    if value == int(value) and abs(value) < 1e7:
        return f"{int(value):,}"
    if abs(value) >= 100:
        return f"{float(f'{value:.3g}'):,.0f}"
    return f"{value:.3g}"


def _where(parts: Mapping[str, Any]) -> Iterator[str]:
    """One sentence for each computer and day."""
    seen: dict[str, list[str]] = {}
    for name, part in parts.items():
        computer = part["computer"]
        words = (
            f"{computer['cores']} cores of {computer['system']}, Python {computer['python']}, "
            f"{part['ended'][:10]}"
        )
        load = computer["load_average_5_min"]
        busy = f"{name} (load {load:g})" if load is not None and load > computer["cores"] else name
        seen.setdefault(words, []).append(busy)
    for words, names in seen.items():
        yield f"Measured on {words}: {', '.join(names)}."
