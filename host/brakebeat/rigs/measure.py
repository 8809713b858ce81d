"""``python -m brakebeat.rigs.measure BENCH.json``: the table behind `rig show`, from a run of the accuracy bench.

Make the input with ``python -m brakebeat.bench.accuracy --json BENCH.json``.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from brakebeat.formats.atomic import atomic_write

_FIGURES = {"peak": "peak_percent", "fraction": "fraction"}


def table(bench: dict[str, Any]) -> dict[str, Any]:
    """Worst firmware error of peak speed (%) and brake fraction by kind of recording.

    A worst case is one rep's luck: with fewer magnets no better a peak is promised than with more.
    """
    kinds: dict[str, dict[str, Any]] = {}
    for line in bench["lines"]:
        figure = _FIGURES.get(line["row"].partition("-")[0])
        name, _, magnets = line["condition"].rpartition("-")
        if figure is None or name not in ("clean", "dirty", "quadrature") or line["firmware"] is None:
            continue
        entry: dict[str, Any] = {"magnets": int(magnets), "peak_percent": None, "fraction": None}
        kinds.setdefault(line["condition"], entry)[figure] = line["firmware"]["value"]
    worst: dict[str, float] = {}
    for name in sorted(kinds, key=lambda kind: -int(kinds[kind]["magnets"])):
        sensor = name.rpartition("-")[0]
        peak = kinds[name]["peak_percent"]
        if peak is not None:
            kinds[name]["peak_percent"] = worst[sensor] = max(peak, worst.get(sensor, 0.0))
    return {"measured": f"benchmark, simulated rigs, {bench['reps']} reps of each kind", "kinds": kinds}


def main(argv: Sequence[str] | None = None) -> int:
    """Read the bench's document, write the table."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.rigs.measure", description=__doc__)
    parser.add_argument("bench", type=Path, metavar="BENCH.json", help="what the accuracy bench wrote")
    args = parser.parse_args(argv)
    try:
        found = table(json.loads(args.bench.read_text(encoding="utf-8")))
    except OSError as error:
        parser.error(f"{args.bench}: {error.strerror}; make it with the accuracy bench's --json")
    except (ValueError, KeyError, TypeError):
        parser.error(f"{args.bench}: not what the accuracy bench writes; make it anew with --json")
    with atomic_write(Path(__file__).with_name("expected.json")) as stream:
        stream.write(json.dumps(found, indent=1).encode() + b"\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
