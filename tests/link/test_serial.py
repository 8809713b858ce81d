"""The same messages over a serial line: lines among console text, a real pty, and every trouble of a port in words."""

import asyncio
import contextlib
import errno
import os

import numpy as np
import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import DeviceError
from brakebeat.link import EdgesArrived, Ledger, LinkLost, RepArrived, StatusArrived, Wanted, follow
from brakebeat.link.connection import BoardConnection
from brakebeat.link.rig_transfer import send_rig
from brakebeat.link.serial_lines import LineReader, pack_line, unpack_line
from brakebeat.link.serial_link import SerialTransport
from brakebeat.link.serial_port import port_troubles, usb_ports
from brakebeat.link.transport import Channel
from tests.link.fake_board import FakeBoard, behind_a_pty
from tests.link.test_connection import edge_blocks

# -- lines ---------------------------------------------------------------------------------------------------


def test_a_line_as_the_protocol_has_it():
    # CRC-32 of b"Cabc" is 0x6280b01f (from zlib), least significant byte first.
    assert pack_line(Channel.CONTROL, b"abc") == b"$CYWJjH7CAYg==\n"


@given(st.sampled_from(Channel), st.binary(max_size=300))
def test_a_line_comes_back(channel, payload):
    assert unpack_line(pack_line(channel, payload)) == (channel, payload)


@given(st.lists(st.tuples(st.sampled_from(Channel), st.binary(max_size=60)), max_size=8), st.data())
def test_messages_among_console_text_in_any_pieces(messages, data):
    noise = st.binary(max_size=30).map(lambda text: text.replace(b"$", b"-"))
    stream = b""
    for channel, payload in messages:
        stream += data.draw(noise).replace(b"\n", b" ") + b"\n" + pack_line(channel, payload)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    reader, heard = LineReader(), []
    for begin, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        heard += reader.feed(stream[begin:end])
    assert heard == messages


def test_a_prompt_in_front_of_a_message_does_no_harm():
    assert LineReader().feed(b">>> " + pack_line(Channel.LIVE, b"x")) == [(Channel.LIVE, b"x")]


@given(st.binary(max_size=200))
def test_garbage_is_no_message(garbage):
    line = pack_line(Channel.REP, b"a record")
    reader = LineReader()
    heard = reader.feed(garbage + b"\n" + line)
    assert heard[-1:] == [(Channel.REP, b"a record")]
    damaged = bytearray(line)
    damaged[5] ^= 1
    assert unpack_line(bytes(damaged)) is None


def test_text_without_an_end_is_not_kept_for_ever():
    reader = LineReader()
    for _ in range(1000):
        reader.feed(b"x" * 1000)
    assert len(reader._rest) <= 4096


# -- a board behind a pty ------------------------------------------------------------------------------------


async def test_reps_and_raw_edges_over_a_serial_line():
    times, _, blocks = edge_blocks(10)
    board = FakeBoard(edges=blocks)
    board.add_reps(30)
    events = []
    async with behind_a_pty(board) as port:
        stream = follow(Wanted(port=port), ledger=Ledger(0), raw=True)
        async with contextlib.aclosing(stream) as coming:
            async for event in coming:
                events.append(event)
                if len(of(events, RepArrived)) == 30 and len(of(events, EdgesArrived)) == 10:
                    break
    assert [event.sequence for event in of(events, RepArrived)] == list(range(30))
    assert np.concatenate([event.t_us for event in of(events, EdgesArrived)]).tolist() == times.tolist()
    assert of(events, StatusArrived)


async def test_a_rig_file_over_a_serial_line():
    board, text, heard = FakeBoard(), b"pulses_per_rev = 6\n" * 40, []
    async with behind_a_pty(board) as port, BoardConnection(SerialTransport(port), Ledger()) as connection:
        await send_rig(connection, text, heard.append)
    assert board.rig == text
    assert heard[-1] == len(text)


async def test_a_board_that_falls_silent_is_lost_and_found_again():
    board = FakeBoard()
    board.add_reps(2)
    async with behind_a_pty(board) as port:
        transport = SerialTransport(port, silence_s=0.2)
        async with BoardConnection(transport, Ledger(0)) as connection:
            board.send = lambda _channel, _message: None
            board.status_message = lambda: (_ for _ in ()).throw(AssertionError("it is silent"))
            events = [event async for event in connection.events()]
    # The board's own status task has ended; the link is over, not hanging.
    assert len(of(events, RepArrived)) == 2


async def test_the_cable_is_pulled_out():
    board = FakeBoard()
    events = []

    async def follow_to_the_end(port):
        async for event in follow(Wanted(port=port), pauses_s=(0.01, 0.01)):
            events.append(event)
            pulled.set()

    pulled = asyncio.Event()
    async with behind_a_pty(board) as port:
        task = asyncio.create_task(follow_to_the_end(port))
        await pulled.wait()
    with pytest.raises(DeviceError, match=f"{port}: .*gave up after 2 more tries"):
        await task
    assert len(of(events, LinkLost)) == 3


async def test_something_else_on_the_port():
    class Chatter(FakeBoard):
        def status_message(self):
            return b""

    async with behind_a_pty(Chatter(), console=b"21.5 degrees\n" * 5) as port:
        transport = SerialTransport(port, silence_s=0.3)
        with pytest.raises(DeviceError, match=f"{port}: its status is damaged|{port}: no board answers"):
            async with BoardConnection(transport, Ledger(0)):
                pass


async def test_nothing_on_the_port():
    master, slave = os.openpty()
    port = os.ttyname(slave)
    with pytest.raises(DeviceError, match=f"{port}: no board answers on this port; check the cable"):
        async with BoardConnection(SerialTransport(port, silence_s=0.1), Ledger(0)):
            pass
    os.close(master)
    os.close(slave)


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


# -- troubles ------------------------------------------------------------------------------------------------


async def test_no_such_port(tmp_path):
    with pytest.raises(DeviceError, match="ttyACM7: there is no such port; `brakebeat scan` lists"):
        await anext(follow(Wanted(port=str(tmp_path / "ttyACM7"))))


async def test_something_that_is_no_port():
    with pytest.raises(DeviceError, match="/dev/null: this is no serial port"):
        await anext(follow(Wanted(port="/dev/null")))


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, "no permission to use this port .*dialout"),
        (errno.EBUSY, "another program uses this port"),
        (errno.EAGAIN, "another program uses this port"),
        (errno.EIO, "the port is gone; plug the board in again"),
        (errno.ENOTTY, "this is no serial port"),
        (errno.ENOSPC, "the serial port failed"),
    ],
)
def test_each_trouble_of_a_port_has_words(number, words):
    with pytest.raises(DeviceError, match=f"ttyACM0: {words}"), port_troubles("ttyACM0"):
        raise serial.SerialException(number, "could not open port")


async def test_a_port_that_another_program_holds():
    master, slave = os.openpty()
    port = os.ttyname(slave)
    with (
        serial.Serial(port, exclusive=True),
        pytest.raises(DeviceError, match="another program uses this port; close it there"),
    ):
        await SerialTransport(port).open(lambda _channel, _message: None, lambda: None)
    os.close(master)
    os.close(slave)


def test_ports_without_a_usb_device_are_not_offered(monkeypatch):
    class Found:
        def __init__(self, device, vid):
            self.device, self.vid, self.description = device, vid, "Board in FS mode"

    found = [Found("ttyS0", None), Found("ttyACM1", 0x2E8A), Found("ttyACM0", 0x2E8A)]
    monkeypatch.setattr("brakebeat.link.serial_port.list_ports.comports", lambda: found)
    assert [port.name for port in usb_ports()] == ["ttyACM0", "ttyACM1"]
