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


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """Stores on disk by how many sessions, of a set each, are in them. They are read only."""
    paths = {}
    for size in (1, 25):
        paths[size] = tmp_path_factory.mktemp("scale") / str(size)
        with open_store(paths[size]) as store:
            for _ in range(size):
                a_set(store)
    return paths


@pytest.mark.parametrize("export", [write_csv, write_json])
def test_exports(export, asked, stores):
    counts = []
    for path in stores.values():
        with open_store(path) as store:
            asked.clear()
            export(store, io.BytesIO())
            counts.append(len(asked))
    assert counts[0] == counts[1] > 0


def test_list(asked, stores, capsys):
    counts = []
    for path in stores.values():
        asked.clear()
        assert main(["log", "list", "--limit", "0", "--store", str(path)]) == 0
        counts.append(len(asked))
    assert counts[0] == counts[1] > 0


def test_sums(asked, stores):
    counts = []
    for size, path in stores.items():
        with open_store(path) as store:
            asked.clear()
            assert len(set_sums(store, Which())) == size
            counts.append(len(asked))
    assert counts[0] == counts[1] > 0
