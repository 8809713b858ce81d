"""Byte layouts of all that the radio carries: sizes, names, identities."""

import re
import struct
import typing
import uuid

import pytest

from brakebeat.board.files import firmware_dir, load_wire
from brakebeat.results import FLAGS, BrakeTiming, CueKind
from tests.firmware.loaded import wire

LAYOUTS = [name for name in vars(wire) if name.endswith("_FIELDS")]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_fields(layout):
    fields = getattr(wire, layout)
    names = [name for name, _ in fields]
    assert len(set(names)) == len(names)
    sizes = [struct.calcsize("<" + code) for _, code in fields]
    assert struct.calcsize(wire.layout_format(fields)) == sum(sizes)
    for place, name in enumerate(names):
        assert wire.field_offset(fields, name) == sum(sizes[:place])


def test_every_layout_is_known_to_this_test():
    layouts = "REP RECORD_HEAD TIME LIVE RAW_HEAD STATUS COMMAND_HEAD ANSWER_HEAD HELLO"
    assert {name.removesuffix("_FIELDS") for name in LAYOUTS} == set(layouts.split())


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_format_that_boards_use_is_that_of_the_named_fields(layout):
    assert getattr(wire, layout.replace("_FIELDS", "_FORMAT")) == wire.layout_format(getattr(wire, layout))


def test_every_number_in_the_firmware_is_the_one_in_the_layouts():
    """Files of the firmware that need a number of `wire`'s comments have it as a compile-time constant."""
    seen = set()
    for path in (firmware_dir() / "brakebeat_fw").glob("*.py"):
        pattern = r"^_((?:RECORD|STATE|COMMAND|ERROR)_\w+) = const\((\d+)\)"
        for name, value in re.findall(pattern, path.read_text(encoding="utf-8"), re.MULTILINE):
            assert getattr(wire, name) == int(value), (path.name, name)
            seen.add(name)
    assert {"RECORD_REP", "RECORD_TIME"} <= seen
    record = (firmware_dir() / "brakebeat_fw" / "record.py").read_text(encoding="utf-8")
    timing = re.findall(r"^_TIMING_(\w+) = const\((\d+)\)", record, re.MULTILINE)
    names = {int(value): name.lower() for name, value in timing}
    assert names == wire.TIMING_NAMES | {255: "unknown"}


def test_sizes():
    """What boards in the field speak: a change of these is a change of the protocol."""
    assert (wire.REP_SIZE, wire.LIVE_SIZE, wire.COMMAND_HEAD_SIZE, wire.STATUS_SIZE) == (104, 18, 3, 324)
    sealed_rep = wire.RECORD_HEAD_SIZE + wire.REP_SIZE + wire.SEAL_SIZE
    # Answers fit a notification at the smallest MTU.
    assert wire.ANSWER_HEAD_SIZE + wire.HELLO_SIZE + wire.SEAL_SIZE == 20
    room = wire.DEFAULT_MTU - wire.NOTIFY_OVERHEAD - wire.PART_HEADER_SIZE
    assert -(-sealed_rep // room) <= wire.MAX_PARTS == wire.PART_INDEX_MASK + 1
    # A value is no longer than 512 bytes: Bluetooth Core, Vol 3 Part F, 3.2.9.
    assert wire.STATUS_SIZE + wire.SEAL_SIZE <= 512


def test_rep_starts_with_its_version_and_carries_single_precision():
    assert wire.REP_FIELDS[0] == ("version", "B")
    by_code: dict[str, list[str]] = {}
    for name, code in wire.REP_FIELDS:
        by_code.setdefault(code, []).append(name)
    assert by_code["Q"] == ["start_us"]
    assert all(name == "index" or name.endswith("_after_us") for name in by_code["I"])
    # An SI unit or a plain ratio.
    units = ("_rad_s", "_rad", "_j", "_w", "_nm", "_n", "_fraction")
    assert all(name.endswith(units) for name in by_code["f"])


def test_names_are_those_that_the_host_knows():
    assert set(wire.TIMING_NAMES.values()) == set(typing.get_args(BrakeTiming))
    assert set(wire.CUE_NAMES) == set(typing.get_args(CueKind))
    cues = {name.removesuffix("_cue_after_us") for name, _ in wire.REP_FIELDS if "_cue_" in name}
    assert cues == set(wire.CUE_NAMES)
    assert {name for _, name in wire.FLAG_NAMES} == set(FLAGS)
    for code in ("CUE_WINDOW", "CUE_LATE", "CUE_DROP_OFF", "CUE_SET_DONE"):
        assert wire.CUE_NAMES[getattr(wire, code)] == code.removeprefix("CUE_").lower()


def test_flags_are_single_bits_of_their_own():
    bits = [wire.FLAG_MOMENTUM, *(bit for bit, _ in wire.FLAG_NAMES)]
    assert len(set(bits)) == len(bits)
    for bit in bits:
        assert bit.bit_count() == 1
        assert bit < 2**16


def test_uuids_are_random_ones_and_differ():
    """Version 4 and the variant of RFC 9562."""
    texts = [value for name, value in vars(wire).items() if name.endswith("_UUID")]
    # None lies in the range that the Bluetooth SIG's 16-bit UUIDs stand for (base UUID from memory).
    assert not any(text.endswith("-0000-1000-8000-00805f9b34fb") for text in texts)
    assert len(set(texts)) == len(texts) == 6
    for text in texts:
        assert uuid.UUID(text).version == 4
        assert uuid.UUID(text).variant == uuid.RFC_4122


def test_the_host_reads_the_boards_own_file():
    host = load_wire()
    assert host is not wire
    for name in (*LAYOUTS, "ABSENT", "FLAG_NAMES", "CUE_NAMES", "TIMING_NAMES", "PROTOCOL_VERSION"):
        assert getattr(host, name) == getattr(wire, name)
