"""Writing through symbolic links: the file at their end is replaced, whole or not at all, and the links stay."""

import os
from pathlib import Path

import pytest

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.formats.atomic import atomic_write, check_place, real_place, replacing


@pytest.fixture
def folders(tmp_path):
    """A folder of links, and another one that files lie in."""
    for name in ("links", "files"):
        (tmp_path / name).mkdir()
    return tmp_path


def _link(folders: Path, leads_to: str) -> Path:
    link = folders / "links" / "set.csv"
    link.symlink_to(leads_to)
    return link


def _write(path: Path, text: bytes) -> None:
    check_place(path)
    with atomic_write(path) as stream:
        stream.write(text)


@pytest.mark.parametrize("absolute", [True, False])
def test_the_file_that_a_link_leads_to_is_replaced(folders, absolute):
    real = folders / "files" / "set.csv"
    real.write_bytes(b"old")
    link = _link(folders, str(real) if absolute else "../files/set.csv")
    before = real.stat().st_ino
    _write(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    # A new file in the old one's place: whoever reads the old one goes on reading it.
    assert real.stat().st_ino != before
    assert [path.name for path in (folders / "files").iterdir()] == ["set.csv"]
    assert [path.name for path in (folders / "links").iterdir()] == ["set.csv"]


def test_the_unfinished_file_lies_beside_the_real_one(folders):
    real = folders / "files" / "set.csv"
    real.write_bytes(b"old")
    link = _link(folders, str(real))

    def write_half():
        with replacing(link) as unfinished:
            assert unfinished.parent == real.parent
            unfinished.write_bytes(b"half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_half()
    assert real.read_bytes() == b"old"
    assert [path.name for path in (folders / "files").iterdir()] == ["set.csv"]


def test_a_link_to_a_file_that_is_not_there_yet(folders):
    link = _link(folders, "../files/set.csv")
    _write(link, b"new")
    assert link.is_symlink()
    assert (folders / "files" / "set.csv").read_bytes() == b"new"


def test_links_to_links_and_linked_folders(folders):
    (folders / "elsewhere").symlink_to("files")
    link = _link(folders, "../elsewhere/second")
    (folders / "files" / "second").symlink_to("third")
    _write(link, b"new")
    assert (folders / "files" / "third").read_bytes() == b"new"
    assert link.is_symlink()
    assert (folders / "files" / "second").is_symlink()
    assert real_place(link) == (folders / "files" / "third").resolve()


@pytest.mark.parametrize("write", [check_place, lambda path: replacing(path).__enter__(), real_place])
@pytest.mark.parametrize("leads_to", ["set.csv", "other"])
def test_links_in_a_circle(folders, write, leads_to):
    link = _link(folders, leads_to)
    if leads_to == "other":
        (folders / "links" / "other").symlink_to("set.csv")
    there = sorted((folders / "links").iterdir())
    with pytest.raises(
        InputError, match=r"set\.csv: cannot be written \(Too many levels of symbolic links\)"
    ):
        write(link)
    assert sorted((folders / "links").iterdir()) == there


def test_a_link_into_a_folder_that_is_not_there(folders):
    link = _link(folders, "../absent/set.csv")
    with pytest.raises(
        InputError, match=r"links/set\.csv: it is a link into .*/absent: no such folder; make it"
    ):
        check_place(link)
    with pytest.raises(InputError, match=r"links/set\.csv: cannot be written \(No such file or directory\)"):
        replacing(link).__enter__()
    assert link.is_symlink()
    assert not (folders / "absent").exists()


def test_a_link_to_a_folder(folders):
    link = _link(folders, "../files")
    with pytest.raises(InputError, match=r"links/set\.csv: cannot be written \(Is a directory\)"):
        check_place(link)
    assert list((folders / "files").iterdir()) == []


@pytest.mark.parametrize("hops", [1, 2])
def test_devices_and_pipes_behind_links_are_refused(folders, hops):
    os.mkfifo(folders / "files" / "pipe")
    (folders / "files" / "null").symlink_to(os.devnull)
    for name in ("pipe", "null"):
        link = folders / "links" / name
        link.symlink_to(f"../files/{name}")
        if hops == 2:
            (folders / "links" / "again").unlink(missing_ok=True)
            link = folders / "links" / "again"
            link.symlink_to(name)
        for write in (check_place, lambda path: replacing(path).__enter__()):
            with pytest.raises(
                InputError, match=f"{link.name}: cannot be written \\(it is a device or a pipe"
            ):
                write(link)
    assert (folders / "files" / "pipe").is_fifo()
    assert not Path(os.devnull).is_file()


def test_a_command_writes_through_a_link(folders):
    link = _link(folders, "../files/set.csv")
    assert main(["simulate", "--out", str(link), "--reps", "3"]) == 0
    assert link.is_symlink()
    assert (folders / "files" / "set.csv").read_text().startswith("# brakebeat-pulses: 1\n")
