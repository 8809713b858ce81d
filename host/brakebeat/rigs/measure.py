"""``python -m brakebeat.rigs.measure BENCH.json``: the table behind `rig show`, from a run of the accuracy bench.

Make the input with ``python -m brakebeat.bench.accuracy --json BENCH.json``.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from brakebeat.formats.atomic import atomic_write

_FIGURES = {"peak": "peak_percent", "fraction": "fraction"}


def table(bench: dict[str, Any]) -> dict[str, Any]:
    """Worst firmware error of peak speed (%) and brake fraction by kind of recording."""
    kinds: dict[str, dict[str, Any]] = {}
    for line in bench["lines"]:
        figure = _FIGURES.get(line["row"].partition("-")[0])
        name, _, magnets = line["condition"].rpartition("-")
        if figure is None or name not in ("clean", "dirty", "quadrature") or line["firmware"] is None:
            continue
        entry = {"magnets": int(magnets), "peak_percent": None, "fraction": None}
        kinds.setdefault(line["condition"], entry)[figure] = line["firmware"]["value"]
    return {"measured": f"benchmark, simulated rigs, {bench['reps']} reps of each kind", "kinds": kinds}


if __name__ == "__main__":
    found = table(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    with atomic_write(Path(__file__).with_name("expected.json")) as stream:
        stream.write(json.dumps(found, indent=1).encode() + b"\n")
