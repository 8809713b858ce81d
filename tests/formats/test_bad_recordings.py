"""Every broken recording names file and line, says what is wrong, and is told apart from the others."""

import pytest

from brakebeat.errors import InputError
from brakebeat.formats.recording import open_recording, read_recording

from .bad_recordings import BAD, GOOD, Bad


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_names_file_line_and_fault(bad: Bad, tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(bad.data)
    with pytest.raises(InputError) as caught:
        read_recording(path)
    message = str(caught.value)
    assert message.startswith(f"{path}:{bad.line}: ")
    assert bad.words in message
    assert len(message) < 600


@pytest.mark.parametrize("bad", [bad for bad in BAD if bad.data.count(b"\n") > 3], ids=lambda bad: bad.name)
@pytest.mark.parametrize("block_bytes", [1, 3, 8])
def test_same_fault_in_small_blocks(bad: Bad, block_bytes: int, tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(bad.data)
    with pytest.raises(InputError) as caught:
        list(open_recording(path, block_bytes=block_bytes).chunks)
    assert str(caught.value).startswith(f"{path}:{bad.line}: ")


def test_good_one_is_good(tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(GOOD)
    assert read_recording(path).t_us.tolist() == [100, 200, 300]


def test_fault_after_many_blocks(tmp_path):
    path = tmp_path / "set.csv"
    line = b"%d,0\n"
    path.write_bytes(GOOD + b"".join(line % time for time in range(301, 300_000)) + b"5,0\n")
    with pytest.raises(InputError, match=r"set\.csv:299706: .*backwards by 299994 us"):
        read_recording(path)


@pytest.mark.parametrize("where", ["absent.csv", ".", "absent/set.csv", "a\0b"])
def test_unreadable_path(where: str, tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_recording(f"{tmp_path}/{where}")
