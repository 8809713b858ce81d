"""Where an onset fell, and what a packed record says."""

import struct
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.board.messages import decode_rep
from brakebeat.formats.rig import BRAKE_PRESETS
from tests.firmware.loaded import record, wire

NAN = float("nan")


def label(fraction: float, target: float, tolerance: float) -> str:
    return wire.TIMING_NAMES[record.timing(fraction, True, target, tolerance)]


@pytest.mark.parametrize(("target", "tolerance"), BRAKE_PRESETS.values())
def test_the_window_includes_its_edges(target, tolerance):
    """The brake window is target ± tolerance; later is late, sooner is early."""
    first, last = target - tolerance, target + tolerance
    least = 1e-9
    assert [label(f, target, tolerance) for f in (0.0, first - least)] == ["early", "early"]
    assert [label(f, target, tolerance) for f in (first, target, last)] == ["inside"] * 3
    assert [label(f, target, tolerance) for f in (last + least, 1.0, 1.3)] == ["late"] * 3


@given(st.floats(0, 1), st.floats(0, 0.5), st.floats(-0.5, 1.5), st.floats(-0.5, 1.5))
def test_later_is_never_earlier(target, tolerance, one, other):
    order = ("early", "inside", "late")
    sooner, later = (order.index(label(f, target, tolerance)) for f in sorted((one, other)))
    assert sooner <= later
    assert label(target, target, tolerance) == "inside"


def test_without_a_brake_or_without_knowing():
    assert wire.TIMING_NAMES[record.timing(NAN, False, 0.25, 0.1)] == "none"
    assert record.timing(NAN, None, 0.25, 0.1) == record._TIMING_UNKNOWN
    assert record._TIMING_UNKNOWN not in wire.TIMING_NAMES


def figures(**changes):
    """A rep's figures as the firmware hands them to be packed."""
    values = {
        "extension_s": 0.8,
        "peak_s": 0.75,
        "onset_s": 1.0,
        "peak_rad_s": 80.5,
        "concentric_rad": 38.0,
        "eccentric_rad": 37.5,
        "brake_fraction": 0.25,
        "concentric": (400.0, 500.0, 900.0, 20.0, 700.0),
        "eccentric": (390.0, 480.0, 1100.0, 25.0, 900.0),
    }
    return SimpleNamespace(**(values | changes))


def packed(start_us=5_000_000, duration_us=1_600_000, cues=(wire.ABSENT,) * 4, flags=0, **changes):
    buffer = bytearray(wire.REP_SIZE)
    record.pack(
        buffer, figures(**changes), record._TIMING_INSIDE, flags, 7, start_us, duration_us, list(cues)
    )
    return bytes(buffer)


def test_what_is_packed_is_what_is_read():
    flags = wire.FLAG_MOMENTUM | wire.FLAG_REPAIRED
    rep, cues = decode_rep(packed(flags=flags, cues=(900_000, wire.ABSENT, 800_000, wire.ABSENT)))
    assert (rep.index, rep.momentum, rep.flags, rep.brake_timing) == (7, True, ["repaired"], "inside")
    assert (rep.start_us, rep.extension_us, rep.end_us) == (5_000_000, 5_800_000, 6_600_000)
    assert (rep.peak_us, rep.brake_onset_us) == (5_750_000, 6_000_000)
    assert (rep.peak_rad_s, rep.concentric_rad, rep.eccentric_rad) == (80.5, 38.0, 37.5)
    assert rep.concentric.duration_s == pytest.approx(0.8)
    assert rep.eccentric.duration_s == pytest.approx(0.8)
    assert (rep.concentric.energy_j, rep.eccentric.peak_force_n) == (400.0, 900.0)
    assert rep.ratio_mean_power == pytest.approx(480 / 500)
    assert [(cue.kind, cue.rep, cue.t_us) for cue in cues] == [
        ("drop_off", 7, 5_800_000),
        ("window", 7, 5_900_000),
    ]


def test_what_is_unknown_is_null():
    unknown = (NAN,) * 5
    rep, cues = decode_rep(packed(onset_s=None, brake_fraction=NAN, concentric=unknown, eccentric=unknown))
    assert rep.brake_onset_us is None
    assert rep.brake_fraction is None
    assert rep.ratio_peak_power is None
    assert rep.concentric.energy_j is None
    assert rep.concentric.duration_s == pytest.approx(0.8)
    assert cues == []


def test_a_longer_record_of_a_newer_board_is_read_and_a_shorter_one_refused():
    whole = packed()
    assert decode_rep(whole + b"\x07" * 9) == decode_rep(whole)
    with pytest.raises(ValueError, match="rep record of 103 bytes, at least 104"):
        decode_rep(whole[:-1])


def test_a_start_before_the_clocks_zero_moves_nothing_but_the_start():
    """A board's clock may start with the first edge; the record has no time before zero."""
    rep, _ = decode_rep(packed(start_us=-200_000))
    assert rep.start_us == 0
    assert (rep.extension_us, rep.peak_us, rep.brake_onset_us) == (600_000, 550_000, 800_000)
    assert rep.end_us == 1_400_000


@given(st.binary(min_size=wire.REP_SIZE, max_size=wire.REP_SIZE + 8))
def test_any_record_is_read_or_refused(data):
    try:
        rep, cues = decode_rep(data)
    except ValueError:
        return
    assert rep.start_us == struct.unpack_from("<Q", data, wire.field_offset(wire.REP_FIELDS, "start_us"))[0]
    assert len(cues) <= len(wire.CUE_NAMES)
