"""Pulses in, reps out: firmware on its VM, virtual radio, plain bleak; held against the replay."""

import asyncio
import contextlib
import dataclasses
import os

import numpy as np
import pytest

from brakebeat.board.engine import choose_engine, micropython_command
from brakebeat.board.messages import decode_rep
from brakebeat.board.replay import replay
from brakebeat.errors import DeviceError, InputError
from brakebeat.formats.recording import read_recording
from brakebeat.link import Connected, CueHeard, LinkLost, LiveArrived, RepArrived, Wanted, follow
from brakebeat.samples import find
from brakebeat.virtual import virtual_rig
from brakebeat.virtual.air import RadioLimits

SPEED = 25.0
PAUSES_S = (0.02,) * 10


@pytest.fixture(scope="module")
def late():
    """A set with late brakes in it."""
    return read_recording(find("late"))


@pytest.fixture(scope="module")
def expected(late):
    """What the firmware makes of it edge by edge."""
    analysis = replay(late)
    assert len(analysis.reps) >= 6
    return analysis


async def hear(rig, on_event=None, wanted=None):
    """Follow the rig until its recording is played and every rep of it has come; all events."""
    events = []
    async with contextlib.aclosing(follow(wanted or Wanted(), pauses_s=PAUSES_S)) as stream:
        async for event in stream:
            events.append(event)
            if on_event is not None:
                await on_event(event)
            played = rig.board.reps_played
            if played is not None and len(of(events, RepArrived)) >= played:
                return events
    raise AssertionError("unreachable")


async def first(wanted, **settings):
    """What a connection that is closed again at once begins with."""
    async with contextlib.aclosing(follow(wanted, **settings)) as stream:
        async for event in stream:
            if isinstance(event, Connected):
                return event
    raise AssertionError("unreachable")


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


def reps_and_cues(events, offset_us=0):
    """Reps and cues of the events on the recording's clock."""
    decoded = [decode_rep(event.record, offset_us) for event in of(events, RepArrived)]
    return [rep for rep, _ in decoded], [cue for _, cues in decoded for cue in cues]


def assert_same(events, expected, offset_us=0):
    reps, cues = reps_and_cues(events, offset_us)
    assert reps == expected.reps
    heard = {(cue.t_us, cue.rep, cue.kind) for cue in cues}
    assert heard == {(cue.t_us, cue.rep, cue.kind) for cue in expected.cues if cue.rep < len(reps)}


@pytest.mark.parametrize("mtu", [23, 185, 517])
async def test_every_rep_bit_for_bit_at_any_mtu(late, expected, mtu):
    async with virtual_rig(late, speed=SPEED, limits=RadioLimits(mtu=mtu)) as rig:
        events = await hear(rig)
    assert_same(events, expected)
    (connected,) = of(events, Connected)
    assert connected.status.trouble == ""
    assert connected.status.implementation == rig.engine == choose_engine()
    assert connected.name == rig.name
    assert not of(events, LinkLost)


async def test_the_same_firmware_on_cpython(late):
    async with virtual_rig(late, speed=SPEED, engine="cpython") as rig:
        events = await hear(rig)
    assert rig.engine == "cpython"
    assert_same(events, replay(late, engine="cpython"))


async def test_beeps_are_told_as_they_sound_and_live_states_between(late, expected):
    async with virtual_rig(late, speed=SPEED) as rig:
        events = await hear(rig)
    beeps = [(beep.rep, beep.kind) for beep in of(events, CueHeard)]
    assert sorted(beeps) == sorted((cue.rep, cue.kind) for cue in expected.cues)
    assert beeps
    sounded_s = {(cue.rep, cue.kind): cue.t_us // 1000 / 1000 for cue in expected.cues}
    assert all(beep.board_s == sounded_s[beep.rep, beep.kind] for beep in of(events, CueHeard))
    # A beep comes before the rep in which it sounded has ended.
    order = [event for event in events if isinstance(event, CueHeard | RepArrived)]
    for position, event in enumerate(order):
        if isinstance(event, CueHeard):
            assert event.rep not in [rep.rep.index for rep in of(order[:position], RepArrived)]
    lives = [event.live for event in of(events, LiveArrived)]
    assert {live.phase for live in lives} >= {"concentric", "eccentric"}
    assert max(live.speed_rad_s for live in lives) <= max(rep.peak_rad_s for rep in expected.reps) * 1.1
    assert max(live.speed_rad_s for live in lives) > 10


async def test_a_poor_radio_delays_but_loses_no_rep(late, expected):
    limits = RadioLimits(mtu=23, queue=3, event_interval_s=0.02, packets_per_event=1)
    async with virtual_rig(late, speed=SPEED, limits=limits) as rig:
        events = await hear(rig)
        status = (await first(Wanted())).status
    assert_same(events, expected)
    assert status.live_dropped > 0
    assert status.notify_retries > 0
    assert (status.reps_lost, status.reps_waiting) == (0, 0)


async def test_links_that_break_all_the_time(late, expected):
    async with virtual_rig(late, speed=SPEED, limits=RadioLimits(mtu=23)) as rig:
        broken = 0

        async def break_often(event):
            nonlocal broken
            if isinstance(event, RepArrived) or (isinstance(event, LiveArrived) and broken % 2):
                broken += rig.air.lose_links()

        events = await hear(rig, break_often)
    assert broken > 5
    assert len(of(events, LinkLost)) >= 5
    assert_same(events, expected)


async def test_reps_pulled_while_nobody_listened_are_there_afterwards(late, expected):
    async with virtual_rig(late, speed=200.0, wait_for_host=False) as rig:
        await rig.board.played.wait()
        events = await hear(rig)
    assert_same(events, expected)


async def test_a_recording_that_starts_beyond_the_boards_counter(late, expected):
    shift_us = 5_000_000_000
    later = dataclasses.replace(late, t_us=late.t_us + shift_us)
    async with virtual_rig(later, speed=200.0) as rig:
        events = await hear(rig)
    reps, _ = reps_and_cues(events, rig.offset_us)
    assert [rep.start_us - shift_us for rep in reps] == [rep.start_us for rep in expected.reps]


async def test_found_by_name_and_by_address(late):
    async with virtual_rig(late, speed=200.0) as rig:
        assert rig.name == "Brakebeat-B001"
        for wanted in (Wanted(name="brakebeat-b001"), Wanted(address=rig.board.address.lower())):
            connected = await first(wanted)
            assert (connected.name, connected.address) == (rig.name, rig.board.address)
        with pytest.raises(DeviceError, match=r"'other' was not found .* in reach: Brakebeat-B001"):
            await first(Wanted(name="other"), scan_s=0.3)


async def test_the_name_in_the_rig_file_is_advertised(late):
    named = late.rig.model_copy(update={"name": "barn wheel"})
    async with virtual_rig(late, speed=200.0, rig=named) as rig:
        assert rig.name == "barn wheel"
        assert (await first(Wanted(name="barn wheel"))).name == "barn wheel"


async def test_a_board_whose_battery_dies(late):
    async with virtual_rig(late, speed=SPEED) as rig:
        lost = 0

        async def kill_at_first_rep():
            nonlocal lost
            async for event in follow(Wanted(), scan_s=0.05, pauses_s=(0.01, 0.01)):
                lost += isinstance(event, LinkLost)
                if isinstance(event, RepArrived):
                    await rig.board.kill()

        with pytest.raises(DeviceError, match="gave up after 2 more tries"):
            await kill_at_first_rep()
    assert lost == 3


async def test_nothing_is_left_behind(late):
    async with virtual_rig(late, speed=200.0) as rig:
        await hear(rig)
        process, port = rig.board.process, rig.air.port
    assert process.returncode is not None
    assert asyncio.all_tasks() == {asyncio.current_task()}
    with pytest.raises(OSError, match=r"refused|Connect call failed"):
        await asyncio.open_connection("127.0.0.1", port)


async def test_an_empty_wheel_and_a_missing_file(tmp_path, late):
    still = dataclasses.replace(late, t_us=np.array([1_000_000]), step=np.array([0], dtype=np.int8))
    async with virtual_rig(still, speed=200.0) as rig:
        assert of(await hear(rig), RepArrived) == []
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        async with virtual_rig(tmp_path / "nowhere.csv"):
            pass


@pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")
async def test_a_firmware_that_does_not_start_is_quoted(late, monkeypatch, tmp_path):
    broken = tmp_path / "run_board.py"
    broken.write_text("raise RuntimeError('no such luck')\n")
    monkeypatch.setattr("brakebeat.virtual.rig.BOARD_SIDE", tmp_path)
    with pytest.raises(DeviceError, match="no such luck"):
        async with virtual_rig(late):
            pass


@pytest.mark.skipif(not hasattr(os, "getpgid"), reason="process groups of a POSIX system")
async def test_a_terminals_ctrl_c_does_not_reach_the_board(late):
    # It would die of it before it is put away, and asyncio would complain of a child that is gone.
    async with virtual_rig(late, speed=SPEED) as rig:
        assert os.getpgid(rig.board.process.pid) != os.getpgid(0)
