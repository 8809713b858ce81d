"""Every option that names a file: one that cannot be used is one clear error, before anything else is done."""

import os
import shlex

import pytest

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.formats.atomic import atomic_write, check_place, replacing
from brakebeat.store import open_store
from brakebeat.store.backup import copy_database
from tests.full_disk import no_file_longer_than
from tests.store.made_up import a_set

WHO = "--athlete 'A B' --exercise squat"
# FILE is the one that is looked at; the sample is sound.
READ = [
    "replay FILE",
    "replay sample:clean --rig FILE",
    "analyse FILE",
    "analyse @FILE",
    "analyse sample:clean --rig FILE",
    "check FILE",
    "check @FILE",
    "check sample:clean --limits FILE",
    "check sample:clean --rig FILE",
    f"import FILE {WHO}",
    f"import FILE.jsonl {WHO} --rig ../rig.toml",
    f"import sample:clean {WHO} --rig FILE",
    "plan --start 2027-01-04 --settings FILE",
    "watch --virtual FILE",
    "watch --virtual sample:clean --check --rig FILE",
    "scan --virtual FILE",
    "fetch --virtual FILE",
    "fetch --virtual sample:clean --out FILE",
    "record new.csv --virtual sample:clean --rig FILE",
    f"coach {WHO} --virtual sample:clean --plain --rig FILE",
    f"serve {WHO} --virtual sample:clean --rig FILE",
    "set --virtual sample:clean --rig FILE",
    "calibrate magnets FILE",
    "calibrate friction FILE",
    "calibrate inertia FILE --falling-mass 2",
    "calibrate strap FILE --pulled 0.3",
    "calibrate zero FILE",
    "calibrate magnets sample:clean --rig FILE",
    "board install --port /dev/null --rig FILE",
    "board doctor --recording FILE",
    "rig show FILE",
    "vcd channels FILE",
    "vcd read FILE --out new.csv --channel D0 --magnets 6",
    "vcd write FILE --out new.vcd",
    "export new.csv --store FILE",
    "bench --only start --keep FILE",
    "bench --only start --readme FILE",
]
# Where a file that is not there is made, or an empty one is as good as none.
MAY_BE_MISSING = {"fetch --virtual sample:clean --out FILE"}
MAY_BE_EMPTY = MAY_BE_MISSING | {"plan --start 2027-01-04 --settings FILE", "export new.csv --store FILE"}


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty working folder with a store in it."""
    with open_store(tmp_path / "store") as store:
        a_set(store)
    (tmp_path / "rig.toml").write_text("pulses_per_rev = 6\n")
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setenv("BRAKEBEAT_STORE", str(tmp_path / "store"))
    return folder


def _refused(capsys, call: str, file: str) -> str:
    words = [word.replace("FILE", file) for word in shlex.split(call)]
    assert main(words) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    last = streams.err.splitlines()[-1] if "--limits" not in call else streams.err
    assert last.startswith(f"brakebeat {words[0]}: ")
    assert file in last
    # What was wrong, then what to do.
    assert ";" in last or "a complete example is" in last or ": no such file" in last
    return streams.err


@pytest.mark.parametrize("call", [call for call in READ if call not in MAY_BE_MISSING])
def test_missing(call, here, capsys):
    _refused(capsys, call, "absent")
    assert list(here.iterdir()) == []


@pytest.mark.parametrize("call", READ)
def test_a_folder(call, here, capsys):
    (here / "folder").mkdir()
    (here / "folder.jsonl").mkdir()
    _refused(capsys, call, "folder")


@pytest.mark.parametrize("call", READ)
def test_binary(call, here, capsys):
    for name in ("bytes", "bytes.jsonl"):
        (here / name).write_bytes(bytes(range(256)) * 40)
    assert "codec" not in _refused(capsys, call, "bytes")
    assert {path.name for path in here.iterdir()} == {"bytes", "bytes.jsonl"}


@pytest.mark.parametrize("call", [call for call in READ if call not in MAY_BE_EMPTY])
def test_empty(call, here, capsys):
    for name in ("empty", "empty.jsonl"):
        (here / name).write_bytes(b"")
    _refused(capsys, call, "empty")


@pytest.mark.parametrize("call", READ)
def test_no_right_to_read(call, here, capsys):
    for name in ("mine", "mine.jsonl"):
        (here / name).touch(mode=0)
    if os.access(here / "mine", os.R_OK):
        pytest.skip("root may read everything")
    _refused(capsys, call, "mine")


WRITE = [
    "simulate --out FILE",
    "simulate --out new.csv --truth FILE",
    "export FILE --format csv",
    "export FILE --format json",
    "export FILE --format parquet",
    "plan --start 2027-01-04 --ics FILE",
    "record FILE --force --virtual sample:clean",
    "rig template --shaft 25 --magnets 6 --out FILE",
    "vcd write sample:clean --out FILE",
    "log backup FILE",
    "bench --only start --json FILE",
    "board doctor --virtual sample:clean --keep FILE",
]


@pytest.mark.parametrize("call", WRITE)
@pytest.mark.parametrize("place", ["absent/x", "folder", "file/x", "pipe"])
def test_no_place_to_write(call, place, here, capsys):
    (here / "folder").mkdir()
    (here / "file").touch()
    os.mkfifo(here / "pipe")
    words = [word.replace("FILE", place) for word in shlex.split(call)]
    assert main(words) == 2
    last = capsys.readouterr().err.splitlines()[-1]
    assert place in last or f"{place.partition('/')[0]}: no such folder" in last
    assert ";" in last
    assert (here / "pipe").is_fifo()
    assert not [path for path in here.iterdir() if path.suffix == ".part"]


@pytest.mark.parametrize(
    ("call", "limit_bytes"),
    [
        ("simulate --out FILE", 64),
        ("plan --start 2027-01-04 --ics FILE", 64),
        ("rig template --shaft 25 --magnets 6 --out FILE", 64),
        ("vcd write sample:clean --out FILE", 64),
        # SQLite opens no store without 32 KiB beside it.
        ("export FILE --format csv", 33_000),
        ("export FILE --format json", 33_000),
        ("export FILE --format parquet", 33_000),
    ],
)
def test_no_room(call, limit_bytes, here, capsys):
    if call.startswith("export"):
        with open_store(os.environ["BRAKEBEAT_STORE"]) as store:
            a_set(store, 800)
    with no_file_longer_than(limit_bytes):
        assert main([word.replace("FILE", "x") for word in shlex.split(call)]) == 2
    assert "x: cannot be written" in capsys.readouterr().err
    assert list(here.iterdir()) == []


def test_no_room_for_a_backup(tmp_path):
    """The place that is full is named, not the store."""

    class Grown:
        def backup(self, copy):
            copy.execute("PRAGMA max_page_count = 2")
            copy.execute("CREATE TABLE t (x)")
            copy.execute("INSERT INTO t VALUES (zeroblob(100000))")

    with pytest.raises(InputError, match=r"copy: cannot be written \(No space left on device\)"):
        copy_database(Grown(), tmp_path / "store", tmp_path / "copy")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("write", [check_place, lambda path: replacing(path).__enter__()])
def test_a_pipe_is_not_replaced(write, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to("pipe")
    for name in ("pipe", "link"):
        with pytest.raises(InputError, match=f"{name}: cannot be written \\(it is a device or a pipe"):
            write(tmp_path / name)
    assert (tmp_path / "pipe").is_fifo()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link", "pipe"]


def test_a_place_that_is_good_stays_as_it_is(tmp_path):
    check_place(tmp_path / "new")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "old").write_text("kept")
    check_place(tmp_path / "old")
    assert (tmp_path / "old").read_text() == "kept"
    with atomic_write(tmp_path / "old") as stream:
        stream.write(b"new")
    assert (tmp_path / "old").read_text() == "new"


@pytest.mark.parametrize(
    "words",
    [
        "board install",
        "board doctor",
        "rig new",
        "rig show",
        "rig template",
        "vcd channels",
        "vcd read",
        "vcd write",
        "calibrate zero",
        "log undo",
    ],
)
def test_the_help_of_a_sub_command_says_what_it_does(words, capsys):
    with pytest.raises(SystemExit):
        main([*words.split(), "--help"])
    usage, says, *_ = capsys.readouterr().out.split("\n\n")
    assert usage.startswith(f"usage: brakebeat {words}")
    assert says[0].isupper()
    assert says.endswith(".")
