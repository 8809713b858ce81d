"""A store that has grown is asked no more questions than a small one: how fast a computer is decides nothing."""

import io

import pytest

from brakebeat.cli import main
from brakebeat.store import open_store
from brakebeat.store.connection import Store
from brakebeat.store.queries import Which
from brakebeat.store.sums import set_sums
from brakebeat.store.table import write_csv
from brakebeat.store.whole import write_json
from tests.store.made_up import a_set


@pytest.fixture
def asked(monkeypatch):
    """Every query, in order."""
    queries = []
    for name in ("rows", "row", "stream", "batches"):
        real = getattr(Store, name)

        def noted(self, sql, parameters=(), real=real):
            queries.append(sql)
            return real(self, sql, parameters)

        monkeypatch.setattr(Store, name, noted)
    return queries


@pytest.mark.parametrize("export", [write_csv, write_json])
def test_exports(export, asked, tmp_path):
    counts = []
    for size in (1, 25):
        with open_store(tmp_path / str(size)) as store:
            for _ in range(size):
                a_set(store)
            asked.clear()
            export(store, io.BytesIO())
            counts.append(len(asked))
    assert counts[0] == counts[1] > 0


def test_list(asked, tmp_path, capsys):
    counts = []
    for size in (1, 25):
        with open_store(tmp_path / str(size)) as store:
            for _ in range(size):
                a_set(store)
        asked.clear()
        assert main(["log", "list", "--limit", "0", "--store", str(tmp_path / str(size))]) == 0
        counts.append(len(asked))
    assert counts[0] == counts[1] > 0


def test_sums(asked, tmp_path):
    counts = []
    for size in (1, 25):
        with open_store(tmp_path / str(size)) as store:
            for _ in range(size):
                a_set(store)
            asked.clear()
            assert len(set_sums(store, Which())) == size
            counts.append(len(asked))
    assert counts[0] == counts[1] > 0
