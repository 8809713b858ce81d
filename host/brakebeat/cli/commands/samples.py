"""``brakebeat samples``: list the recordings that come with the package, or copy them out."""

from __future__ import annotations

import argparse
import json

from brakebeat.results import SCHEMA


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``brakebeat samples``."""
    parser.add_argument("--copy", metavar="DIR", help="copy all of them into DIR")
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")


def run(args: argparse.Namespace) -> int:
    """List the samples, or copy them and say where they are now."""
    from brakebeat.samples import PREFIX, copy_out, samples

    found = samples()
    paths = {path.stem: path for path in copy_out(args.copy)} if args.copy else {}
    rows = [(sample.name, sample.shows, str(paths.get(sample.name, sample.path))) for sample in found]
    if args.json:
        listed = [{"name": name, "shows": shows, "path": path} for name, shows, path in rows]
        print(json.dumps({"schema": SCHEMA, "samples": listed}))
        return 0
    for name, shows, path in rows:
        print(f"{PREFIX}{name}\n    {shows}\n    {path}")
    if rows and not args.copy:
        print(f"\nTry one: brakebeat replay {PREFIX}{rows[0][0]}")
    return 0
