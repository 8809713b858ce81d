"""All that is generated in the hardware notes: drawings, and tables between marks in the pages.

A table stands between ``<!-- table: NAME -->`` and ``<!-- end -->``; what was there is replaced.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from brakebeat.board.table import sources, supported_boards
from brakebeat.calibrate.result import FLAGS
from brakebeat.drawings.ring import ring_for, template
from brakebeat.drawings.wiring import pin_name, wiring
from brakebeat.errors import InputError
from brakebeat.mechanics import kinetic_energy_j
from brakebeat.rigs.resolution import expected_table, measured_on, two_digits

_MARK = re.compile(r"<!-- table: (\w+) -->\n.*?<!-- end -->", re.DOTALL)
# The sheets that lie in the notes: shaft, magnets, magnet, in mm.
_RINGS = ((30.0, 6, 8.0), (25.0, 4, 8.0), (30.0, 12, 5.0))
_INERTIAS_KG_M2 = (0.025, 0.05, 0.1, 0.2)
_SPEEDS_RAD_S = (40.0, 60.0, 80.0, 100.0)
_GRAVITY_M_S2 = 9.80665
_PLATE_KG = 20.0


def drawings() -> dict[str, str]:
    """File name to SVG text."""
    files = {f"wiring-{_slug(board.name)}.svg": wiring(board) for board in supported_boards()}
    for shaft, magnets, magnet in _RINGS:
        files[f"ring-{shaft:g}-mm-{magnets}-magnets.svg"] = template(ring_for(shaft, magnets, magnet))
    return files


def refreshed(text: str, place: str) -> str:
    """A page's text with its tables made anew. Raises ``InputError`` naming ``place`` for a table that is unknown."""

    def table(found: re.Match[str]) -> str:
        name = found.group(1)
        if name not in TABLES:
            raise InputError(
                f"{place}: <!-- table: {name} --> is none of {', '.join(TABLES)}; correct its name"
            )
        return f"<!-- table: {name} -->\n{TABLES[name]()}<!-- end -->"

    return _MARK.sub(table, text)


def outdated(folder: Path) -> dict[str, str]:
    """Names in ``folder`` whose text is not what it should be, with that text. Raises ``InputError`` without pages."""
    pages = sorted(folder.glob("*.md"))
    if not pages:
        raise InputError(f"{folder}: no pages are here; give the folder hardware_notes of the repository")
    wanted = drawings()
    for page in pages:
        wanted[page.name] = refreshed(page.read_text(encoding="utf-8"), page.name)
    stale = {}
    for name, text in wanted.items():
        path = folder / name
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            stale[name] = text
    return stale


def _boards() -> str:
    rows = [
        "| board | drawing | radio | one hall switch by | encoder by |",
        "| --- | --- | --- | --- | --- |",
    ]
    for board in supported_boards():
        radio = "yes" if board.radio else "no"
        drawing = f"[wiring](wiring-{_slug(board.name)}.svg)"
        rows.append(f"| {board.name} | {drawing} | {radio} | {board.hall_source} | {board.encoder_source} |")
    return "\n".join(rows) + "\n"


def _pins() -> str:
    boards = supported_boards()
    rows = [
        f"| key in `[board]` | {' | '.join(board.name for board in boards)} |",
        f"| --- |{' --- |' * len(boards)}",
    ]
    for key in boards[0].pins:
        names = " | ".join(pin_name(board, board.pins[key]) for board in boards)
        rows.append(f"| `{key}` | {names} |")
    return "\n".join(rows) + "\n"


def _sources() -> str:
    rows = ["| source | finest time, µs | edges a second | losses |", "| --- | --: | --: | --- |"]
    for source in sources().values():
        rows.append(f"| {source.name} | {source.resolution_us} | {source.highest_hz} | {source.losses} |")
    return "\n".join(rows) + "\n"


def _errors() -> str:
    rows = [
        "| edges a turn | sensor as it should be: peak speed | brake fraction | dirty: peak speed | brake fraction |",
        "| --: | --: | --: | --: | --: |",
    ]
    found = {(kind.split("-")[0], entry.magnets): entry for kind, entry in expected_table().items()}
    for count in sorted({count for _, count in found}):
        cells = []
        for sort in ("clean", "dirty"):
            entry = found.get((sort, count)) or (
                found.get(("quadrature", count)) if sort == "clean" else None
            )
            cells.append(_figure(entry.peak_percent if entry else None, " %"))
            cells.append(_figure(entry.fraction if entry else None, ""))
        rows.append(f"| {count} | {' | '.join(cells)} |")
    return "\n".join(rows) + f"\n\nWorst of all reps: {measured_on()}.\n"


def _energy() -> str:
    rows = [
        "| inertia, kg·m² | " + " | ".join(f"{speed:g} rad/s" for speed in _SPEEDS_RAD_S) + " |",
        "| --: |" + " --: |" * len(_SPEEDS_RAD_S),
    ]
    for inertia in _INERTIAS_KG_M2:
        joules = [float(kinetic_energy_j(inertia, speed)) for speed in _SPEEDS_RAD_S]
        heights = [joule / (_PLATE_KG * _GRAVITY_M_S2) for joule in joules]
        cells = [f"{joule:.0f} J ({height:.1f} m)" for joule, height in zip(joules, heights, strict=True)]
        rows.append(f"| {inertia:g} | {' | '.join(cells)} |")
    return (
        "\n".join(rows)
        + f"\n\nIn brackets: from how high a mass of {_PLATE_KG:g} kg falls to bring as much.\n"
    )


def _calibration() -> str:
    rows = ["| flag | what it means, what to do |", "| --- | --- |"]
    rows += [f"| `{name}` | {meaning} |" for name, meaning in FLAGS.items()]
    return "\n".join(rows) + "\n"


def _figure(value: float | None, unit: str) -> str:
    return "not measured" if value is None else f"{two_digits(value)}{unit}"


def _slug(name: str) -> str:
    return name.lower().replace(" ", "-")


TABLES: dict[str, Callable[[], str]] = {
    "boards": _boards,
    "pins": _pins,
    "sources": _sources,
    "errors": _errors,
    "energy": _energy,
    "calibration": _calibration,
}
