"""Recordings from outside: whatever the bytes, there is an answer or a worded error."""

import re
import string
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_numpy

from brakebeat.errors import InputError
from brakebeat.formats.edge_text import format_block, parse_quickly, parse_slowly
from brakebeat.formats.recording import Recording, iter_chunks, read_recording, write_recording

from .bad_recordings import GOOD

WHOLE = (
    b"# brakebeat-pulses: 1\r\n# pulses_per_rev: 6\n# ticks_wrap: 1073741824\n# inertia_kg_m2: 0.07\n"
    b"# ort: \xc3\xb6stlich\nt_us,step\n1073700000,0\r\n1073741823,+1\n12,-1\n4001,0\n9000,1\n"
)


def _read_bytes(data: bytes) -> Recording | None:
    """The recording, or None where it is refused; anything but an InputError naming a line is a failure."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "set.csv"
        path.write_bytes(data)
        recording, message = None, ""
        try:
            recording = read_recording(path)
        except InputError as error:
            message = str(error)
        if recording is None:
            assert re.match(rf"{re.escape(str(path))}:\d+: ", message)
            return None
        assert (np.diff(recording.t_us) >= 0).all()
        assert np.isin(recording.step, (-1, 0, 1)).all()
        return recording


@pytest.mark.parametrize("cut", range(len(WHOLE)))
def test_cut_at_any_byte(cut: int):
    whole = _read_bytes(WHOLE)
    assert whole is not None
    part = _read_bytes(WHOLE[:cut])
    if part is not None:
        count = part.t_us.size
        assert part.t_us.tolist() == whole.t_us.tolist()[:count]
        assert part.step.tolist() == whole.step.tolist()[:count]


@st.composite
def recordings(draw):
    """Times, steps and a header that a recorder could write."""
    # Just below half the counter: a pause of half or more could not be told from a shorter one.
    gaps = draw(st.lists(st.integers(0, 2**29 - 1), min_size=1, max_size=60))
    steps = draw(st.lists(st.sampled_from([-1, 0, 1]), min_size=len(gaps), max_size=len(gaps)))
    text = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20).map(str.strip)
    key = text.filter(lambda key: key and ":" not in key and key not in {"brakebeat-pulses", "ticks_wrap"})
    harmless = key.filter(lambda key: re.fullmatch(r"[^a-z].*", key, re.DOTALL))
    header = {"pulses_per_rev": "6", **draw(st.dictionaries(harmless, text, max_size=4))}
    return np.cumsum(np.array(gaps, np.int64)), np.array(steps, np.int8), header


@given(recordings())
def test_written_comes_back(recording):
    times, steps, header = recording
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "set.csv"
        write_recording(path, times, steps, header)
        back = read_recording(path)
    assert back.t_us.tolist() == times.tolist()
    assert back.step.tolist() == steps.tolist()
    assert back.header == header


@given(recordings())
def test_written_through_a_wrapping_counter_comes_back(recording):
    times, steps, header = recording
    header["ticks_wrap"] = str(2**30)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "set.csv"
        write_recording(path, times, steps, header)
        back = read_recording(path)
    assert back.t_us.tolist() == (times - times[0] // 2**30 * 2**30).tolist()


@given(recordings(), st.integers(1, 200))
def test_blocks_do_not_matter(recording, block_bytes):
    times, steps, header = recording
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "set.csv"
        write_recording(path, times, steps, header)
        parts = list(iter_chunks(path, block_bytes=block_bytes))
    assert np.concatenate([part for part, _ in parts]).tolist() == times.tolist()
    assert np.concatenate([part for _, part in parts]).tolist() == steps.tolist()


@given(st.binary(max_size=300))
def test_any_bytes(data: bytes):
    _read_bytes(data)


@settings(max_examples=300)
@given(st.data())
def test_a_few_bytes_changed(data):
    damaged = bytearray(WHOLE)
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(damaged) - 1))
        byte = data.draw(st.sampled_from(b"\0\n\r,+-#: 019.e\xff[]") | st.integers(0, 255))
        if data.draw(st.booleans()):
            damaged[place] = byte
        else:
            damaged.insert(place, byte)
    _read_bytes(bytes(damaged))


@given(st.lists(st.text(string.digits + ",+-\r #x.", max_size=12), max_size=8))
def test_any_edge_lines(lines: list[str]):
    _read_bytes(GOOD + "\n".join(lines).encode())


EDGE_LINES = st.lists(
    st.one_of(
        st.tuples(st.integers(0, 10**16), st.sampled_from(["0", "1", "+1", "-1"])).map(
            "{0[0]},{0[1]}".format
        ),
        st.text("019,+-", max_size=6),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=400)
@given(EDGE_LINES, st.sampled_from(["\n", "\r\n"]))
def test_quick_and_slow_parser_agree(lines, newline):
    block = "".join(line + newline for line in lines).encode()
    quick = parse_quickly(np.frombuffer(block, np.uint8))
    times, steps, fault = parse_slowly(block)
    if quick is None:
        return
    assert fault is None
    assert quick[0].tolist() == times.tolist()
    assert quick[1].tolist() == steps.tolist()


@given(
    st_numpy.arrays(np.int64, st.integers(1, 30), elements=st.integers(0, 2**53 - 1)).flatmap(
        lambda times: st.tuples(
            st.just(times), st_numpy.arrays(np.int8, times.shape, elements=st.integers(-1, 1))
        )
    )
)
def test_lines_are_what_python_would_print(edges):
    times, steps = edges
    expected = "".join(
        f"{time},{step:+d}\n" if step else f"{time},0\n"
        for time, step in zip(times.tolist(), steps.tolist(), strict=True)
    )
    assert format_block(times, steps) == expected.encode()
