"""Edits, deletions and notes can be taken back, in order."""

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from brakebeat.errors import InputError
from brakebeat.store import open_store
from brakebeat.store.catalog import named
from brakebeat.store.changes import add_note, change, changes, delete, mark_rep, undo
from brakebeat.store.queries import notes, sessions, sets
from tests.store.made_up import a_set


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "log") as opened:
        yield opened


def test_deleting_hides_all_below_and_undo_brings_it_back(store):
    session, set_id = a_set(store)
    number = delete(store, "away", [("session", session)])
    assert sessions(store) == []
    assert list(sets(store)) == []
    assert undo(store).id == number
    assert [each.id for each in sets(store)] == [set_id]
    with pytest.raises(InputError, match="undone already"):
        undo(store, number)


def test_an_earlier_change_of_the_same_waits_for_the_later_one(store):
    _, set_id = a_set(store)
    bench, pull = named(store, "exercise", "bench"), named(store, "exercise", "pull")
    first = change(store, "bench", [("work_set", set_id, {"exercise_id": bench})])
    change(store, "pull", [("work_set", set_id, {"exercise_id": pull})])
    with pytest.raises(InputError, match="undo that first"):
        undo(store, first)
    undo(store)
    undo(store)
    assert next(sets(store)).exercise == "squat"
    with pytest.raises(InputError, match="nothing to undo"):
        undo(store)


def test_rep_taken_out(store):
    _, set_id = a_set(store)
    third = next(sets(store)).reps[2]
    mark_rep(store, set_id, third.rep.extension_us, "rep 3")
    assert [each.number for each in next(sets(store)).counting] == [4]
    undo(store)
    assert [each.number for each in next(sets(store)).counting] == [3, 4]


def test_notes(store):
    session, set_id = a_set(store)
    add_note(store, "session", session, " fresh ")
    add_note(store, "set", set_id, "left knee")
    assert [text for _, text in notes(store, "session", session)] == ["fresh"]
    assert next(sets(store)).notes == ("left knee",)
    assert undo(store).summary == "note on set"
    assert next(sets(store)).notes == ()
    # A person knows sets by their session; the row's own number says nothing.
    add_note(store, "set", set_id, "left knee", "set 1 of session 1")
    assert changes(store)[0].summary == "note on set 1 of session 1"
    with pytest.raises(InputError, match="empty"):
        add_note(store, "set", set_id, "  ")


def test_name_taken_meanwhile(store):
    _, _ = a_set(store, athlete="Io")
    delete(store, "Io away", [("athlete", named(store, "athlete", "Io"))])
    named(store, "athlete", "Io")
    with pytest.raises(
        InputError, match="already has an athlete of that name; rename or delete one of the two"
    ):
        undo(store)
    assert not changes(store)[0].undone


class Undoing(RuleBasedStateMachine):
    """Whatever is done and undone in reverse, every earlier state comes back."""

    @initialize()
    def begin(self):
        import tempfile

        self.folder = tempfile.TemporaryDirectory()
        self.store = open_store(f"{self.folder.name}/log")
        self.sets = [a_set(self.store)[1] for _ in range(2)]
        self.exercises = [named(self.store, "exercise", name) for name in ("squat", "pull")]
        self.states = [self.state()]

    def state(self):
        return [(each.id, each.exercise, len(each.counting), each.notes) for each in sets(self.store)]

    @rule(which=st.integers(0, 1), exercise=st.integers(0, 1))
    def edit(self, which, exercise):
        values = {"exercise_id": self.exercises[exercise]}
        change(self.store, "edit", [("work_set", self.sets[which], values)])
        self.states.append(self.state())

    @rule(which=st.integers(0, 1))
    def delete(self, which):
        delete(self.store, "delete", [("work_set", self.sets[which])])
        self.states.append(self.state())

    @rule(which=st.integers(0, 1), text=st.text("ab", min_size=1, max_size=3))
    def note(self, which, text):
        add_note(self.store, "set", self.sets[which], text)
        self.states.append(self.state())

    @rule()
    def undo(self):
        if len(self.states) > 1:
            undo(self.store)
            self.states.pop()

    @invariant()
    def as_expected(self):
        assert self.state() == self.states[-1]

    def teardown(self):
        self.store.close()
        self.folder.cleanup()


TestUndoing = Undoing.TestCase
TestUndoing.settings = settings(max_examples=15, stateful_step_count=12, deadline=None)
