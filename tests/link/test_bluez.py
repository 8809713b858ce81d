"""bleak's own Linux backend on a private D-Bus with a fake org.bluez, between the firmware and `follow`."""

import contextlib
import shutil
import sys

import pytest

from brakebeat.board.messages import decode_rep
from brakebeat.board.replay import replay
from brakebeat.errors import DeviceError
from brakebeat.formats.recording import read_recording
from brakebeat.link import Connected, CueHeard, LinkLost, RepArrived, Wanted, follow
from brakebeat.samples import find
from brakebeat.virtual.air import RadioLimits, virtual_air
from brakebeat.virtual.rig import virtual_board

if not sys.platform.startswith("linux"):
    pytest.skip("BlueZ is Linux's Bluetooth service", allow_module_level=True)
if shutil.which("dbus-daemon") is None:
    pytest.skip("no dbus-daemon is installed (Debian package dbus)", allow_module_level=True)

from tests.link.fake_bluez import FakeBluez, private_bus

PAUSES_S = (0.02,) * 10


@contextlib.asynccontextmanager
async def bluez(folder, monkeypatch, air, **settings):
    """A fake org.bluez on the bus that bleak will take for the system's."""
    async with private_bus(folder) as address:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
        service = FakeBluez(air)
        await service.start(address, **settings)
        try:
            yield service
        finally:
            await service.stop()


async def test_reps_and_beeps_through_bleaks_own_backend(tmp_path, monkeypatch):
    late = read_recording(find("late"))
    expected = replay(late)
    async with (
        virtual_air(RadioLimits(mtu=185)) as air,
        bluez(tmp_path, monkeypatch, air) as service,
        virtual_board(late, air, tmp_path, speed=25.0) as board,
    ):
        events, broken = [], 0
        async with contextlib.aclosing(follow(Wanted(name=board.name), pauses_s=PAUSES_S)) as stream:
            async for event in stream:
                events.append(event)
                reps = [event for event in events if isinstance(event, RepArrived)]
                if len(reps) == 3 and not broken:
                    broken = air.lose_links()
                if len(reps) == board.reps_played:
                    break
        assert service.filters
    assert [decode_rep(event.record)[0] for event in reps] == expected.reps
    beeps = {(event.rep, event.kind) for event in events if isinstance(event, CueHeard)}
    # A beep that sounded while the link was broken is in its rep's record only.
    assert beeps
    assert beeps <= {(cue.rep, cue.kind) for cue in expected.cues}
    assert broken == 1
    assert [type(event) for event in events].count(LinkLost) == 1
    assert [type(event) for event in events].count(Connected) == 2


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"adapter": False}, "no Bluetooth adapter found; plug one in"),
        ({"powered": False}, "Bluetooth is off; switch it on"),
        ({"roles": ()}, "cannot do Bluetooth LE as a central"),
    ],
)
async def test_an_adapter_that_is_of_no_use(tmp_path, monkeypatch, settings, words):
    async with virtual_air() as air, bluez(tmp_path, monkeypatch, air, **settings):
        with pytest.raises(DeviceError, match=words):
            await anext(follow(Wanted()))


async def test_no_board_in_reach(tmp_path, monkeypatch):
    async with virtual_air() as air, bluez(tmp_path, monkeypatch, air):
        with pytest.raises(DeviceError, match=r"any board was not found within 0\.2 s"):
            await anext(follow(Wanted(), scan_s=0.2))


async def test_bluez_does_not_run(tmp_path, monkeypatch):
    async with private_bus(tmp_path) as address:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
        with pytest.raises(DeviceError, match="BlueZ"):
            await anext(follow(Wanted()))


async def test_no_bus_at_all(tmp_path, monkeypatch):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/nowhere")
    with pytest.raises(DeviceError, match="no system D-Bus"):
        await anext(follow(Wanted()))
