"""The store: what goes in comes out, what cannot be is said."""

import contextlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.results import Cue
from brakebeat.store import StoreError, edges, open_store, store_path
from brakebeat.store.catalog import add_named, find_named, list_named, load_rig, named, rig_id
from brakebeat.store.location import STORE_VARIABLE
from brakebeat.store.migrate import APPLICATION_ID, Migration, ensure_schema, migrations
from brakebeat.store.queries import sessions, sets
from brakebeat.store.rep_rows import COLUMNS, to_row
from brakebeat.store.sessions import add_cue, add_rep, attach_recording, load_recording, start_session
from tests.store.made_up import RIG, a_set, recording, rep


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "log.brakebeat") as opened:
        yield opened


def test_a_set_comes_back_as_it_went_in(store):
    session, set_id = a_set(store)
    add_cue(store, set_id, Cue(3_000_000, 1, "late"))
    add_cue(store, set_id, Cue(3_000_000, 1, "late"))
    (found,) = sets(store, session_id=session)
    assert [each.rep for each in found.reps] == [rep(index, momentum=index < 2) for index in range(4)]
    assert [each.number for each in found.counting] == [3, 4]
    assert found.cues == (Cue(3_000_000, 1, "late"),)
    assert (found.engine, found.engine_version, found.inertia_kg_m2) == ("board", "9.9.9", 0.12)
    (summary,) = sessions(store)
    assert (summary.sets, summary.reps, summary.exercises) == (1, 2, ("squat",))
    assert load_rig(store, rig_id(store, RIG)) == RIG


def test_rep_sent_twice_is_one_and_another_under_its_index_is_refused(store):
    session, set_id = a_set(store, 2)
    assert add_rep(store, set_id, rep(2))
    assert not add_rep(store, set_id, rep(2))
    with pytest.raises(InputError, match="start a new set"):
        add_rep(store, set_id, rep(2, start_us=7))
    (found,) = sets(store, session_id=session)
    assert len(found.reps) == 3


def test_columns_are_the_tables(store):
    there = [row["name"] for row in store.rows("PRAGMA table_info(rep)")]
    assert there == ["computation_id", *COLUMNS]
    assert len(to_row(rep())) == len(COLUMNS)


def test_numbers_that_are_none_become_null(store):
    session, set_id = a_set(store, 1)
    add_rep(store, set_id, rep(1, brake_fraction=float("nan")), float("inf"))
    (found,) = sets(store, session_id=session)
    assert found.reps[1].rep.brake_fraction is None
    assert found.reps[1].extension_rad_s is None


def test_sessions_between_two_moments(store):
    athlete = add_named(store, "athlete", "Io")
    begin = datetime(2026, 11, 2, 18, tzinfo=UTC)
    for day in range(4):
        start_session(store, athlete, begin + timedelta(days=day))
    found = sessions(store, since=begin + timedelta(days=1), until=begin + timedelta(days=3))
    assert [each.started for each in found] == [begin + timedelta(days=2), begin + timedelta(days=1)]
    assert len(sessions(store, limit=3)) == 3


def test_names(store):
    first = named(store, "athlete", "  Mara   Quill ")
    assert named(store, "athlete", "mara quill") == first == find_named(store, "athlete", "MARA QUILL")
    assert [each["name"] for each in list_named(store, "athlete")] == ["Mara Quill"]
    with pytest.raises(InputError, match="did you mean 'Mara Quill'"):
        find_named(store, "athlete", "mara")
    with pytest.raises(InputError, match="is there already"):
        add_named(store, "athlete", "Mara Quill")
    for bad in ("", " ", "12", "a:b", "a\x00b", "x" * 81):
        with pytest.raises(InputError, match="athlete"):
            add_named(store, "athlete", bad)


def test_edges_stay_beside_the_set(store):
    _, set_id = a_set(store)
    assert load_recording(store, set_id) is None
    attach_recording(store, [set_id], recording())
    back = load_recording(store, set_id)
    assert np.array_equal(back.t_us, recording().t_us)
    assert back.header == recording().header
    assert back.rig.name == "barn wheel"


@given(
    st.lists(st.integers(0, 2**40), min_size=1, max_size=60).map(sorted),
    st.sampled_from([(0,), (1, -1), (0, 1)]),
    st.integers(0, 2**50),
)
def test_packed_edges_come_back(times, kinds, origin):
    t_us = np.array(times, dtype=np.int64) + origin
    step = np.resize(np.array(kinds, dtype=np.int8), len(t_us))
    back, back_step = edges.unpack(edges.pack(t_us, step))
    assert back.dtype == np.int64
    assert np.array_equal(back, t_us)
    assert np.array_equal(back_step, step)


@given(st.binary(max_size=80), st.integers(0, 200), st.integers(0, 255))
def test_other_bytes_are_refused_or_read(data, place, value):
    packed = bytearray(edges.pack(recording().t_us, recording().step))
    packed[place % len(packed)] = value
    for attempt in (data, b"\x01" + data, bytes(packed)):
        # Anything but an InputError fails the test.
        with contextlib.suppress(InputError):
            edges.unpack(attempt)


def test_where_the_store_is(tmp_path, monkeypatch):
    monkeypatch.delenv(STORE_VARIABLE, raising=False)
    assert store_path().name == "log.brakebeat"
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "other"))
    assert store_path() == tmp_path / "other"
    assert store_path(tmp_path / "named") == tmp_path / "named"


def test_only_its_owner_may_read_a_new_store(store):
    assert store.path.stat().st_mode & 0o077 == 0


def test_what_is_no_store_is_left_alone(tmp_path):
    text = tmp_path / "text"
    text.write_text("# brakebeat-pulses: 1\n" * 100)
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE t (x)")
    newer = tmp_path / "newer.db"
    with sqlite3.connect(newer) as connection:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute("PRAGMA user_version = 999")
    for path, words in (
        (text, "not a store"),
        (other, "another program"),
        (newer, "newer Brakebeat"),
        (tmp_path, "cannot be opened"),
    ):
        before = path.read_bytes() if path.is_file() else b""
        with pytest.raises(StoreError, match=words) as caught:
            open_store(path)
        assert str(path) in str(caught.value)
        assert (path.read_bytes() if path.is_file() else b"") == before
    with pytest.raises(StoreError, match="no store yet"):
        open_store(tmp_path / "none", create=False)
    with pytest.raises(StoreError, match="cannot be made"):
        open_store(text / "below")


def test_locked_by_another_writer(tmp_path):
    path = tmp_path / "log"
    open_store(path).close()
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with open_store(path, timeout_s=0.05) as store, pytest.raises(StoreError, match="another process"):
        add_named(store, "athlete", "Io")
    holder.execute("ROLLBACK")
    holder.close()


# Root may write whatever the rights say, so it becomes somebody else, once all that it imports is there.
READ_ONLY = """
import os, sys
from brakebeat.errors import InputError
from brakebeat.store import open_store
from brakebeat.store.catalog import add_named
add_named(open_store(sys.argv[2]), "athlete", "Io")
if os.geteuid() == 0:
    os.setuid(65534)
try:
    add_named(open_store(sys.argv[1]), "athlete", "Io")
except InputError as error:
    print(error)
"""


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights of POSIX")
@pytest.mark.parametrize(("rights", "words"), [(0o444, "is read-only"), (0o000, "cannot be opened")])
def test_without_the_right_to_write(rights, words, tmp_path):
    # Not in tmp_path, whose parents let nobody else in.
    with tempfile.TemporaryDirectory() as name:
        folder, path = Path(name), Path(name) / "log"
        open_store(path).close()
        path.chmod(rights)
        folder.chmod(0o555)
        command = [sys.executable, "-c", READ_ONLY, path, tmp_path / "other"]
        run = subprocess.run(command, capture_output=True, text=True, check=False)
        folder.chmod(0o755)
    assert run.stderr == ""
    assert run.stdout.startswith(f"{path}: {words}")


def test_migration_keeps_a_backup_first(tmp_path):
    path = tmp_path / "log"
    with open_store(path) as store:
        a_set(store)
    steps = [*migrations(), Migration(len(migrations()) + 1, "ALTER TABLE athlete ADD COLUMN x TEXT;")]
    connection = sqlite3.connect(path, isolation_level=None)
    backup = ensure_schema(connection, path, steps)
    assert connection.execute("SELECT x FROM athlete").fetchall() == [(None,)]
    connection.close()
    assert backup is not None
    assert backup.parent == tmp_path
    with open_store(backup) as old:
        assert len(sessions(old)) == 1
    with pytest.raises(StoreError, match="newer Brakebeat"):
        open_store(path)


def test_migration_that_fails_changes_nothing(tmp_path):
    path = tmp_path / "log"
    with open_store(path) as store:
        a_set(store)
    sql = "ALTER TABLE athlete ADD COLUMN x TEXT;\nCREATE TABLE athlete (y);"
    connection = sqlite3.connect(path, isolation_level=None)
    with pytest.raises(sqlite3.OperationalError):
        ensure_schema(connection, path, [*migrations(), Migration(len(migrations()) + 1, sql)])
    connection.close()
    with open_store(path) as store:
        assert len(sessions(store)) == 1
        assert "x" not in [row["name"] for row in store.rows("PRAGMA table_info(athlete)")]


def test_numbers_of_migrations_have_no_gap():
    assert [each.number for each in migrations()] == list(range(1, len(migrations()) + 1))


def test_nothing_of_a_block_that_fails_stays(store):
    def fail_halfway():
        with store.writing():
            add_named(store, "athlete", "Io")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_halfway()
    assert list_named(store, "athlete") == []


def test_sound(store):
    a_set(store)
    assert store.faults() == []
