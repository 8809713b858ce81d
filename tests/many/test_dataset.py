"""The Parquet dataset as other engines read it."""

import json
import re
from pathlib import Path

import duckdb
import polars
import pyarrow
import pyarrow.dataset
import pytest

from brakebeat.check import load_limits
from brakebeat.errors import InputError
from brakebeat.many import dataset, gather
from brakebeat.many.columns import TABLES
from brakebeat.many.processes import here
from brakebeat.many.run import work_through
from brakebeat.many.sources import named_recordings
from brakebeat.many.version import versions_of
from brakebeat.many.work import Order

from .conftest import tree

ENGINES = ("cpython", "reference")
TOP = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def written(sets, tmp_path_factory):
    """(the dataset's folder, what it was made from)."""
    folder = tmp_path_factory.mktemp("out")
    found = work_through(named_recordings([str(sets)]), Order(versions_of(ENGINES)), here)
    reports = list(gather.reports(found, "cpython", load_limits()))
    gather.write_dataset(folder, found, ENGINES, reports)
    return folder / "parquet", found, reports


def test_duckdb_finds_every_figure_of_every_rep(written):
    folder, found, _ = written
    rows = duckdb.sql(
        f"select file, rep, start_us, concentric_energy_j, u_peak_rad_s, flags from "
        f"read_parquet('{folder}/reps/*/*.parquet', hive_partitioning = true) where engine = 'reference'"
    ).fetchall()
    expected = [
        (one.name, rep.index, rep.start_us, rep.concentric.energy_j, rep.uncertainty["peak_rad_s"], rep.flags)
        for one in found
        if one.fault is None
        for rep in one.analysis("reference").reps
    ]
    assert rows == expected
    assert len(rows) == 10


def test_polars_reads_the_partitions(written):
    folder, _, reports = written
    table = polars.read_parquet(f"{folder}/reps/**/*.parquet", hive_partitioning=True)
    assert set(table["engine"]) == set(ENGINES)
    peaks = table.filter(polars.col("engine") == "cpython")["peak_rad_s"].to_list()
    assert peaks == [firmware.peak_rad_s for report in reports for firmware, _ in report.pairs]


def test_arrow_reads_headers_and_errors(written):
    folder, found, _ = written
    analyses = pyarrow.dataset.dataset(folder / "analyses", partitioning="hive").to_table().to_pylist()
    assert len(analyses) == 10
    assert {dict(row["header"])["athlete"] for row in analyses} == {"Mara Quill"}
    assert {row["reps"] for row in analyses} == {2}
    errors = pyarrow.dataset.dataset(folder / "errors").to_table().to_pylist()
    assert errors == [
        {"file": one.name, "exit_code": 2, "error": one.fault.words} for one in found if one.fault is not None
    ]


def test_agreement_is_what_check_says(written):
    folder, _, reports = written
    rows = duckdb.sql(f"select * from '{folder}/agreement/*.parquet' where figure = 'end_us'").fetchall()
    assert [row[-2:] for row in rows] == [(40000.0, True)] * 5
    verdicts = duckdb.sql(f"select verdict from '{folder}/checks/*.parquet'").fetchall()
    assert [verdict for (verdict,) in verdicts] == [report.verdict for report in reports]


def test_each_column_says_its_unit(written):
    for table, columns in TABLES.items():
        schema = pyarrow.dataset.dataset(written[0] / table, partitioning="hive").schema
        for column in columns:
            assert schema.field(column.name).metadata == {
                b"unit": column.unit.encode(),
                b"meaning": column.meaning.encode(),
            }
            suffix = {"us": "µs", "s": "s", "w": "W", "j": "J", "nm": "N·m", "n": "N", "rad": "rad"}
            ending = column.name.rpartition("_")[2]
            if ending in suffix and "_" in column.name and not column.name.endswith("rad_s"):
                assert column.unit == suffix[ending], column.name


def test_no_result_at_all_still_has_its_columns(tmp_path):
    gather.write_dataset(tmp_path, [], ("reference",))
    table = polars.read_parquet(f"{tmp_path}/parquet/reps/**/*.parquet")
    assert table.height == 0
    assert "peak_rad_s" in table.columns
    assert not (tmp_path / "parquet" / "checks").exists()


def test_parts_are_filled_one_after_the_other(tmp_path, monkeypatch):
    monkeypatch.setattr(dataset, "_ROWS_A_PART", 3)
    with dataset.writing(tmp_path / "parquet", {"errors": ("",)}) as made:
        for number in range(7):
            made.add("errors", {"file": f"{number}", "exit_code": 2, "error": "no"})
    assert len(list((tmp_path / "parquet" / "errors").iterdir())) == 3
    table = polars.read_parquet(f"{tmp_path}/parquet/errors/*.parquet")
    assert table["file"].to_list() == [str(number) for number in range(7)]


def test_a_write_that_fails_leaves_the_old_dataset(tmp_path, written):
    def broken_off():
        with dataset.writing(tmp_path / "parquet", {"errors": ("",)}) as made:
            made.add("errors", {"file": "lost", "exit_code": 2, "error": "no"})
            raise KeyboardInterrupt

    with dataset.writing(tmp_path / "parquet", {"errors": ("",)}):
        pass
    before = tree(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        broken_off()
    assert tree(tmp_path) == before


def test_a_missing_library_is_told(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"pip install 'brakebeat\[parquet\]'"):
        dataset.parquet_library()


def test_the_documents_list_every_table_and_column():
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("### The Parquet dataset\n")[1].split("\n### ")[0].split("\n## ")[0]
    named = set(re.findall(r"`([^`]+)`", section))
    # A family is written once: `{concentric,eccentric}_energy_j`.
    families = [(n, re.findall(r"\{([^}]*)\}", n)) for n in named]
    for name, choices in families:
        for words in choices:
            named |= {name.replace("{" + words + "}", word) for word in words.split(",")}
    missing = {column.name for columns in TABLES.values() for column in columns} | set(TABLES)
    assert missing - named == set()


def test_nothing_in_a_document_is_lost_on_the_way(written):
    for one in written[1]:
        if one.fault is None:
            document = one.document("reference")["analysis"]
            assert json.loads(json.dumps(one.analysis("reference").to_document())) == document
