"""Value Change Dumps: a foreign one read, our own written and read back, garbage refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.interchange import list_channels, read_vcd, write_vcd
from brakebeat.samples import resolve

# Laid out as logic analysers export (identifier codes, scopes, x states, 10 ns ticks), by the grammar of
# IEEE 1364-2005, section 18.
FOREIGN = """$date Tue Nov 24 2026 $end
$version some analyser $end
$comment hall on D0, its direction on D1 $end
$timescale 10 ns $end
$scope module logic $end
$var wire 1 ! D0 $end
$var wire 1 " D1 $end
$var wire 8 # bus [7:0] $end
$upscope $end
$scope module copy $end
$var wire 1 % D1 $end
$upscope $end
$enddefinitions $end
#0
$dumpvars
x!
1"
b00000000 #
0%
$end
#1000
1!
#250000
0!
#260000
1!
b10101010 #
#500000
0"
0!
#510000
x!
#520000
0!
#600000
1!
#750050
0!
"""


@pytest.fixture
def foreign(tmp_path):
    path = tmp_path / "foreign.vcd"
    path.write_text(FOREIGN)
    return path


def test_channels_of_one_bit_are_listed(foreign):
    assert [channel.name for channel in list_channels(foreign)] == ["logic.D0", "logic.D1", "copy.D1"]


def test_the_chosen_edge_of_the_chosen_channel(foreign):
    # 250000 ticks of 10 ns are 2500 us. From and to x is no edge, and half a microsecond is cut off.
    times, steps = read_vcd(foreign, "D0", "falling")
    assert times.tolist() == [2500, 5000, 7500]
    assert steps.tolist() == [0, 0, 0]
    assert read_vcd(foreign, "D0", "rising")[0].tolist() == [2600, 6000]
    assert read_vcd(foreign, "logic.D0", "both")[0].tolist() == [2500, 2600, 5000, 6000, 7500]


def test_a_sense_channel_gives_steps(foreign):
    assert read_vcd(foreign, "D0", sense_channel="logic.D1")[1].tolist() == [1, -1, -1]


@pytest.mark.parametrize(
    ("channel", "edge", "says"),
    [
        ("D7", "falling", "is not in it"),
        ("D1", "falling", "is not clear"),
        ("copy.D1", "rising", "no rising edge"),
    ],
)
def test_a_channel_that_will_not_do(foreign, channel, edge, says):
    with pytest.raises(InputError, match=says) as error:
        read_vcd(foreign, channel, edge)
    assert str(error.value).startswith(str(foreign))
    assert "logic.D0" in str(error.value)


@given(
    st.lists(st.integers(2, 10**9), min_size=1, max_size=60),
    st.integers(0, 2**40),
    st.lists(st.sampled_from([-1, 1]), min_size=60, max_size=60),
    st.booleans(),
)
def test_a_recording_comes_back(tmp_path_factory, gaps, first, senses, tells):
    path = tmp_path_factory.mktemp("vcd") / "a.vcd"
    times = first + np.cumsum(np.array(gaps, np.int64))
    steps = np.array(senses[: len(gaps)], np.int8) * tells
    write_vcd(path, Recording(times, steps, {"pulses_per_rev": "6"}))
    back, sense = read_vcd(path, "hall", sense_channel="sense" if tells else None)
    assert back.tolist() == times.tolist()
    assert sense.tolist() == steps.tolist()


def test_a_sample_comes_back_over_the_command(tmp_path, capsys):
    dump, back = tmp_path / "a.vcd", tmp_path / "a.csv"
    assert main(["vcd", "write", "sample:clean", "--out", str(dump)]) == 0
    assert main(["vcd", "channels", str(dump)]) == 0
    assert capsys.readouterr().out == "brakebeat.hall\n"
    words = ["--channel", "hall", "--magnets", "6", "--out", str(back)]
    assert main(["vcd", "read", str(dump), *words]) == 0
    assert read_recording(back).t_us.tolist() == read_recording(resolve("sample:clean")).t_us.tolist()


def test_a_rig_file_fills_the_header(foreign, tmp_path):
    rig, out = tmp_path / "rig.toml", tmp_path / "a.csv"
    rig.write_text("pulses_per_rev = 6\ninertia_kg_m2 = 0.12\n")
    assert main(["vcd", "read", str(foreign), "--channel", "D0", "--rig", str(rig), "--out", str(out)]) == 0
    assert read_recording(out).rig.inertia_kg_m2 == 0.12
    assert main(["vcd", "read", str(foreign), "--channel", "D0", "--out", str(out)]) == 2


@given(st.binary(max_size=400))
def test_garbage_is_refused(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("vcd") / "a.vcd"
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"a\.vcd"):
        read_vcd(path, "hall")


@given(st.integers(0, len(FOREIGN)), st.binary(max_size=8))
def test_a_damaged_dump_is_refused_or_read_never_a_crash(tmp_path_factory, cut, middle):
    path = tmp_path_factory.mktemp("vcd") / "a.vcd"
    text = FOREIGN.encode()
    path.write_bytes(text[:cut] + middle + text[cut + len(middle) :])
    try:
        times, steps = read_vcd(path, "D0")
    except InputError as error:
        assert str(path) in str(error)  # noqa: PT017
    else:
        assert len(times) == len(steps) > 0
        assert (np.diff(times) >= 0).all()
