"""Byte layouts of all that the radio carries: sizes, names, identities."""

import struct
import typing
import uuid

import pytest

from brakebeat.board.files import load_wire
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
    assert set(LAYOUTS) == {"REP_FIELDS", "LIVE_FIELDS", "STATUS_FIELDS", "COMMAND_FIELDS"}


def test_sizes():
    """What boards in the field speak: a change of these is a change of the protocol."""
    assert (wire.REP_SIZE, wire.LIVE_SIZE, wire.COMMAND_SIZE) == (104, 18, 5)
    sealed_rep = wire.REP_SIZE + wire.SEAL_SIZE
    room = wire.DEFAULT_MTU - wire.NOTIFY_OVERHEAD - wire.PART_HEADER_SIZE
    assert -(-sealed_rep // room) <= wire.MAX_PARTS == wire.PART_INDEX_MASK + 1
    # A value is no longer than 512 bytes: Bluetooth Core, Vol 3 Part F, 3.2.9.
    assert wire.STATUS_SIZE <= 512


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
    assert len(set(texts)) == len(texts) == 6
    for text in texts:
        assert uuid.UUID(text).version == 4
        assert uuid.UUID(text).variant == uuid.RFC_4122


def test_the_host_reads_the_boards_own_file():
    host = load_wire()
    assert host is not wire
    for name in (*LAYOUTS, "ABSENT", "FLAG_NAMES", "CUE_NAMES", "TIMING_NAMES", "PROTOCOL_VERSION"):
        assert getattr(host, name) == getattr(wire, name)
