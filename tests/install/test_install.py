"""`brakebeat board install` against the real MicroPython VM at its own prompt behind a pty, its files on a littlefs."""

import json
import os
import pty
import shutil
import tty

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from brakebeat.board.table import files_for
from brakebeat.cli import main
from brakebeat.errors import DeviceError, InputError
from brakebeat.formats.rig import Rig, read_rig, write_rig
from brakebeat.install import console, copying, facts, find, payload, run
from brakebeat.install.facts import Facts
from tests.install.board import CTRL_C, Board, files_on, on_the_vm

pytestmark = pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")

PICO = Facts(
    "micropython", (1, 28, 0), "Raspberry Pi Pico W with RP2040", 0x1306, "rp2", 4096, 800_000, frozenset()
)


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    write_rig(path, Rig(pulses_per_rev=3, name="barn wheel"))
    return path


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A flash with this version's firmware on it, and what the command printed."""
    folder = tmp_path_factory.mktemp("installed")
    write_rig(folder / "rig.toml", Rig(pulses_per_rev=3, name="barn wheel"))
    with Board(folder / "flash") as board:
        done = run.install(board.port, folder / "rig.toml")
    return folder / "flash", done


@pytest.fixture
def flash(installed, tmp_path):
    """A copy of that flash."""
    return shutil.copy(installed[0], tmp_path / "flash")


def put(name, data):
    """Code that writes a file; without the end of ``with`` nothing would reach the flash."""
    return f"with open({name!r}, 'wb') as file:\n    file.write({data})\n"


def test_a_new_board_gets_everything_and_starts(installed):
    path, done = installed
    files = files_on(path)
    code = {f"brakebeat_fw/{name.removesuffix('.py')}.mpy" for name in files_for("linux") - {"playback.py"}}
    assert {name for name in files if name.startswith("brakebeat_fw/")} == code
    assert files["main.py"] == (firmware_dir() / "main.py").read_bytes()
    assert done.rig == "written"
    assert done.status.name == "barn wheel"
    assert done.status.pulses_per_rev == 3
    assert (done.facts.architecture, done.facts.port) == ("x64", "linux")
    assert not any("brakebeat_new" in name or "brakebeat_old" in name for name in files)


def test_the_command_in_words_and_as_json(flash, rig, capsys):
    with Board(flash) as board:
        assert main(["board", "install", "--port", board.port, "--rig", str(rig)]) == 0
        out, err = capsys.readouterr()
        assert "each with the right checksum; the board has this rig file already" in out
        assert err.startswith("Caution: take the strap off")
        assert main(["board", "install", "--port", board.port, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["rig"] == "kept"
    assert document["status"]["pulses_per_rev"] == 3


def test_the_boards_rig_file_stays_unless_told(flash, rig):
    write_rig(rig, Rig(pulses_per_rev=6, name="barn wheel"))
    before = files_on(flash)["rig.toml"]
    with Board(flash) as board:
        assert run.install(board.port, rig).rig == "kept"
        assert files_on(flash)["rig.toml"] == before
        done = run.install(board.port, rig, replace_rig=True)
    assert done.rig == "replaced"
    assert done.status.pulses_per_rev == 6
    files = files_on(flash)
    assert files["rig.old.toml"] == before
    (rig.parent / "theirs.toml").write_bytes(files["rig.toml"])
    assert read_rig(rig.parent / "theirs.toml") == read_rig(rig)


def test_without_a_rig_file_it_runs_and_says_so(tmp_path, capsys):
    with Board(tmp_path / "flash") as board:
        assert main(["board", "install", "--port", board.port]) == 0
    assert "NO rig file on it" in capsys.readouterr().out


def test_another_program_is_moved_not_lost(tmp_path, rig):
    path = tmp_path / "flash"
    on_the_vm(path, put("main.py", b"print(1)"))
    with Board(path) as board:
        assert run.install(board.port, rig).moved == {"main.py": "main_before_1.py"}
        # Our own is not.
        assert run.install(board.port, rig).moved == {}
    assert files_on(path)["main_before_1.py"] == b"print(1)"


# -- what goes wrong -----------------------------------------------------------------------------------------


def without_journal(files):
    return {name: data for name, data in files.items() if not name.startswith("journal")}


def test_no_room_is_told_before_anything_is_written(tmp_path, rig, capsys):
    path = tmp_path / "flash"
    on_the_vm(path, put("mine.txt", b"mine"), blocks=20)
    with Board(path, blocks=20) as board:
        assert main(["board", "install", "--port", board.port, "--rig", str(rig)]) == 3
    assert "the flash is full: " in capsys.readouterr().err
    assert files_on(path, 20) == {"mine.txt": b"mine"}


def test_a_flash_that_fills_up_on_the_way_leaves_the_old_version(flash, rig, monkeypatch):
    before = without_journal(files_on(flash))
    on_the_vm(flash, put("mine.bin", "bytes(700000)"))
    monkeypatch.setattr(run, "check_room", lambda *_: None)
    with Board(flash) as board:
        with pytest.raises(DeviceError, match=r"the flash is full; delete files .* old files still stand"):
            run.install(board.port, rig)
        assert board.starts > 1
    files = without_journal(files_on(flash))
    del files["mine.bin"]
    assert files == before


class OneByteWrong:
    """Changes a byte of main.py on its way to the board."""

    before = b"What a board run"

    def __init__(self):
        self._last = b""

    def __call__(self, byte):
        hit = self._last.endswith(self.before)
        self._last = (self._last + byte)[-40:]
        return b"z" if hit else byte


def test_a_checksum_that_differs_leaves_the_old_version(flash, rig):
    before = without_journal(files_on(flash))
    with (
        Board(flash, damage=OneByteWrong()) as board,
        pytest.raises(
            DeviceError, match=r"main\.py: its checksum on the board differs .* old files still stand"
        ),
    ):
        run.install(board.port, rig)
    assert without_journal(files_on(flash)) == before


def test_a_version_that_is_too_old_is_named_with_the_one_needed(flash, monkeypatch):
    monkeypatch.setattr(facts, "LEAST_VERSION", (9, 1))
    with (
        Board(flash) as board,
        pytest.raises(DeviceError, match=r"MicroPython 1\.\d+\.0 is on it, 9\.1 or newer is needed: get it"),
    ):
        run.install(board.port)


def test_another_python_is_named():
    other = Facts("circuitpython", (9, 2, 0), "", 0, "RP2040", 512, 0, frozenset())
    with pytest.raises(DeviceError, match=r"port: circuitpython 9\.2\.0 is on it; MicroPython is needed"):
        facts._check("port", other)


def test_a_build_without_native_code_is_refused():
    other = Facts("micropython", (1, 28, 0), "some board", 0x0006, "some", 512, 0, frozenset())
    with pytest.raises(DeviceError, match="loads no native code"):
        facts._check("port", other)


def test_a_firmware_that_does_not_come_up_is_told_with_its_words(flash, rig, monkeypatch):
    whole = payload.payload

    def broken(the_facts):
        return whole(the_facts) | {"main.py": b"print('brakebeat_fw is ill')\n"}

    monkeypatch.setattr(run, "payload", broken)
    with Board(flash) as board, pytest.raises(DeviceError, match=r"(?s)no status came .*brakebeat_fw is ill"):
        run.install(board.port, rig, status_s=1.0)


def test_nothing_answers_on_the_port(monkeypatch):
    monkeypatch.setattr(console, "_PROMPT_S", 0.1)
    monkeypatch.setattr(console, "_READ_S", 0.1)
    master, slave = pty.openpty()
    tty.setraw(slave)
    with pytest.raises(DeviceError, match="the board does not answer at its prompt"):
        run.install(os.ttyname(slave))
    os.close(master)
    os.close(slave)


def test_a_board_that_is_just_starting_is_asked_again(flash, monkeypatch):
    tries = 0

    def lost_until_the_third_try(byte):
        nonlocal tries
        tries += byte == CTRL_C
        if tries == 2:
            # The next one is heard, and may take its time on a slow machine.
            monkeypatch.setattr(console, "_PROMPT_S", 60)
        return b"" if tries <= 2 else byte

    monkeypatch.setattr(console, "_PROMPT_S", 0.1)
    monkeypatch.setattr(console, "_READ_S", 0.1)
    with (
        Board(flash, damage=lost_until_the_third_try) as board,
        console.console(board.port) as prompt,
    ):
        assert prompt.ask("1 + 1") == 2
    assert tries >= 3


def test_no_such_port(tmp_path, capsys):
    assert main(["board", "install", "--port", str(tmp_path / "ttyACM7")]) == 3
    assert "ttyACM7: there is no such port" in capsys.readouterr().err


def test_a_wrong_rig_file_is_told_before_the_board_is_touched(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text("pulses_per_rev = 0\n")
    assert main(["board", "install", "--port", "/dev/null", "--rig", str(path)]) == 2
    assert f"{path}:1: pulses_per_rev" in capsys.readouterr().err


def test_replacing_needs_a_rig_file(capsys):
    assert main(["board", "install", "--replace-rig"]) == 2
    assert "--replace-rig: name the rig file" in capsys.readouterr().err


class Found:
    def __init__(self, device):
        self.device, self.vid, self.description = device, 0x2E8A, "Board in FS mode"


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ([], "no board found on any USB port; plug it in"),
        (
            ["ttyACM1", "ttyACM0"],
            "2 USB ports are found.*\n  --port ttyACM0  Board in FS mode\n  --port ttyACM1",
        ),
    ],
)
def test_which_port_is_not_guessed(names, words, monkeypatch):
    found = [Found(name) for name in names]
    monkeypatch.setattr("brakebeat.link.serial_port.list_ports.comports", lambda: found)
    with pytest.raises(DeviceError, match=words):
        find.board_port(None)


def test_the_only_port_is_taken(monkeypatch):
    monkeypatch.setattr("brakebeat.link.serial_port.list_ports.comports", lambda: [Found("ttyACM0")])
    assert find.board_port(None) == "ttyACM0"


# -- what goes where -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mpy", "architecture"),
    [(0x1306, "armv6m"), (0x1F06, "armv7emsp"), (0x2B06, "xtensawin"), (0x2F06, "rv32imc"), (0x0B06, "x64")],
)
def test_the_processor_is_read_from_what_the_board_says(mpy, architecture):
    # Numbers by the documentation's formula: version 6, sub-version 3, processor << 10.
    board = Facts("micropython", (1, 28, 0), "", mpy, "rp2", 4096, 0, frozenset())
    assert board.architecture == architecture


def test_a_board_gets_its_ports_files_only_and_main_comes_last():
    content = payload.payload(PICO)
    names = {name.rpartition("/")[2].removesuffix(".mpy") for name in content if "/" in name}
    assert names == {name.removesuffix(".py") for name in files_for("rp2")} - {"playback"}
    assert list(content)[-1] == "main.py"
    assert all(data[:2] == b"M\x06" for name, data in content.items() if name.endswith(".mpy"))


def test_a_compiler_that_does_not_fit_the_board_is_told():
    newer = Facts("micropython", (1, 40, 0), "", 0x1007, "rp2", 4096, 0, frozenset())
    with pytest.raises(InputError, match=r"mpy-cross makes files of version 6.* takes 7\.0"):
        payload.payload(newer)


# -- the power goes in the middle of the switch ---------------------------------------------------------------

_DIES = """
_whole_write = Flash.writeblocks
_left = [{after}]
def _write(self, block, buffer, offset=0):
    if not _left[0]:
        raise SystemExit
    _left[0] -= 1
    _whole_write(self, block, buffer, offset)
Flash.writeblocks = _write
"""


_LEFT = "\nprint(_left[0])"


def test_power_cut_at_any_write_never_leaves_a_mixture(installed, tmp_path):
    staged = tmp_path / "staged"
    shutil.copy(installed[0], staged)
    old = without_journal(files_on(staged))
    make = "".join(
        f"os.mkdir('/{name}')\n" for name in ("brakebeat_new", "brakebeat_new/brakebeat_fw")
    ) + "".join(put(f"/brakebeat_new/{name}", b"# new") for name in old)
    on_the_vm(staged, make)
    kept = [(name, "") for name in ("main.py", "boot.py") if name in old]
    code = copying._TOOLS + copying._SWITCH.format(
        kept=kept, stage=copying.STAGE, starters=copying._STARTERS, old_rig=copying.OLD_RIG
    )
    new = dict.fromkeys(old, b"# new")
    seen = set()
    writes = int(on_the_vm(shutil.copy(staged, tmp_path / "whole"), code + _LEFT, _DIES.format(after=10**6)))
    assert 10**6 - writes > 40, "too few writes to be the switch"
    for after in range(10**6 - writes + 1):
        path = tmp_path / "cut"
        shutil.copy(staged, path)
        finished = "done" in on_the_vm(path, code + "\nprint('done')", _DIES.format(after=after))
        files = {name: data for name, data in files_on(path).items() if name in old}
        if "main.py" not in files:
            seen.add("prompt")
        else:
            assert {**old, "rig.toml": files["rig.toml"]} == files or new == files
            seen.add("new" if files == new else "old")
        if finished:
            break
    assert finished
    assert seen == {"old", "prompt", "new"}
    assert after > 10


def test_installing_again_mends_a_switch_that_broke_off(flash, rig):
    on_the_vm(
        flash,
        "os.remove('main.py')\nos.rename('brakebeat_fw', 'brakebeat_old')\nos.rename('rig.toml', 'rig.old.toml')\n"
        "os.mkdir('brakebeat_new')\n" + put("brakebeat_new/x", b"x"),
    )
    with Board(flash) as board:
        done = run.install(board.port)
    assert done.rig == "kept"
    assert done.status.pulses_per_rev == 3
    names = set(files_on(flash))
    assert "main.py" in names
    assert not any(name.startswith(("brakebeat_new", "brakebeat_old")) for name in names)
