"""The one line that is written over while edges are taken."""

import io

import pytest

from brakebeat.cli.live_edges import _Progress
from brakebeat.link import LinkLost
from brakebeat.watch.recorder import Recorder


class _Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("columns", [40, 80, 200])
def test_it_is_no_wider_than_the_terminal(tmp_path, monkeypatch, columns):
    screen = _Terminal()
    monkeypatch.setattr("sys.stderr", screen)
    monkeypatch.setenv("COLUMNS", str(columns))
    progress = _Progress(Recorder(tmp_path / "set.csv", []))
    progress.show(
        LinkLost("the link to the board was lost, for a reason that takes more words than there is room")
    )
    progress.end()
    lines = screen.getvalue().removesuffix("\n").split("\r")
    assert len(lines) == 3  # a blank one, the news, the last
    # One that fills its row to the end goes on in the next, and is not written over.
    assert all(len(line) < columns for line in lines)
    assert "0 edges" in lines[1]
