"""The board's radio against a BLE object of our own: full queues, silent hosts, advertising that fails."""

import errno
import struct
import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.link.reassembly import Reassembler
from tests.board_app.firmware import outbox, packed_rep, radio, wire

CONNECTION = 64
REP, LIVE, STATUS, CONTROL = 13, 16, 19, 21


class Ble:
    """As much of MicroPython's BLE as the radio uses; ``room`` notifications fit its queue."""

    def __init__(self, room=1000):
        self.room = room
        self.sent = []
        self.advertised = []
        self.advertising_fails = 0
        self.written = b""
        self.values = {}
        self.handler = None

    def active(self, on):
        assert on

    def config(self, *names, **settings):
        if names:
            return (1, bytes.fromhex("f00d0000b0a1"))
        if "gap_name" in settings:
            raise ValueError("unknown config param")
        return None

    def irq(self, handler):
        self.handler = handler

    def gatts_register_services(self, services):
        ((self.service, self.characteristics),) = services
        return ((REP, LIVE, STATUS, CONTROL),)

    def gatts_set_buffer(self, handle, length, append=False):
        pass

    def gatts_write(self, handle, data, send_update=False):
        self.values[handle] = bytes(data)

    def gatts_read(self, handle):
        assert handle == CONTROL
        written, self.written = self.written, b""
        return written

    def gatts_notify(self, connection, handle, data):
        if len(self.sent) >= self.room:
            raise OSError(errno.ENOMEM)
        self.sent.append((handle, bytes(data)))

    def gap_advertise(self, interval_us, adv_data=None, resp_data=None):
        if self.advertising_fails:
            self.advertising_fails -= 1
            raise OSError(errno.EBUSY)
        self.advertised.append((interval_us, adv_data, resp_data))


class Board:
    """A radio with its queues, driven by a clock of our own."""

    def __init__(self, room=1000, name=""):
        self.ble = Ble(room)
        self.reps = outbox.RepQueue(8)
        self.cues = outbox.CueLine()
        self.now_ms = 5000
        self.radio = radio.Radio(
            self.ble, uuid.UUID, name, self.reps, self.cues, self._live, lambda buffer: None
        )
        self.radio.start()

    def _live(self, buffer, dropped):
        count, kind, rep, ms = self.cues.current(1)
        values = (0, 0, count, kind, rep, 0, ms, 0, dropped & 0xFFFF)
        struct.pack_into(wire.LIVE_FORMAT, buffer, 0, *values)

    def run(self, duration_ms, room_each_ms=0):
        for _ in range(duration_ms):
            self.now_ms += 1
            self.ble.room += room_each_ms
            for _ in range(50):
                if not self.radio.service(self.now_ms):
                    break

    def connect(self, listen=True):
        self.ble.handler(1, (CONNECTION, 1, memoryview(bytes(6))))
        if listen:
            self.write(struct.pack(wire.COMMAND_FORMAT, wire.COMMAND_LISTEN, 1))
        self.run(1)

    def disconnect(self):
        self.ble.handler(2, (CONNECTION, 1, memoryview(bytes(6))))
        self.run(1)

    def write(self, commands):
        self.ble.written += commands
        self.ble.handler(3, (CONNECTION, CONTROL))

    def acknowledge(self, index):
        self.write(struct.pack(wire.COMMAND_FORMAT, wire.COMMAND_ACKNOWLEDGE, index))

    def reps_heard(self):
        parts = Reassembler()
        whole = [parts.feed(data) for handle, data in self.ble.sent if handle == REP]
        assert parts.damaged == 0
        return [outbox.rep_index(message) for message in whole if message is not None]

    def lives_heard(self):
        return [struct.unpack(wire.LIVE_FORMAT, data) for handle, data in self.ble.sent if handle == LIVE]


def test_advertising_fits_and_names_the_service():
    board = Board()
    board.run(1)
    ((interval_us, data, response),) = board.ble.advertised
    assert 20_000 <= interval_us <= 1_000_000
    assert len(data) <= 31
    assert len(response) <= 31
    # Flags, then the complete list of 128-bit UUIDs, little-endian (advertising data types from memory).
    assert data[:5] == b"\x02\x01\x06\x11\x07"
    assert uuid.UUID(bytes=data[:4:-1]) == uuid.UUID(wire.SERVICE_UUID)
    assert response == bytes([15, 0x09]) + b"Brakebeat-B0A1"
    assert board.radio.name == "Brakebeat-B0A1"


def test_uuids_are_our_own_random_ones():
    texts = [wire.SERVICE_UUID, wire.REP_UUID, wire.LIVE_UUID, wire.STATUS_UUID, wire.CONTROL_UUID]
    parsed = [uuid.UUID(text) for text in texts]
    assert len(set(parsed)) == len(parsed)
    # None lies in the range that the Bluetooth SIG's 16-bit UUIDs stand for (base UUID from memory).
    assert not any(text.endswith("-0000-1000-8000-00805f9b34fb") for text in texts)
    assert all(one.version == 4 for one in parsed)


@given(st.text(min_size=1, max_size=40))
def test_any_name_fits_the_scan_response(name):
    response = radio.scan_response(name)
    assert len(response) <= 31
    assert name.startswith(response[2:].decode())
    assert response[0] == len(response) - 1


def test_advertises_again_within_a_second_of_a_lost_link_even_if_the_stack_is_busy():
    board = Board()
    board.run(1)
    board.connect()
    board.ble.advertising_fails = 3
    board.disconnect()
    board.run(998)
    assert len(board.ble.advertised) == 2


def test_connection_that_ends_before_anyone_looked():
    board = Board()
    board.run(1)
    board.ble.handler(1, (CONNECTION, 1, memoryview(bytes(6))))
    board.disconnect()
    board.run(300)
    assert len(board.ble.advertised) == 2
    assert not board.radio.connected


def test_reps_wait_for_a_host_and_all_arrive():
    board = Board()
    for index in range(5):
        board.reps.put(packed_rep(index))
    board.run(10)
    board.connect()
    board.run(100)
    assert board.reps_heard() == [0, 1, 2, 3, 4]
    assert board.reps.waiting == 5
    board.acknowledge(4)
    board.run(10)
    assert board.reps.waiting == 0


def test_what_was_not_acknowledged_is_sent_again_to_the_next_host():
    board = Board()
    board.connect()
    for index in range(3):
        board.reps.put(packed_rep(index))
    board.run(20)
    board.acknowledge(0)
    board.run(20)
    board.disconnect()
    board.ble.sent.clear()
    board.connect()
    board.run(20)
    assert board.reps_heard() == [1, 2]


def test_what_a_host_acknowledges_as_it_leaves_counts():
    board = Board()
    board.connect()
    board.reps.put(packed_rep(0))
    board.run(20)
    board.acknowledge(0)
    board.disconnect()
    assert board.reps.waiting == 0


def test_a_host_that_comes_in_the_same_moment_as_the_last_one_leaves_is_heard():
    board = Board()
    board.connect()
    board.ble.handler(2, (CONNECTION, 1, memoryview(bytes(6))))
    board.connect()
    board.reps.put(packed_rep(0))
    board.run(20)
    assert board.reps_heard() == [0]
    assert board.reps.waiting == 1


def test_a_host_may_ask_again():
    board = Board()
    board.connect()
    board.reps.put(packed_rep(0))
    board.run(20)
    board.write(struct.pack(wire.COMMAND_FORMAT, wire.COMMAND_LISTEN, 1))
    board.run(20)
    assert board.reps_heard() == [0, 0]


def test_a_silent_host_gets_reps_after_a_while_and_none_twice():
    board = Board()
    board.reps.put(packed_rep(0))
    board.connect(listen=False)
    board.run(2900)
    assert board.ble.sent == []
    board.run(200)
    assert board.reps_heard() == [0]
    board.disconnect()
    board.ble.sent.clear()
    board.connect(listen=False)
    board.run(3200)
    assert board.reps_heard() == []


def test_a_link_that_breaks_in_the_middle_of_a_rep_costs_a_silent_host_nothing():
    board = Board(room=3)
    board.reps.put(packed_rep(0))
    board.connect(listen=False)
    board.run(3200)
    assert board.reps_heard() == []
    board.disconnect()
    board.ble.sent.clear()
    board.ble.room = 1000
    board.connect(listen=False)
    board.run(3200)
    assert board.reps_heard() == [0]


def test_live_about_twenty_times_a_second():
    board = Board()
    board.connect()
    board.run(10_000)
    assert 190 <= len(board.lives_heard()) <= 201


def test_a_full_queue_drops_and_counts_live_messages_but_no_rep():
    board = Board(room=0)
    board.connect()
    for index in range(4):
        board.reps.put(packed_rep(index))
        board.run(1000)
    assert board.ble.sent == []
    assert board.radio.live_dropped == pytest.approx(80, abs=3)
    assert board.radio.retries > 100
    board.run(100, room_each_ms=1)
    assert board.reps_heard() == [0, 1, 2, 3]
    assert board.lives_heard()[-1][-1] == board.radio.live_dropped


def test_a_slow_link_carries_reps_before_live_messages():
    board = Board(room=0)
    board.connect()
    for index in range(8):
        board.reps.put(packed_rep(index))
    # One notification in 100 ms: fewer than live messages alone would want.
    for _ in range(80):
        board.run(100)
        board.ble.room += 1
    assert board.reps_heard() == list(range(8))
    assert board.reps.lost == 0


def test_each_cue_is_announced_even_where_several_come_at_once():
    board = Board()
    board.connect()
    board.run(100)
    for kind in (wire.CUE_DROP_OFF, wire.CUE_SET_DONE, wire.CUE_LATE):
        board.cues.put(kind, 7, 123_000)
    before = len(board.lives_heard())
    board.run(3)
    heard = board.lives_heard()[before:]
    assert [(live[2], live[3]) for live in heard] == [(1, 2), (2, 3), (3, 1)]
    board.run(200)
    assert board.lives_heard()[-1][2:4] == (3, 1)


def test_a_cue_that_finds_the_queue_full_is_announced_later():
    board = Board(room=0)
    board.connect()
    board.cues.put(wire.CUE_LATE, 0, 5000)
    board.run(300)
    board.run(10, room_each_ms=1)
    assert board.lives_heard()[0][2:4] == (1, wire.CUE_LATE)


@given(st.binary(max_size=120))
def test_garbage_commands_change_nothing_but_what_they_say(commands):
    board = Board()
    board.reps.put(packed_rep(0xFFFFFF))
    board.connect()
    board.run(5)
    board.write(commands)
    board.run(20)
    assert board.reps.waiting in (0, 1)
    assert board.reps.lost == 0


@given(data=st.data())
def test_every_rep_arrives_whatever_the_queue_and_the_link_do(data):
    """Queue room, link losses, acknowledgements at random: in the end each rep was heard, whole, in order."""
    board = Board(room=0)
    heard, index, connected = [], 0, False
    for _ in range(data.draw(st.integers(1, 40))):
        match data.draw(st.sampled_from(["rep", "run", "room", "connect", "lose", "acknowledge"])):
            case "rep" if board.reps.waiting < 8:
                board.reps.put(packed_rep(index))
                index += 1
            case "run":
                board.run(data.draw(st.integers(1, 60)))
            case "room":
                board.ble.room += data.draw(st.integers(1, 15))
            case "connect" if not connected:
                board.ble.sent.clear()
                board.ble.room = 0
                board.connect()
                connected = True
            case "lose" if connected:
                heard += board.reps_heard()
                board.disconnect()
                connected = False
            case "acknowledge" if connected and (got := board.reps_heard()):
                board.acknowledge(got[-1])
                board.run(1)
    if connected:
        heard += board.reps_heard()
        board.disconnect()
    board.ble.sent.clear()
    board.ble.room = 1000
    board.connect()
    board.run(200)
    heard += board.reps_heard()
    firsts = list(dict.fromkeys(heard))
    assert firsts == list(range(index))
    assert board.reps.lost == 0
