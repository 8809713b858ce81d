"""What a good recording may look like, and what comes out of it."""

import tracemalloc

import numpy as np
import pytest

from brakebeat.errors import InputError
from brakebeat.formats.recording import (
    Recording,
    iter_chunks,
    open_recording,
    read_recording,
    write_recording,
)

from .bad_recordings import GOOD


def _read(tmp_path, data: bytes, rig_text: str | None = None) -> Recording:
    path = tmp_path / "set.csv"
    path.write_bytes(data)
    if rig_text is None:
        return read_recording(path)
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(rig_text)
    return read_recording(path, rig_file)


@pytest.mark.parametrize(
    "data",
    [
        GOOD,
        GOOD[:-1],
        GOOD.replace(b"\n", b"\r\n"),
        GOOD.replace(b"\n", b"\r\n")[:-2],
        b"\xef\xbb\xbf" + GOOD,
        GOOD + b"\n\n \r\n",
        b"\n" + GOOD,
        GOOD.replace(b",", b" ,\t"),
        GOOD.replace(b"300,0", b"0000300,+0"),
        GOOD.replace(b"# ", b"#").replace(b": ", b":"),
        b"# pulses_per_rev: 6\n# brakebeat-pulses: 1\nt_us,step\n100,0\n200,-0\n300,0",
    ],
)
def test_harmless_differences(data: bytes, tmp_path):
    recording = _read(tmp_path, data)
    assert recording.t_us.tolist() == [100, 200, 300]
    assert recording.step.tolist() == [0, 0, 0]
    assert recording.t_us.dtype == np.int64
    assert recording.step.dtype == np.int8
    assert recording.header == {"pulses_per_rev": "6"}


def test_steps_of_every_sort(tmp_path):
    recording = _read(tmp_path, GOOD + b"300,+1\n300,1\n301,-1\n9007199254740991,0\n")
    assert recording.step.tolist() == [0, 0, 0, 1, 1, -1, 0]
    assert recording.t_us.tolist() == [100, 200, 300, 300, 300, 301, 2**53 - 1]


def test_defaults_of_the_format(tmp_path):
    rig = _read(tmp_path, GOOD).rig
    assert rig.pulses_per_rev == 6
    assert rig.ticks_wrap is rig.inertia_kg_m2 is rig.drum_radius_m is rig.zero_index is None
    assert rig.strap_thickness_m == rig.drum_taper_m_per_rad == 0
    assert rig.friction_torque_nm == rig.friction_viscous_nm_s == rig.friction_drag_nm_s2 == 0
    assert (rig.brake_target, rig.brake_tolerance, rig.momentum_reps, rig.rest_gap_s) == (0.25, 0.10, 2, 10)


def test_every_key_of_the_header(tmp_path):
    keys = {
        "inertia_kg_m2": "0.07",
        "drum_radius_m": "1.5e-2",
        "strap_thickness_m": ".0015",
        "drum_taper_m_per_rad": "0",
        "friction_torque_nm": "+0.1",
        "friction_viscous_nm_s": "2e-4",
        "friction_drag_nm_s2": "1E-6",
        "brake_target": "0.7",
        "brake_tolerance": "0.05",
        "momentum_reps": "3",
        "rest_gap_s": "12.5",
        "zero_index": "41",
        "magnet_offsets_rad": "[0.01, -0.01, 0, 0, 0, 0]",
        "cues.late_cue": "false",
        "board.sensor": "hall",
    }
    head = "".join(f"# {key}: {value}\n" for key, value in keys.items())
    rig = _read(tmp_path, head.encode() + GOOD).rig
    assert (rig.inertia_kg_m2, rig.drum_radius_m, rig.strap_thickness_m) == (0.07, 0.015, 0.0015)
    assert (rig.friction_torque_nm, rig.friction_viscous_nm_s, rig.friction_drag_nm_s2) == (0.1, 2e-4, 1e-6)
    assert (rig.brake_target, rig.brake_tolerance, rig.momentum_reps, rig.rest_gap_s) == (0.7, 0.05, 3, 12.5)
    assert rig.zero_index == 41
    assert rig.magnet_offsets_rad == (0.01, -0.01, 0, 0, 0, 0)
    assert rig.cues.late_cue is False


def test_unknown_keys_are_kept_and_passed_on(tmp_path):
    recording = _read(
        tmp_path,
        b"# Ort: Scheune: hinten\n# name: a much longer name than any rig has\n# board.firmware: 0.1\n"
        + GOOD,
    )
    assert list(recording.header.items()) == [
        ("Ort", "Scheune: hinten"),
        ("name", "a much longer name than any rig has"),
        ("board.firmware", "0.1"),
        ("pulses_per_rev", "6"),
    ]
    again = tmp_path / "again.csv"
    write_recording(again, recording.t_us, recording.step, recording.header)
    assert read_recording(again).header == recording.header


def test_wraps_are_undone(tmp_path):
    edges = b"900,0\n399,0\n899,0\n0,0\n0,0\n999,0\n"
    recording = _read(tmp_path, b"# ticks_wrap: 1000\n" + GOOD.replace(b"100,0\n200,0\n300,0\n", edges))
    assert recording.t_us.tolist() == [900, 1399, 1899, 2000, 2000, 2999]


@pytest.mark.parametrize("block_bytes", [1, 2, 7, 16, 1000])
def test_wraps_are_undone_across_blocks(block_bytes: int, tmp_path):
    path = tmp_path / "set.csv"
    times = np.arange(50, dtype=np.int64) * 130 + 7
    write_recording(path, times, np.zeros(50, np.int8), {"pulses_per_rev": "1", "ticks_wrap": "1000"})
    parts = [part for part, _ in iter_chunks(path, block_bytes=block_bytes)]
    assert np.concatenate(parts).tolist() == times.tolist()
    assert block_bytes == 1000 or len(parts) > 5


def test_modulus_of_64_bits_never_wraps(tmp_path):
    recording = _read(tmp_path, b"# ticks_wrap: 18446744073709551616\n" + GOOD)
    assert recording.t_us.tolist() == [100, 200, 300]
    with pytest.raises(InputError, match="no wrap"):
        _read(tmp_path, b"# ticks_wrap: 18446744073709551616\n" + GOOD + b"299,0\n")


def test_wraps_beyond_any_clock(tmp_path):
    wrap = b"# ticks_wrap: 9007199254740000\n"
    with pytest.raises(InputError, match=r"set\.csv:\d+: the counter has wrapped beyond"):
        _read(tmp_path, wrap + GOOD + b"9007199254739999,0\n0,0\n9007199254739999,0\n0,0\n")


def test_header_alone_is_quick_to_get(tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(GOOD + b"junk\n")
    stream = open_recording(path)
    assert stream.header == {"pulses_per_rev": "6"}
    assert stream.rig.pulses_per_rev == 6
    with pytest.raises(InputError, match=r":7: "):
        next(stream.chunks)


class TestRigFile:
    HEAD = b"# inertia_kg_m2: 0.05\n# friction_torque_nm: 0.2\n# brake_target: 0.3\n# ticks_wrap: 100000\n"

    def test_what_it_states_wins(self, tmp_path):
        rig = _read(tmp_path, self.HEAD + GOOD, "pulses_per_rev = 6\ninertia_kg_m2 = 0.08\n").rig
        assert rig.inertia_kg_m2 == 0.08
        assert rig.friction_torque_nm == 0.2

    def test_the_counter_stays_the_recordings(self, tmp_path):
        recording = _read(tmp_path, self.HEAD + GOOD, "pulses_per_rev = 6\nticks_wrap = 150\n")
        assert recording.rig.ticks_wrap == 100000
        assert recording.t_us.tolist() == [100, 200, 300]

    def test_its_count_stands_in_for_a_missing_one(self, tmp_path):
        data = GOOD.replace(b"# pulses_per_rev: 6\n", b"")
        assert _read(tmp_path, data, "pulses_per_rev = 12\n").rig.pulses_per_rev == 12

    def test_another_count_drops_the_offsets(self, tmp_path):
        head = b"# magnet_offsets_rad: [0.01, -0.01, 0, 0, 0, 0]\n"
        assert _read(tmp_path, head + GOOD, "pulses_per_rev = 6\n").rig.magnet_offsets_rad is not None
        assert _read(tmp_path, head + GOOD, "pulses_per_rev = 4\n").rig.magnet_offsets_rad is None

    def test_its_preset_beats_the_headers_numbers(self, tmp_path):
        rig = _read(tmp_path, self.HEAD + GOOD, 'pulses_per_rev = 6\nbrake_preset = "last_third"\n').rig
        assert (rig.brake_target, rig.brake_tolerance) == (0.70, 0.07)

    def test_its_numbers_beat_the_headers_preset(self, tmp_path):
        head = b"# brake_preset: last_third\n"
        rig = _read(tmp_path, head + GOOD, "pulses_per_rev = 6\nbrake_target = 0.4\n").rig
        assert (rig.brake_preset, rig.brake_target, rig.brake_tolerance) == ("own", 0.4, 0.07)

    def test_tables_are_merged_key_by_key(self, tmp_path):
        head = b"# cues.window_cue: true\n# cues.planned_reps: 8\n"
        rig = _read(tmp_path, head + GOOD, "pulses_per_rev = 6\n[cues]\nplanned_reps = 10\n").rig
        assert rig.cues.window_cue is True
        assert rig.cues.planned_reps == 10

    def test_a_bad_one_is_to_blame_itself(self, tmp_path):
        with pytest.raises(InputError, match=r"rig\.toml:1: "):
            _read(tmp_path, GOOD, "pulses_per_rev = 0\n")


class TestWriting:
    @pytest.mark.parametrize(
        ("times", "steps", "header", "words"),
        [
            ([], [], {}, "at least one"),
            ([1, 2], [0], {}, "one step for each time"),
            ([2, 1], [0, 0], {}, "runs backwards"),
            ([-1, 1], [0, 0], {}, "2\\^53"),
            ([1, 2], [0, 2], {}, "-1, 0 or \\+1"),
            ([1.5, 2], [0, 0], {}, "whole numbers"),
            ([1, 2], [0, 0], {"inertia_kg_m2": "-1"}, "inertia_kg_m2"),
            ([1, 2], [0, 0], {"a:b": "1"}, "cannot be written"),
            ([1, 2], [0, 0], {"a": "1\nt_us,step"}, "cannot be written"),
            ([1, 2], [0, 0], {"a": " 1"}, "cannot be written"),
            ([1, 2], [0, 0], {"brakebeat-pulses": "1"}, "cannot be written"),
            ([1, 2], [0, 0], {"a": "\ud800"}, "cannot be written"),
            ([1, 2], [0, 0], {"a": "x" * 70000}, "longer than"),
            ([1, 900], [0, 0], {"ticks_wrap": "1000", "x": "ok"}, None),
            ([999, 1998], [0, 0], {"ticks_wrap": "1000"}, "too long for ticks_wrap"),
            ([1, 1001], [0, 0], {"ticks_wrap": "1000"}, "too long for ticks_wrap"),
        ],
    )
    def test_nothing_that_could_not_be_read_back(self, times, steps, header, words, tmp_path):
        path = tmp_path / "set.csv"
        path.write_text("the old file")
        arguments = (path, np.array(times), np.array(steps, int), {"pulses_per_rev": "6", **header})
        if words is None:
            write_recording(*arguments)
            assert read_recording(path).t_us.tolist() == times
            return
        with pytest.raises(InputError, match=words):
            write_recording(*arguments)
        assert path.read_text() == "the old file"
        assert list(tmp_path.iterdir()) == [path]

    def test_format_is_as_published(self, tmp_path):
        path = tmp_path / "set.csv"
        header = {"pulses_per_rev": "6", "ticks_wrap": "1000"}
        write_recording(path, np.array([0, 9, 10, 990, 1001]), np.array([0, 1, -1, 0, 1]), header)
        assert path.read_bytes() == (
            b"# brakebeat-pulses: 1\n# pulses_per_rev: 6\n# ticks_wrap: 1000\nt_us,step\n"
            b"0,0\n9,+1\n10,-1\n990,0\n1,+1\n"
        )

    def test_unwritable_place(self, tmp_path):
        with pytest.raises(InputError, match="cannot be written"):
            write_recording(
                tmp_path / "absent" / "set.csv", np.array([1]), np.array([0]), {"pulses_per_rev": "6"}
            )


EDGES = 400_000


@pytest.fixture(scope="module")
def long_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("long") / "set.csv"
    times = np.arange(EDGES, dtype=np.int64) * 5_000 + 1_000_000_000
    write_recording(path, times, np.zeros(EDGES, np.int8), {"pulses_per_rev": "6"})
    return path


class TestMemory:
    """Bytes are counted, not time: NumPy reports its arrays to tracemalloc."""

    def _peak(self, action) -> int:
        tracemalloc.start()
        try:
            action()
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    def test_whole_recording(self, long_file):
        # 9 bytes an edge stay, twice that while the parts are joined; the rest is one block's working memory.
        assert self._peak(lambda: read_recording(long_file)) < 18 * EDGES + 12 * 2**20

    def test_block_by_block(self, long_file):
        def walk():
            assert sum(times.size for times, _ in iter_chunks(long_file, block_bytes=1 << 16)) == EDGES

        assert self._peak(walk) < 2 * 2**20

    def test_out_of_the_ordinary_lines(self, long_file, tmp_path):
        # Blanks send every line the slow way, which must not pile up objects either.
        path = tmp_path / "spaced.csv"
        path.write_bytes(long_file.read_bytes().replace(b",", b", "))
        assert self._peak(lambda: read_recording(path)) < 18 * EDGES + 24 * 2**20
