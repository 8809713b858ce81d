"""What SQLite adds up is what the reps add up to one by one."""

import dataclasses
from statistics import fmean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.results import PhaseFigures
from brakebeat.store import open_store
from brakebeat.store.catalog import named
from brakebeat.store.changes import delete, mark_rep
from brakebeat.store.queries import Which, sets
from brakebeat.store.rep_rows import DOUBTFUL
from brakebeat.store.sessions import add_reps, start_session, start_set
from brakebeat.store.sums import reps_above, set_sums
from tests.store.made_up import RIG, a_set, rep

FIGURE = st.none() | st.floats(0.0, 2000.0)
PHASE = st.builds(PhaseFigures, FIGURE, FIGURE, FIGURE, FIGURE, FIGURE, FIGURE)
REP = st.fixed_dictionaries(
    {
        "momentum": st.booleans(),
        "concentric": PHASE,
        "eccentric": PHASE,
        "brake_timing": st.sampled_from([None, "early", "inside", "late", "none"]),
        "flags": st.lists(
            st.sampled_from(["gap", "few_edges", "repaired", "zero_assumed"]), max_size=2, unique=True
        ),
    }
)
SET = st.lists(st.tuples(REP, FIGURE, st.integers(0, 3)), max_size=6)


def _fill(store, made):
    """Sets of drawn reps; one rep in four is taken out by hand."""
    with store.writing():
        session = start_session(store, named(store, "athlete", "Mara Quill"))
        for drawn in made:
            set_id = start_set(store, session, named(store, "exercise", "squat"), RIG, "board", "9.9.9")
            for index, (fields, extension_rad_s, _) in enumerate(drawn):
                one = dataclasses.replace(rep(index), **fields)
                add_reps(store, set_id, [one], [extension_rad_s])
            for index, (*_, chance) in enumerate(drawn):
                if chance == 0:
                    mark_rep(store, set_id, rep(index).extension_us, f"rep {index}")


def _known(values):
    return [value for value in values if value is not None]


@settings(max_examples=40, deadline=None)
@given(st.lists(SET, min_size=1, max_size=3))
def test_sums_are_those_of_the_reps(tmp_path_factory, made):
    with open_store(tmp_path_factory.mktemp("sums") / "a") as store:
        _fill(store, made)
        found, stored = set_sums(store, Which()), list(sets(store))
        above = reps_above(store, Which(), "squat", 500.0)
    assert [each.id for each in found] == [each.id for each in stored]
    forces = {"concentric": [], "eccentric": []}
    for sums, each in zip(found, stored, strict=True):
        counting = each.counting
        reps = [one for one in counting if not DOUBTFUL.intersection(one.rep.flags)]
        assert (sums.all_reps, sums.counting, sums.working.reps) == (
            len(each.reps),
            len(counting),
            len(reps),
        )
        assert sums.concentric_j == pytest.approx(sum(_known(o.rep.concentric.energy_j for o in counting)))
        assert sums.eccentric_j == pytest.approx(sum(_known(o.rep.eccentric.energy_j for o in counting)))
        for name, values in (
            ("peak_rad_s", [one.rep.peak_rad_s for one in reps]),
            ("power_w", [one.rep.concentric.mean_power_w for one in reps]),
            ("eccentric_power_w", [one.rep.eccentric.mean_power_w for one in reps]),
            ("ratio_peak_power", [one.rep.ratio_peak_power for one in reps]),
            ("ratio_mean_power", [one.rep.ratio_mean_power for one in reps]),
            ("acceleration_rad_s2", [one.mean_acceleration_rad_s2 for one in reps]),
        ):
            there = _known(values)
            mean = getattr(sums.working, name).mean
            assert mean == (pytest.approx(fmean(there)) if there else None), name
        working = sums.working
        assert working.greatest_peak_rad_s == max((one.rep.peak_rad_s for one in reps), default=None)
        powers = _known(one.rep.concentric.mean_power_w for one in reps)
        assert working.greatest_power_w == max(powers, default=None)
        assert working.peak_stands_in == sum(one.extension_rad_s is None for one in reps)
        words = [one.rep.brake_timing or "unknown" for one in reps]
        assert working.timing._asdict() == {word: words.count(word) for word in working.timing._fields}
        for phase, values in forces.items():
            values += _known(getattr(one.rep, phase).peak_force_n for one in reps)
    for phase, counts in zip(forces, above, strict=True):
        assert (counts.above, counts.of) == (
            sum(force > 500.0 for force in forces[phase]),
            len(forces[phase]),
        )


def test_deleted_sets_and_others_stay_out(tmp_path):
    with open_store(tmp_path / "a") as store:
        _, first = a_set(store)
        session, second = a_set(store)
        a_set(store, athlete="Io")
        delete(store, "away", [("work_set", first)])
        mara = named(store, "athlete", "Mara Quill")
        assert [each.id for each in set_sums(store, Which(athlete_id=mara))] == [second]
        assert [each.id for each in set_sums(store, Which(session_id=session))] == [second]
        assert set_sums(store, Which(session_id=99)) == []
