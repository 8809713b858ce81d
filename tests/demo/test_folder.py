"""The demo's own files are replaced, nobody else's."""

import pytest

from brakebeat.demo.folder import Folder
from brakebeat.errors import InputError


def test_a_new_place_and_the_second_run(tmp_path):
    folder = Folder(tmp_path / "some" / "where")
    folder.claim()
    folder.write(folder.recording, "first")
    folder.claim()
    folder.write(folder.recording, "second")
    assert folder.recording.read_text() == "second"
    assert sorted(file.name for file in folder.path.iterdir()) == ["about.txt", "set.csv"]


def test_a_user_s_other_files_stay(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    Folder(tmp_path).claim()
    assert (tmp_path / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize("name", ["set.csv", "set.png", "about.txt"])
def test_a_user_s_file_of_that_name_is_not_touched(tmp_path, name):
    (tmp_path / name).write_bytes(b"\xffmine")
    with pytest.raises(InputError, match=rf"{name}: .* --out"):
        Folder(tmp_path).claim()
    assert (tmp_path / name).read_bytes() == b"\xffmine"
    assert [file.name for file in tmp_path.iterdir()] == [name]


def test_a_place_that_cannot_be(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="cannot be made"):
        Folder(tmp_path / "file" / "x").claim()
