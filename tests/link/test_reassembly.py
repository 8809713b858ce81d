"""Parts of messages: whole ones come through at any MTU, nothing else ever does."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.link.reassembly import Reassembler, unseal
from tests.board_app.firmware import framing, wire

MESSAGES = st.binary(min_size=1, max_size=400)
MTUS = st.integers(wire.DEFAULT_MTU, 517)


def parts_of(splitter, message, mtu):
    """All parts of ``message``, as the board would notify them."""
    splitter.load(message + framing.checksum(message), mtu)
    parts = []
    while splitter.busy:
        parts.append(bytes(splitter.part()))
        splitter.advance()
    return parts


@given(messages=st.lists(MESSAGES, min_size=1, max_size=8), mtu=MTUS)
def test_any_message_at_any_mtu(messages, mtu):
    splitter, reassembler = framing.Splitter(), Reassembler()
    for message in messages:
        parts = parts_of(splitter, message, mtu)
        assert all(len(part) <= mtu - wire.NOTIFY_OVERHEAD for part in parts)
        answers = [reassembler.feed(part) for part in parts]
        assert answers == [None] * (len(parts) - 1) + [message]
    assert (reassembler.lost, reassembler.damaged) == (0, 0)


def test_a_rep_fits_six_notifications_at_the_smallest_mtu():
    splitter = framing.Splitter()
    parts = parts_of(splitter, bytes(range(wire.REP_SIZE)), wire.DEFAULT_MTU)
    assert [len(part) for part in parts] == [20] * 6


def test_an_mtu_below_the_least_counts_as_the_least():
    splitter = framing.Splitter()
    assert parts_of(splitter, bytes(100), 5)[0][2:] == parts_of(splitter, bytes(100), 23)[0][2:]


def test_numbers_run_round():
    splitter, reassembler = framing.Splitter(), Reassembler()
    for count in range(600):
        message = count.to_bytes(40, "little")
        answers = [reassembler.feed(part) for part in parts_of(splitter, message, 23)]
        assert answers[-1] == message
    assert reassembler.lost == 0


@st.composite
def mangled_streams(draw):
    """Messages, and their parts after a bad link: lost, doubled, moved, changed, and garbage in between."""
    messages = draw(st.lists(MESSAGES, min_size=1, max_size=12))
    splitter = framing.Splitter()
    mtu = draw(MTUS)
    stream = [part for message in messages for part in parts_of(splitter, message, mtu)]
    for _ in range(draw(st.integers(0, 12))):
        position = draw(st.integers(0, len(stream)))
        match draw(st.sampled_from(["lose", "double", "move", "change", "garbage"])):
            case "garbage":
                stream.insert(position, draw(st.binary(max_size=30)))
            case _ if position == len(stream):
                continue
            case "lose":
                del stream[position]
            case "double":
                stream.insert(draw(st.integers(0, len(stream))), stream[position])
            case "move":
                stream.insert(draw(st.integers(0, len(stream) - 1)), stream.pop(position))
            case "change":
                part = bytearray(stream[position])
                if part:
                    part[draw(st.integers(0, len(part) - 1))] ^= draw(st.integers(1, 255))
                stream[position] = bytes(part)
    return messages, stream


@given(mangled_streams())
def test_never_a_wrong_message(case):
    messages, stream = case
    reassembler = Reassembler()
    received = [message for part in stream if (message := reassembler.feed(part)) is not None]
    for message in received:
        assert message in messages


@given(messages=st.lists(MESSAGES, min_size=2, max_size=9, unique=True), data=st.data())
def test_a_lost_part_costs_its_message_only_and_is_counted(messages, data):
    splitter, reassembler = framing.Splitter(), Reassembler()
    victim = data.draw(st.integers(0, len(messages) - 2))
    received = []
    for number, message in enumerate(messages):
        parts = parts_of(splitter, message, 23)
        if number == victim:
            del parts[data.draw(st.integers(0, len(parts) - 1))]
        received += [whole for part in parts if (whole := reassembler.feed(part)) is not None]
    # Nothing can be said of a first message of which nothing came: numbers start anywhere.
    unseen = victim == 0 and len(parts_of(framing.Splitter(), messages[0], 23)) == 1
    assert received == [message for number, message in enumerate(messages) if number != victim]
    assert reassembler.lost == (0 if unseen else 1)


@given(messages=st.lists(MESSAGES, min_size=1, max_size=6, unique=True), data=st.data())
def test_doubled_parts_change_nothing(messages, data):
    splitter, reassembler = framing.Splitter(), Reassembler()
    received = []
    for message in messages:
        for part in parts_of(splitter, message, 23):
            for _ in range(data.draw(st.integers(1, 3))):
                whole = reassembler.feed(part)
                received += [] if whole is None else [whole]
    assert received == messages
    assert (reassembler.lost, reassembler.damaged) == (0, 0)


@given(st.lists(st.binary(max_size=30), max_size=40))
def test_garbage_is_survived(stream):
    reassembler = Reassembler()
    for part in stream:
        # A chance of 2^-32 that garbage carries its own checksum.
        assert reassembler.feed(part) is None


@pytest.mark.parametrize("sealed", [b"", b"abc", b"\0\0\0\1", b"abc\0\0\0\0"])
def test_a_seal_that_does_not_fit(sealed):
    assert unseal(sealed) is None


def test_the_seal_is_the_crc_32_of_the_catalogue():
    # CRC-32 (ISO-HDLC) of "123456789" is 0xCBF43926: the check value of that algorithm, from memory.
    assert framing.checksum(b"123456789") == (0xCBF43926).to_bytes(4, "little")
    assert unseal(b"123456789" + (0xCBF43926).to_bytes(4, "little")) == b"123456789"
