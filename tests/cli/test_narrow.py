"""Tables on narrow terminals: words fold, figures are never cut."""

import io
import os
import struct
import subprocess
import sys

import pytest
from rich import box
from rich.console import Console
from rich.table import Table

from brakebeat.whole_table import print_whole

fcntl = pytest.importorskip("fcntl", reason="terminals of a POSIX system")
termios = pytest.importorskip("termios", reason="terminals of a POSIX system")


def on_a_terminal(columns, *words):
    """What a command prints on a terminal of so many columns."""
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    call = [sys.executable, "-m", "brakebeat", *words]
    plain = {**os.environ, "TERM": "dumb"}
    with subprocess.Popen(call, stdin=theirs, stdout=theirs, stderr=theirs, env=plain) as running:
        os.close(theirs)
        said = b""
        try:
            while some := os.read(ours, 65536):
                said += some
        except OSError:
            pass  # the other side is closed: Linux calls that an error
    os.close(ours)
    assert running.returncode == 0
    return said.decode().replace("\r\n", "\n")


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_a_replays_figures_are_whole(columns):
    said = on_a_terminal(columns, "replay", "sample:late")
    assert "…" not in said
    for figure in ("57.60", "1531", "6.148", "0.53"):
        assert figure in said
    if columns == 80:
        # The commonest terminal shows a rep in a row of its own.
        assert any(line.split()[:5] == ["4", "7.783", "76.59", "731", "441"] for line in said.splitlines())


@pytest.mark.parametrize("columns", [50, 80])
def test_a_comparisons_figures_are_whole(columns):
    said = on_a_terminal(columns, "check", "sample:late")
    # The only ones are those between the limits of agreement.
    assert said.count("…") == said.count(" … ")
    for figures in ("76.6|76.6", "10.06|10.06", "441|440"):
        assert figures in said


@pytest.mark.parametrize("edges", [None, box.SIMPLE_HEAD])
@pytest.mark.parametrize("width", [12, 30, 44, 80])
def test_words_fold_before_any_figure_is_cut(width, edges):
    table = Table("rep", "peak\nrad/s", "notes", box=edges)
    table.add_row("12", "1234.56", "zero assumed, repaired, thinned")
    out = io.StringIO()
    console = Console(file=out, width=width)
    print_whole(console, table, ("notes",))
    assert "1234.56" in out.getvalue()
    assert "…" not in out.getvalue()
    # Nothing of the words is lost either, wherever they go on.
    letters = [letter for letter in out.getvalue() if letter.isalpha()]
    for word in ("zero", "assumed", "repaired", "thinned"):
        for letter in word:
            letters.remove(letter)
    assert console.width == width
