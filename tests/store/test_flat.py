"""CSV and Parquet exports come back: every figure, each set once; what is damaged is refused whole."""

import csv

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.store import open_store
from brakebeat.store.changes import changes, mark_rep, undo
from brakebeat.store.flat import import_flat, is_flat
from brakebeat.store.parquet import write_parquet
from brakebeat.store.queries import sessions, sets
from brakebeat.store.table import HEADINGS, export_csv
from tests.store.made_up import a_set


@pytest.fixture(params=["csv", "parquet"])
def exported(request, tmp_path):
    """(store, export): two sessions of two athletes, one of two sets, a rep taken out."""
    with open_store(tmp_path / "a") as store:
        session, first = a_set(store)
        a_set(store, 3, session=session)
        a_set(store, 2, athlete='Io, "the second"')
        mark_rep(store, first, next(sets(store)).reps[3].rep.extension_us, "rep 4")
        path = tmp_path / f"e.{request.param}"
        (export_csv if request.param == "csv" else write_parquet)(store, path)
        yield store, path


def contents(store):
    return [
        (
            one.uid,
            one.athlete,
            one.exercise,
            one.started,
            one.inertia_kg_m2,
            one.engine,
            # The table has no uncertainties.
            [(rep.number, rep.marked, rep.rep.to_document() | {"uncertainty": None}) for rep in one.reps],
        )
        for one in sets(store)
    ]


def test_it_comes_back_once(exported, tmp_path):
    store, path = exported
    assert is_flat(path)
    with open_store(tmp_path / "b") as other:
        taken = import_flat(other, path)
        assert (taken.sessions, taken.sets, taken.reps, taken.known) == (2, 3, 9, 0)
        assert contents(other) == contents(store)
        assert [one.uid for one in sessions(other)] == [one.uid for one in sessions(store)]
        again = import_flat(other, path)
        assert (again.sets, again.known) == (0, 3)
        assert import_flat(store, path).sets == 0
        assert other.faults() == []


def test_what_an_import_brought_can_be_undone(exported, tmp_path):
    _, path = exported
    with open_store(tmp_path / "b") as other:
        import_flat(other, path)
        undo(other, changes(other)[0].id)
        assert list(sets(other)) == []


def test_by_the_command(exported, tmp_path, capsys):
    _, path = exported
    for words in ("2 sessions, 3 sets, 9 reps", "3 sets were here already"):
        assert main(["import", str(path), "--store", str(tmp_path / "c")]) == 0
        assert words in capsys.readouterr().out


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    folder = tmp_path_factory.mktemp("flat")
    with open_store(folder / "a") as store:
        a_set(store)
        export_csv(store, folder / "e.csv")
    with (folder / "e.csv").open(newline="") as stream:
        yield folder, list(csv.reader(stream))


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("rep_index", "x", "rep_index"),
        ("peak_rad_s", "", "peak_rad_s: is missing"),
        ("peak_rad_s", "inf", "not finite"),
        ("flags", "moo", "flags"),
        ("brake_timing", "soon", "brake_timing"),
        ("momentum", "maybe", "momentum"),
        ("athlete", "Somebody Else", "athlete"),
        ("pulses_per_rev", "0", "wrong kind"),
    ],
)
def test_a_damaged_cell_is_refused_with_its_line(column, cell, words, lines, tmp_path):
    _, rows = lines
    wrong = [list(row) for row in rows]
    for number in (1, 2, 3, 4) if column == "pulses_per_rev" else (3,):
        wrong[number][HEADINGS.index(column)] = cell
    path = tmp_path / "wrong.csv"
    with path.open("w", newline="") as stream:
        csv.writer(stream).writerows(wrong)
    with open_store(tmp_path / "b") as other, pytest.raises(InputError, match=words) as caught:
        import_flat(other, path)
    assert str(path) in str(caught.value)
    with open_store(tmp_path / "b") as other:
        assert list(sets(other)) == []


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_cell_may_be_wrong(lines, data):
    folder, rows = lines
    wrong = [list(row) for row in rows]
    row = data.draw(st.sampled_from(wrong))
    row[data.draw(st.integers(0, len(row) - 1))] = data.draw(
        st.text(st.characters(codec="utf-8"), max_size=6) | st.integers().map(str) | st.floats().map(str)
    )
    path = folder / "w.csv"
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows(wrong)
    (folder / "f").unlink(missing_ok=True)
    with open_store(folder / "f") as other:
        try:
            import_flat(other, path)
        except InputError as error:
            assert str(error)  # noqa: PT017 - most cells may also be right
            assert list(sets(other)) == []
        assert other.faults() == []


@pytest.mark.parametrize("name", ["csv", "parquet"])
def test_other_columns_are_refused(name, tmp_path):
    path = tmp_path / f"x.{name}"
    path.write_bytes(b"session,set\n1,2\n" if name == "csv" else b"PAR1 is how it begins")
    with open_store(tmp_path / "b") as other, pytest.raises(InputError, match=f"x.{name}"):
        import_flat(other, path)
