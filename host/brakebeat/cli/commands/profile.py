"""``brakebeat profile``: what an athlete does at several inertias, and which one suits the goal."""

from __future__ import annotations

import argparse
import json

from brakebeat.store.location import add_store_option

_GOALS = ("power", "strength")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("athlete", metavar="ATHLETE", help="whose sets")
    parser.add_argument("exercise", metavar="EXERCISE", help="of which exercise")
    parser.add_argument("--goal", choices=_GOALS, help="only this goal's suggestion")
    parser.add_argument("--sets", action="store_true", help="a row for each set, not one for each inertia")
    parser.add_argument("--since", metavar="DATE", help="only sets from this day on")
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    add_store_option(parser)


def run(args: argparse.Namespace) -> int:
    """Fit and print the profile."""
    from brakebeat.store import open_store
    from brakebeat.store.catalog import find_named
    from brakebeat.store.clock import parse_moment
    from brakebeat.store.queries import Which
    from brakebeat.store.sums import set_sums
    from brakebeat.training.points import set_points
    from brakebeat.training.profile import make_profile
    from brakebeat.training.show_profile import print_profile, profile_document
    from brakebeat.training.trend import trends

    with open_store(args.store, create=False) as store:
        which = Which(
            athlete_id=find_named(store, "athlete", args.athlete),
            exercise_id=find_named(store, "exercise", args.exercise),
            since=parse_moment(args.since, "--since").astimezone() if args.since else None,
        )
        points, left_out = set_points(set_sums(store, which))
    profile, over_time = make_profile(points), trends(points)
    if args.json:
        print(json.dumps(profile_document(profile, left_out, over_time), allow_nan=False))
    else:
        goals = [args.goal] if args.goal else _GOALS
        print_profile(profile, left_out, over_time, goals, each_set=args.sets)
    return 0
