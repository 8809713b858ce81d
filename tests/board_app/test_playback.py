"""A recording played into a session: every edge once, in its millisecond, whatever the computer does."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.board_app.firmware import playback

HEAD = "# brakebeat-pulses: 1\n# pulses_per_rev: 6\n"
MASK = 2**30 - 1


class Session:
    """Notes what it is fed and when it is polled."""

    def __init__(self):
        self.edges = []
        self.polls = []

    def feed(self, times, steps, count):
        assert count > 0
        self.edges += zip(times[:count], steps[:count], strict=True)

    def poll(self, now):
        for t_us, _ in self.edges[-1:]:
            # Never an edge of the future: the board would not have it yet.
            assert ((now - t_us) & MASK) < MASK // 2
        self.polls.append(now)


def play(monkeypatch, tmp_path, text, advances_us, speed=1.0):
    """Play ``text``, the computer's clock moving on by each of ``advances_us``."""
    path = tmp_path / "pulses.csv"
    path.write_text(text)
    clock = [0]
    monkeypatch.setattr(playback, "now_us", lambda: clock[0] & MASK)
    source, session = playback.PlaybackSource(str(path), speed), Session()
    source.pump(session)
    assert session.polls == []
    source.release()
    for advance_us in advances_us:
        clock[0] += advance_us
        source.pump(session)
    return source, session


def lines(edges):
    return HEAD + "t_us,step\n" + "".join(f"{t_us},{step}\n" for t_us, step in edges)


def test_edges_and_polls_as_on_a_board(monkeypatch, tmp_path):
    edges = [(5_000_700 + 900 * k, k % 3 - 1) for k in range(300)]
    source, session = play(monkeypatch, tmp_path, lines(edges), [777] * 18_000)
    assert session.edges == edges
    assert session.polls[0] == 5_000_000
    assert all(
        later - earlier == 1000 for earlier, later in zip(session.polls, session.polls[1:], strict=False)
    )
    assert (source.pulses, source.ended, source.trouble, source.done) == (300, True, "", False)


@pytest.mark.parametrize("speed", [0.5, 7.0, 100.0])
def test_speed_changes_how_soon_but_not_what(monkeypatch, tmp_path, speed):
    edges = [(2000 + 800 * k, 0) for k in range(400)]
    _, session = play(monkeypatch, tmp_path, lines(edges), [5000] * int(400_000 / speed / 5000 + 300), speed)
    assert session.edges == edges
    assert session.polls == list(range(2000, 2000 + 1000 * len(session.polls), 1000))


def test_a_computer_that_sleeps_for_a_while_changes_nothing(monkeypatch, tmp_path):
    edges = [(2000 + 800 * k, 0) for k in range(400)]
    _, session = play(monkeypatch, tmp_path, lines(edges), [5_000_000] + [0] * 100)
    assert session.edges == edges


def test_a_counter_that_wraps(monkeypatch, tmp_path):
    wrap = 2**30
    edges = [(wrap - 2000 + 900 * k, 0) for k in range(6)]
    text = "# ticks_wrap: 1073741824\n" + lines([(t_us % wrap, 0) for t_us, _ in edges])
    _, session = play(monkeypatch, tmp_path, text, [1000] * 100)
    assert session.edges == [(t_us & MASK, 0) for t_us, _ in edges]


@pytest.mark.parametrize("line", ["soon,0", "12", "1,2,3", "1.5,0", "5000,up"])
def test_a_line_that_is_none_ends_it_with_words(monkeypatch, tmp_path, line):
    text = lines([(1000, 0), (2000, 0)]) + line + "\n3000,0\n"
    source, session = play(monkeypatch, tmp_path, text, [1000] * 13_000)
    assert [t_us for t_us, _ in session.edges] == [1000, 2000]
    assert source.trouble == f"line 6 is no edge: {line}"
    assert source.ended


@pytest.mark.parametrize("text", ["", HEAD, HEAD + "t_us,step\n", HEAD + "t_us,step\n\n"])
def test_nothing_to_play(monkeypatch, tmp_path, text):
    source, session = play(monkeypatch, tmp_path, text, [1000] * 13_000)
    assert session.edges == []
    assert source.ended


@given(st.lists(st.tuples(st.integers(0, 3000), st.integers(-1, 1)), min_size=1, max_size=200), st.data())
def test_every_edge_once_whatever_the_clock_does(tmp_path_factory, gaps, data):
    t_us, edges = 10_000, []
    for gap_us, step in gaps:
        t_us += gap_us
        edges.append((t_us, step))
    advances = data.draw(st.lists(st.integers(0, 200_000), max_size=20))
    with pytest.MonkeyPatch.context() as patch:
        # Catching up takes as many calls as it takes; 1,000 are more than this can need.
        _, session = play(
            patch, tmp_path_factory.mktemp("play"), lines(edges), [*advances, t_us, *[0] * 1000]
        )
    assert session.edges == edges
