"""Which recordings folders and lists stand for."""

import io
import sys
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.many.sources import is_many, named_recordings


def test_a_folder_stands_for_its_recordings_however_deep_by_name(tmp_path):
    for name in ("b.csv", "a.CSV", "deep/er/c.csv", ".hidden.csv", ".git/d.csv", "notes.txt"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    found = named_recordings([str(tmp_path)])
    assert found == [str(tmp_path / name) for name in ("a.CSV", "b.csv", "deep/er/c.csv")]


def test_a_list_is_relative_to_its_own_folder_and_each_recording_counts_once(tmp_path):
    listed = tmp_path / "all.txt"
    listed.write_text(
        "# of this week\n\none.csv\n sub/two.csv \r\nsample:late\none.csv\n", encoding="utf-8-sig"
    )
    expected = [str(tmp_path / "one.csv"), str(tmp_path / "sub/two.csv"), "sample:late"]
    assert named_recordings([f"@{listed}"]) == expected
    assert named_recordings(["sample:late", f"@{listed}"]) == [expected[2], *expected[:2]]


def test_a_list_from_standard_input_is_relative_to_where_one_is(monkeypatch):
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"a.csv\n/b.csv\n")))
    assert named_recordings(["@-"]) == ["a.csv", "/b.csv"]


def test_what_is_many(tmp_path):
    assert is_many(str(tmp_path))
    assert is_many("@anything")
    assert not is_many("sample:late")
    assert not is_many(str(tmp_path / "absent.csv"))


@pytest.mark.parametrize(
    ("content", "words"),
    [(None, "cannot be read"), (b"", "no recordings in this list"), (b"a\0b\n", "binary")],
)
def test_a_list_that_is_none(content, words, tmp_path):
    path = tmp_path / "list.txt"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=rf"list\.txt: .*{words}"):
        named_recordings([f"@{path}"])


def test_a_folder_without_recordings(tmp_path):
    with pytest.raises(InputError, match="no recordings"):
        named_recordings([str(tmp_path)])


@given(st.binary(max_size=200))
def test_any_bytes_are_a_list_or_an_error_in_words(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("list") / "list"
    path.write_bytes(data)
    try:
        outcome = named_recordings([f"@{path}"])
    except InputError as error:
        outcome = error
    if isinstance(outcome, InputError):
        assert str(path) in str(outcome)
    else:
        assert outcome
        assert all(outcome)
