"""What ends a command from outside ends it as Ctrl-C does: in words, with nothing left behind."""

import os
import signal
import socket
import subprocess
import sys
import urllib.request

import pytest

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of a POSIX system")


def _ignore_ctrl_c():
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP], ids=lambda number: number.name)
@pytest.mark.parametrize("begun", [None, _ignore_ctrl_c], ids=["in front", "in the background"])
def test_a_command_that_is_told_to_end_puts_away_what_it_began(tmp_path, number, begun):
    watching = subprocess.Popen(
        [sys.executable, "-m", "brakebeat", "watch", "--virtual", "sample:clean"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        preexec_fn=begun,
    )
    with watching:
        assert "looking for a board" in watching.stdout.readline()
        assert "connected" in watching.stdout.readline()
        # The board's files, which a program that just dies would leave.
        assert list(tmp_path.iterdir())
        if begun is not None:
            # Still ignored: the end that comes is the other signal's.
            watching.send_signal(signal.SIGINT)
        watching.send_signal(number)
        _, said = watching.communicate()
    assert watching.returncode == 128 + number
    assert said.endswith("brakebeat watch: stopped\n")
    assert "Traceback" not in said
    assert not list(tmp_path.iterdir())


def test_a_signal_that_is_ignored_stays_so(tmp_path):
    began = "import signal; signal.signal(signal.SIGHUP, signal.SIG_IGN); "
    looks = "print(signal.getsignal(signal.SIGHUP) is signal.SIG_IGN)"
    program = f"{began}from brakebeat.cli.ending import ends_as_by_ctrl_c as e\nwith e():\n    {looks}"
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert told.stdout == "True\n"


@pytest.mark.parametrize("begun", [None, _ignore_ctrl_c], ids=["in front", "in the background"])
def test_a_page_that_is_open_meanwhile_is_let_go(tmp_path, begun):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    who = ["--athlete", "Io", "--exercise", "row", "--store", str(tmp_path / "log")]
    serving = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "brakebeat",
            "serve",
            *who,
            "--virtual",
            "sample:clean",
            "--page-port",
            str(port),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        preexec_fn=begun,
    )
    with serving:
        said = ""
        while "connected" not in said:
            said += serving.stdout.readline()
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/events") as page:
            assert page.readline()
            serving.send_signal(signal.SIGTERM)
            said += serving.communicate()[0]
    assert serving.returncode == 143
    assert said.endswith("brakebeat serve: stopped\n")
    assert "Traceback" not in said
