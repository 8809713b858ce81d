"""The board's program on the MicroPython VM at one end of a pty, the host's commands at the other: no radio at all."""

import json
import os
import pty
import subprocess
import tty
import zlib

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from brakebeat.cli import main
from brakebeat.formats.rig import Rig, read_rig, write_rig
from brakebeat.watch.rig_change import board_text

pytestmark = pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")


@pytest.fixture
def port(tmp_path):
    """A serial port with a board behind it; its files lie in ``tmp_path / "board"``."""
    folder = tmp_path / "board"
    folder.mkdir()
    (folder / "rig.toml").write_text('pulses_per_rev = 3\nname = "barn wheel"\n')
    master, slave = pty.openpty()
    tty.setraw(slave)
    command = [micropython_command(), str(firmware_dir() / "main.py")]
    with subprocess.Popen(command, stdin=master, stdout=master, cwd=folder) as process:
        os.close(master)
        yield os.ttyname(slave)
        process.kill()
    os.close(slave)


def test_watched_over_a_cable(port, capsys):
    # How long a loaded machine takes to connect decides nothing.
    assert any(
        main(["watch", "--port", port, "--seconds", seconds, "--json-lines"]) == 0
        for seconds in ("1", "8", "30")
    )
    (connected,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert connected["event"] == "Connected"
    assert connected["address"] == port
    assert connected["status"]["pulses_per_rev"] == 3
    assert connected["status"]["trusted"] is True


def test_set_over_a_cable(port, tmp_path, capsys):
    path = tmp_path / "rig.toml"
    write_rig(path, Rig(pulses_per_rev=6, name="barn wheel"))
    assert main(["set", "--port", port, "--rig", str(path), "--target", "0.4"]) == 0
    assert "the board has taken" in capsys.readouterr().out
    assert read_rig(tmp_path / "board" / "rig.toml") == read_rig(path)
    # How long a loaded machine takes to connect decides nothing.
    assert any(
        main(["watch", "--port", port, "--seconds", seconds, "--json-lines"]) == 0
        for seconds in ("1", "8", "30")
    )
    connected = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert connected["status"]["rig_crc"] == zlib.crc32(board_text(path.read_bytes()))
    assert connected["status"]["pulses_per_rev"] == 6


def test_nothing_to_fetch_over_a_cable(port, capsys):
    assert main(["fetch", "--port", port]) == 0
    assert "nothing to fetch from" in capsys.readouterr().out


def test_nothing_moves_at_the_other_end(port, tmp_path, capsys):
    out = tmp_path / "set.csv"
    assert main(["record", str(out), "--port", port, "--seconds", "2"]) == 3
    assert "no edge has come" in capsys.readouterr().err
    assert not out.exists()
