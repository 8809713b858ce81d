"""The board's radio against a BLE object of our own: full queues, silent hosts, advertising that fails."""

import struct
import uuid
from array import array

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.board_app.fake_ble import RAW, STATUS, Board
from tests.board_app.firmware import control, framing, journal, packed_rep, radio, wire
from tests.journal.model_flash import ModelFlash


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


def test_the_services_of_the_sig():
    """Assigned numbers: Bluetooth SIG GATT XML of 2011-13; a feature of wheel revolutions only is bit 0."""
    board = Board(**{"board.cycling": True})
    services = {service: dict(rows) for service, rows in board.ble.services[1:]}
    assert set(services) == {0x180A, 0x1816}
    assert set(services[0x180A]) == {0x2A24, 0x2A25, 0x2A26}
    assert services[0x1816] == {0x2A5B: 0x10, 0x2A5C: 0x02}
    values = list(board.ble.values.values())
    assert b"Brakebeat" in values
    assert b"f00d0000b0a1" in values
    assert b"\1\0" in values
    board.run(1)
    assert board.ble.advertised[0][1].endswith(b"\x03\x03\x16\x18")


def test_cycling_measurement():
    """Flags, revolutions, 1/1024 s: Bluetooth SIG XML of 2A5B; the published vector has wheel 365, time 32508."""
    board = Board(**{"board.cycling": True})
    board.tap.turns = 365
    # The tick of that event: 32508 / 1024 s, rounded up to a whole microsecond.
    board.tap.turn_ticks = -(-32508 * 1_000_000 // 1024)
    board.connect()
    board.run(1100)
    handle = max(board.ble.values) - 1
    sent = {data for to, data in board.ble.sent if to == handle}
    vector = bytes.fromhex("036D010000FC7E2C01F87E")
    assert sent == {b"\1" + vector[1:7]}


def test_not_even_offered_where_the_rig_file_says_nothing():
    assert [service for service, _ in Board().ble.services[1:]] == [0x180A]


def test_delivery_and_acknowledgement():
    board = Board()
    board.connect()
    for index in range(3):
        board.put(index)
    board.run(20)
    assert board.heard() == [0, 1, 2]
    assert [message[8:] for message in board.records_heard()] == [packed_rep(index) for index in range(3)]
    assert board.journal.waiting == 3
    board.acknowledge(1)
    board.run(2)
    assert board.journal.waiting == 1
    assert len(board.ble.answers) == 2


def test_a_host_asks_from_where_it_stopped():
    board = Board()
    for index in range(10):
        board.put(index)
    board.connect(start=7)
    board.run(50)
    assert board.heard() == [7, 8, 9]


def test_what_was_not_acknowledged_comes_again_after_a_while():
    board = Board()
    board.connect()
    for index in range(3):
        board.put(index)
    board.run(20)
    board.acknowledge(0)
    board.run(4900)
    assert board.heard() == [0, 1, 2]
    board.run(300)
    assert board.heard() == [0, 1, 2, 1, 2]
    board.acknowledge(2)
    board.run(20_000)
    assert board.heard() == [0, 1, 2, 1, 2]


def test_what_a_host_acknowledges_as_it_leaves_counts():
    board = Board()
    board.connect()
    board.put(0)
    board.run(20)
    board.acknowledge(0)
    board.disconnect()
    assert board.journal.waiting == 0


def test_a_host_that_comes_in_the_same_moment_as_the_last_one_leaves_is_heard():
    board = Board()
    board.connect()
    board.ble.handler(2, (64, 1, memoryview(bytes(6))))
    board.connect()
    board.put(0)
    board.run(20)
    assert board.heard() == [0]


def test_holes_are_passed_over():
    board = Board()
    board.journal = journal.Journal(ModelFlash(blocks=8, pages=17, step=128))
    for _ in range(8):
        board.journal.service(True)
    for index in range(60):
        board.put(index)
        if index % 20:
            # A page gone bad, as a torn one is from the start.
            block, page = divmod(board.journal.next - 1, 16)
            board.journal._region.data[block][(page + 1) * 128 + 50] ^= 1
    board.connect()
    board.run(200)
    assert board.heard() == [0, 20, 40]


def test_a_silent_host_gets_records_after_a_while_and_none_twice():
    board = Board()
    board.put(0)
    board.connect(listen=False)
    board.run(2900)
    assert board.ble.sent == []
    board.run(200)
    assert board.heard() == [0]
    board.run(20_000)
    assert board.heard() == [0]
    board.disconnect()
    board.ble.sent.clear()
    board.connect(listen=False)
    board.run(3200)
    assert board.heard() == []


def test_a_link_that_breaks_in_the_middle_of_a_record_costs_a_silent_host_nothing():
    board = Board(room=3)
    board.put(0)
    board.connect(listen=False)
    board.run(3200)
    assert board.heard() == []
    board.disconnect()
    board.ble.sent.clear()
    board.ble.room = 1000
    board.connect(listen=False)
    board.run(3200)
    assert board.heard() == [0]


def test_live_about_twenty_times_a_second():
    board = Board()
    board.connect()
    board.run(10_000)
    assert 190 <= len(board.lives_heard()) <= 201


def test_a_full_queue_drops_and_counts_live_messages_but_no_record():
    board = Board(room=0)
    board.connect()
    board.run(20, room_each_ms=1)
    board.ble.sent.clear()
    board.ble.room = 0
    for index in range(4):
        board.put(index)
        board.run(1000)
    assert board.ble.sent == []
    assert board.radio.live_dropped == pytest.approx(80, abs=3)
    assert board.radio.retries > 100
    board.run(100, room_each_ms=1)
    assert board.heard() == [0, 1, 2, 3]
    assert board.lives_heard()[-1][-1] == board.radio.live_dropped


def test_a_slow_link_carries_records_before_live_messages():
    board = Board(room=0)
    board.connect()
    board.run(20, room_each_ms=1)
    for index in range(8):
        board.put(index)
    # One notification in 100 ms: fewer than live messages alone would want.
    for _ in range(90):
        board.run(100)
        board.ble.room += 1
    firsts = list(dict.fromkeys(board.heard()))
    assert firsts == list(range(8))
    assert board.journal.lost == 0


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
    board = Board()
    board.connect()
    board.ble.room = len(board.ble.sent)
    board.cues.put(wire.CUE_LATE, 0, 5000)
    board.run(300)
    before = len(board.lives_heard())
    board.run(10, room_each_ms=1)
    assert board.lives_heard()[before][2:4] == (1, wire.CUE_LATE)


def test_status_is_sealed_and_hinted_at_where_its_state_changes_and_now_and_then():
    board = Board()
    board.connect()
    board.run(5000)
    value = board.ble.values[STATUS]
    assert framing.checksum(value[:-4]) == value[-4:]
    hints = [data for handle, data in board.ble.sent if handle == STATUS]
    assert all(len(hint) == 20 and hint[0] == wire.PROTOCOL_VERSION for hint in hints)
    before = len(hints)
    board.encrypt()
    board.run(1100)
    hints = [data for handle, data in board.ble.sent if handle == STATUS]
    assert len(hints) == before + 1
    assert hints[-1][1] & wire.STATE_TRUSTED
    board.run(10_100)
    assert len([1 for handle, _ in board.ble.sent if handle == STATUS]) >= before + 2


@given(data=st.data())
def test_every_record_arrives_whatever_the_queue_and_the_link_do(data):
    """Queue room, link losses, acknowledgements at random: in the end each was heard, whole, in order."""
    board = Board(room=0)
    heard, index, connected = [], 0, False
    for _ in range(data.draw(st.integers(1, 40))):
        match data.draw(st.sampled_from(["rep", "run", "room", "connect", "lose", "acknowledge"])):
            case "rep" if index < 30:
                board.put(index)
                index += 1
            case "run":
                board.run(data.draw(st.integers(1, 60)))
            case "room":
                board.ble.room += data.draw(st.integers(1, 15))
            case "connect" if not connected:
                board.ble.sent.clear()
                board.ble.room = 0
                board.connect(start=heard[-1] + 1 if heard else 0)
                connected = True
            case "lose" if connected:
                heard += board.heard()
                board.disconnect()
                connected = False
            case "acknowledge" if connected and (got := board.heard()):
                board.acknowledge(got[-1])
                board.run(1)
    if connected:
        heard += board.heard()
        board.disconnect()
    board.ble.sent.clear()
    board.ble.room = 10_000
    board.connect(start=heard[-1] + 1 if heard else 0)
    board.run(400)
    heard += board.heard()
    assert list(dict.fromkeys(heard)) == list(range(index))
    assert board.journal.lost == 0


# -- raw edges ---------------------------------------------------------------------------------------------------


def decoded(messages):
    """(time, step) of every edge in raw notifications, numbers checked."""
    edges = []
    for number, message in enumerate(messages):
        head = dict(zip(["number", "lost", "first_us"], struct.unpack_from("<HHI", message), strict=True))
        assert head["number"] == number & 0xFFFF
        time, value, shift = head["first_us"], 0, 0
        for byte in message[8:]:
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                time += value >> 2
                edges.append((time, {0: 0, 1: 1, 3: -1}[value & 3]))
                value = shift = 0
        assert shift == 0
    return edges


@settings(max_examples=50)
@given(
    st.lists(st.tuples(st.integers(0, 2**29), st.sampled_from([0, 1, -1])), max_size=200),
    st.integers(23, 247),
)
def test_raw_edges_come_as_they_were(steps, mtu):
    board = Board()
    board.connect()
    board.encrypt()
    board.ble.handler(21, (64, mtu))
    board.run(1)
    assert board.error_of(control._COMMAND_RAW_START) == 0
    time, expected = 0, []
    for delta, step in steps:
        time += delta
        expected.append((time, step))
        # The clock of this board's session stands at the ticks, which are unwrapped here.
        board.tap.feed(array("i", [time & 0x3FFFFFFF]), array("b", [step]), 1)
    board.run(100)
    messages = [data for handle, data in board.ble.sent if handle == RAW]
    assert all(len(message) <= mtu - 3 for message in messages)
    heard = [(time & 0x3FFFFFFF, step) for time, step in decoded(messages)]
    assert heard == [(time & 0x3FFFFFFF, step) for time, step in expected]
    assert board.session.fed == [(time & 0x3FFFFFFF, step) for time, step in expected]


def test_lost_raw_edges_are_counted_and_silence_is_told():
    board = Board()
    board.connect()
    board.encrypt()
    board.error_of(control._COMMAND_RAW_START)
    for _ in range(20):
        board.tap.feed(array("i", range(64)), array("b", [0] * 64), 64)
    board.source.lost += 5
    board.run(200)
    messages = [data for handle, data in board.ble.sent if handle == RAW]
    heard = len(decoded(messages))
    (lost,) = struct.unpack_from("<H", messages[-1], 2)
    assert heard + lost == 20 * 64 + 5
    assert board.tap.all_lost == lost
    before = len(messages)
    board.run(3100)
    alive = [data for handle, data in board.ble.sent if handle == RAW][before:]
    assert [len(message) for message in alive] == [8, 8, 8]
    board.disconnect()
    assert not board.tap.on
    assert board.tap.all_lost == lost


def test_ten_minutes_of_six_hundred_edges_a_second_over_a_link_that_stalls_now_and_then():
    board = Board()
    board.connect()
    board.encrypt()
    board.ble.handler(21, (64, 185))
    board.error_of(control._COMMAND_RAW_START)
    board.ble.room = 0
    time_us, expected, messages = 7_000_000, [], []
    for step in range(60_000):
        times = array("i", range(time_us, time_us + 10_000, 1667))
        expected += times
        board.tap.feed(times, array("b", [0] * len(times)), len(times))
        time_us += 10_002
        board.now_ms += 10
        # Each second the link stalls for half of one, and its queue fills up.
        board.ble.room = 0 if step % 100 < 50 else 12
        while board.radio.service(board.now_ms):
            pass
        messages += [data for handle, data in board.ble.sent if handle == RAW]
        board.ble.sent.clear()
    board.ble.room = 10_000
    board.run(100)
    messages += [data for handle, data in board.ble.sent if handle == RAW]
    assert len(expected) == 360_000
    assert [time for time, _ in decoded(messages)] == expected
    assert board.tap.lost == 0
