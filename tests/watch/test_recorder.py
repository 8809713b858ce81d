"""What `record` makes of a board's events: the file, its header, and what it says where something is missing."""

import zlib

import numpy as np
import pytest

from brakebeat.errors import DeviceError, InputError
from brakebeat.formats.recording import read_recording
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.link import Connected, EdgesArrived, LinkLost
from brakebeat.watch.recorder import BoardRestartedError, Recorder
from brakebeat.watch.rig_change import board_text, changed_rig
from brakebeat.watch.rig_header import KnownRig, rig_header, rig_of
from tests.link.test_connection import board_with, caught_up, events_of
from tests.watch.test_board_view import arrived

RIG = Rig(
    pulses_per_rev=2, inertia_kg_m2=0.12, name="barn wheel", zero_index=4, magnet_offsets_rad=(0.01, -0.01)
)


async def connected(**settings):
    events = await events_of(board_with(0, **settings), until=caught_up)
    return next(event for event in events if isinstance(event, Connected))


def edges(*times, missing=0):
    return EdgesArrived(1, np.array(times), np.array([1] * len(times), np.int8), missing)


async def recorder_with(tmp_path, *events, rigs=(RIG,)):
    recorder = Recorder(tmp_path / "set.csv", [KnownRig(rig) for rig in rigs])
    recorder.take(await connected())
    for event in events:
        recorder.take(event)
    return recorder


async def test_the_file_has_the_edges_and_the_rig(tmp_path):
    recorder = await recorder_with(tmp_path, edges(10, 20), arrived(0), edges(1_500_020))
    recorder.save()
    back = read_recording(tmp_path / "set.csv")
    assert back.t_us.tolist() == [10, 20, 1_500_020]
    assert back.step.tolist() == [1, 1, 1]
    assert back.header["inertia_kg_m2"] == "0.12"
    assert back.header["recorded_by"] == "barn wheel (F0:0D:00:00:B0:01), firmware 9.9"
    assert back.header["clock"].startswith("5000000 us was 20")
    assert back.rig.magnet_offsets_rad == RIG.magnet_offsets_rad
    assert back.rig.zero_index is None
    assert "edges_lost" not in back.header
    assert recorder.summary() == [f"{tmp_path / 'set.csv'}: 3 edges in 1.5 s, 1 rep"]


async def test_a_header_gives_its_rig_back(tmp_path):
    recorder = await recorder_with(tmp_path, edges(1))
    recorder.save()
    theirs = read_recording(tmp_path / "set.csv").rig.model_dump()
    mine = RIG.model_dump() | {"name": None, "zero_index": None}
    assert theirs == mine
    assert set(rig_header(RIG)) >= {"brake_target", "momentum_reps", "rest_gap_s"}


async def test_what_is_missing_is_marked_and_told(tmp_path):
    events = [edges(10), LinkLost("lost"), await connected(), edges(50, missing=None), edges(60, missing=3)]
    recorder = await recorder_with(tmp_path, *events)
    recorder.save()
    header = read_recording(tmp_path / "set.csv").header
    assert header["edges_lost"] == "3 or more"
    assert header["holes_us"] == "10-50 50-60"
    assert recorder.links_lost == 1
    assert recorder.summary()[1] == (
        "INCOMPLETE: 3 edges known to be missing; how many more, nobody could count, in 2 places "
        "(header keys edges_lost and holes_us tell)"
    )


async def test_a_restarted_board_ends_the_recording(tmp_path):
    recorder = await recorder_with(tmp_path, edges(10, 20))
    with pytest.raises(BoardRestartedError, match="barn wheel was switched off and on"):
        recorder.take(await connected(boot=2))
    recorder.save()
    assert read_recording(tmp_path / "set.csv").t_us.tolist() == [10, 20]


async def test_no_edges_no_file(tmp_path):
    recorder = await recorder_with(tmp_path)
    with pytest.raises(DeviceError, match="no edge has come; turn the wheel while recording"):
        recorder.save()
    assert list(tmp_path.iterdir()) == []


async def test_without_a_rig_file_the_board_tells_how_many_pulses_a_turn_has(tmp_path):
    recorder = await recorder_with(tmp_path, edges(10, 20), rigs=())
    recorder.save()
    assert read_recording(tmp_path / "set.csv").rig == Rig(pulses_per_rev=2)


async def test_a_rig_of_another_wheel_is_refused(tmp_path):
    with pytest.raises(InputError, match="it says pulses_per_rev = 6, but barn wheel counts 2"):
        await recorder_with(tmp_path, rigs=(Rig(pulses_per_rev=6),))


async def test_another_rig_file_than_the_boards_is_told(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text("# mine\npulses_per_rev = 2\n")
    known = KnownRig.from_file(path)
    for text, told in [
        ("# mine\npulses_per_rev = 2\n", False),
        ("pulses_per_rev = 2\n", False),
        ("else", True),
    ]:
        recorder = Recorder(tmp_path / "set.csv", [known])
        recorder.take(await connected(status={"rig_crc": zlib.crc32(text.encode())}))
        recorder.take(edges(1))
        assert ("another rig file" in recorder.warning) is told
        assert any("CAREFUL: barn wheel" in line for line in recorder.summary()) is told


def test_the_rig_file_of_each_board():
    mine, other = KnownRig(RIG), KnownRig(Rig(pulses_per_rev=6, name="cellar wheel"))
    assert rig_of("anything", []) is None
    assert rig_of("anything", [mine]) is mine
    assert rig_of("Cellar Wheel", [mine, other]) is other
    with pytest.raises(
        InputError, match=r"no rig file is for the board 'attic wheel'.*'barn wheel', 'cellar wheel'"
    ):
        rig_of("attic wheel", [mine, other])


# -- a changed rig file --------------------------------------------------------------------------------------

TEXT = """# my rig
pulses_per_rev = 6  # six magnets
brake_target = 0.25

[board]
# left of the axle
sensor_pin = 2
"""


def test_a_change_keeps_comments_and_order(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT)
    rig, text = changed_rig(path, {"brake_preset": "own", "brake_target": 0.4})
    assert rig.brake_target == 0.4
    assert path.read_text() == TEXT
    assert b"# my rig\npulses_per_rev = 6  # six magnets\nbrake_target = 0.4\n" in text
    path.write_bytes(text)
    assert read_rig(path).brake_target == 0.4
    assert read_rig(path).board.sensor_pin == 2


def test_no_change_is_the_file_itself(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT)
    assert changed_rig(path, {})[1] == TEXT.encode()


def test_values_that_do_not_go_together(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT)
    with pytest.raises(InputError, match=r"rig\.toml: brake_tolerance = 0.9: must be a number from 0 to 0.5"):
        changed_rig(path, {"brake_tolerance": 0.9})


def test_what_goes_onto_a_board_means_the_same(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_bytes(board_text(TEXT.encode()))
    assert (
        path.read_text()
        == "pulses_per_rev = 6  # six magnets\nbrake_target = 0.25\n[board]\nsensor_pin = 2\n"
    )
    (tmp_path / "whole.toml").write_text(TEXT)
    assert read_rig(path) == read_rig(tmp_path / "whole.toml")
