"""Bad input through the commands: exit code 2, file and line on standard error, standard output empty."""

import subprocess
import sys

import pytest

from brakebeat.cli import main
from brakebeat.samples import find
from tests.formats.bad_recordings import BAD, GOOD, Bad

COMMANDS = ("replay", "analyse", "check")


def _refused(capsys, arguments: list[str]) -> str:
    """What a refused call says, with all that every refusal has to obey checked."""
    assert main(arguments) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert "Traceback" not in streams.err
    assert streams.err.startswith(f"brakebeat {arguments[0]}: ")
    return streams.err


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_bad_recording(bad: Bad, command: str, tmp_path, capsys):
    path = tmp_path / "set.csv"
    path.write_bytes(bad.data)
    message = _refused(capsys, [command, str(path), "--json"])
    assert f"{path}:{bad.line}: " in message
    assert bad.words in message
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", ["absent.csv", "", "sample:absent"])
def test_unreadable_recording(name: str, command: str, tmp_path, capsys):
    file = name if name.startswith("sample:") else str(tmp_path / name)
    assert file in _refused(capsys, [command, file, "--json"])


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    ("rig", "words"),
    [
        ("pulses_per_rev = 0\n", "rig.toml:1: pulses_per_rev = 0"),
        (
            "pulses_per_rev = 6\ninertia = 1\n",
            "rig.toml:2: unknown key 'inertia'; did you mean 'inertia_kg_m2'?",
        ),
        ("pulses_per_rev 6\n", "rig.toml:1: not TOML"),
        (None, "rig.toml: cannot be read"),
    ],
)
def test_bad_rig_file(rig: str | None, words: str, command: str, tmp_path, capsys):
    rig_file = tmp_path / "rig.toml"
    if rig is not None:
        rig_file.write_text(rig)
    assert words in _refused(capsys, [command, str(find("clean")), "--rig", str(rig_file), "--json"])


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "data", [b"", GOOD + b"150,0\n", GOOD + b"\xff\n"], ids=["empty", "backwards", "bytes"]
)
def test_as_a_process_of_its_own(data: bytes, command: str, tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(data)
    call = [sys.executable, "-m", "brakebeat", command, str(path), "--json"]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"brakebeat {command}: {path}:")


def test_unknown_command(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["rewind"])
    assert caught.value.code == 2
    assert "rewind" in capsys.readouterr().err
