"""Ten weeks as demo data: by the real path, the same each time, and such that the other commands have to tell."""

import dataclasses
import json

import pytest

from brakebeat.board.messages import decode_rep
from brakebeat.cli import main
from brakebeat.demo.block.board import play
from brakebeat.demo.block.course import turns
from brakebeat.demo.block.fill import fill
from brakebeat.demo.block.people import DISCS, PEOPLE, WEEKS, settings
from brakebeat.store import open_store
from brakebeat.store.catalog import find_named
from brakebeat.store.queries import notes, sessions, sets
from brakebeat.training.plan import lay_out


@pytest.fixture(scope="module")
def week(tmp_path_factory):
    """The first week in a store, and what was said."""
    said = []
    with open_store(tmp_path_factory.mktemp("block") / "log") as store:
        done = fill(store, 1, 1, "auto", said.append)
        yield store, done, said


def drawn(person, seed=1):
    return list(turns(person, lay_out(settings(person)), seed))


def test_the_first_week_is_all_there(week):
    store, done, said = week
    found = list(sets(store))
    assert done.sets == len(found)
    assert done.reps == sum(len(one.reps) for one in found)
    assert done.sessions == len(sessions(store)) == 4
    assert all(one.has_edges and one.engine == "board" for one in found)
    assert {one.athlete for one in found} == {person.name for person in PEOPLE}
    assert all(one.plan_id is not None for one in sessions(store))
    assert said[0].startswith("week  1")
    assert store.faults() == []


def test_the_store_has_what_the_firmware_sent(week):
    store, _, _ = week
    turn = drawn(PEOPLE[0], 1000)[0]
    heard = play(turn)
    sent = [decode_rep(record)[0] for record in heard.run.records]
    first = next(iter(sets(store)))
    rounded = [dataclasses.replace(rep, start_us=rep.start_us) for rep in sent]
    assert [rep.rep.start_us for rep in first.reps] == [rep.start_us for rep in rounded]
    assert [rep.rep.peak_rad_s for rep in first.reps] == pytest.approx(
        [rep.peak_rad_s for rep in rounded], rel=1e-14
    )
    planned = sum(len(each.reps) for each in turn.plan.sets)
    assert len(sent) == planned


def test_several_discs_for_a_profile(week, capsys):
    store, _, _ = week
    for person in PEOPLE:
        call = ["profile", person.name, "belt squat", "--store", str(store.path), "--json"]
        assert main(call) == 0
        assert json.loads(capsys.readouterr().out)["schema"] == 1
        inertias = {
            one.inertia_kg_m2 for one in sets(store, athlete_id=find_named(store, "athlete", person.name))
        }
        assert inertias >= set(DISCS.values())


def test_missed_sessions_are_noted_and_left_out(week):
    store, _, _ = week
    for person in PEOPLE:
        said = [text for _, text in notes(store, "athlete", find_named(store, "athlete", person.name))]
        assert len(said) == 1 + len(person.missed)
        assert not person.missed.keys() & {turn.number for turn in drawn(person)}


def test_same_seed_same_block_and_another_one():
    assert drawn(PEOPLE[1], 5) == drawn(PEOPLE[1], 5)
    assert drawn(PEOPLE[1], 5) != drawn(PEOPLE[1], 6)


def test_brakes_come_in_time_more_and_more_and_some_sets_fade():
    for person in PEOPLE:
        late, fades = {}, 0
        for turn in drawn(person):
            for one in turn.plan.sets:
                braked = [rep.brake_fraction > 0.35 for rep in one.reps[2:]]
                late.setdefault(turn.week, []).extend(braked)
                fades += one.reps[-1].effort < 0.85 * one.reps[2].effort
        first = sum(map(sum, (late[week] for week in (1, 2, 3)))) / sum(len(late[week]) for week in (1, 2, 3))
        last = sum(map(sum, (late[week] for week in (8, 9, 10)))) / sum(
            len(late[week]) for week in (8, 9, 10)
        )
        assert first > 0.3 > 0.2 > last
        assert fades >= 2
        assert max(late) == WEEKS


def test_nothing_heavy_right_before_the_regatta():
    for person in PEOPLE:
        (regatta,) = settings(person).competitions
        days = {(regatta.day - turn.starts.date()).days for turn in drawn(person)}
        assert not days & {0, 1}


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--seed", "3"], "only with --block"),
        (["--open"], "only with --block"),
        (["--block", "--speed", "2"], "--speed"),
        (["--block", "--open", "--json"], "--json"),
    ],
)
def test_options_that_do_not_go_together(options, words, capsys):
    assert main(["demo", *options]) == 2
    assert words in capsys.readouterr().err


def test_a_taken_place_is_left_alone(tmp_path, capsys):
    (tmp_path / "block.brakebeat").write_text("mine")
    assert main(["demo", "--block", "--out", str(tmp_path)]) == 2
    assert "block.brakebeat" in capsys.readouterr().err
    assert (tmp_path / "block.brakebeat").read_text() == "mine"
