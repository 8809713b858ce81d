"""The hot path fed as the main loop feeds it: a fresh state, edges in batches, all that came out."""

from array import array
from collections.abc import Iterator, Sequence

from tests.firmware.loaded import detector, rigfile, session

MOVE_LAST, MOVE_FARTHER, REVERSED, MISSED_BEFORE = 32, 33, 64, 65
WRAP = 2**30


def fresh(**rig) -> session.Session:
    """A session of the default rig with changes; what it reports goes nowhere."""
    values = rigfile.defaults() | rig
    return session.Session(values, lambda record: None, lambda kind, rep, t_us: None)


def batches(edges: Sequence[tuple[int, int]], sizes: Sequence[int]) -> Iterator[tuple[array, array]]:
    """The edges in batches of these sizes, over and over; times cut to the counter's width."""
    first = 0
    turn = 0
    while first < len(edges):
        part = edges[first : first + sizes[turn % len(sizes)]]
        yield array("i", [t % WRAP for t, _ in part]), array("b", [step for _, step in part])
        first += len(part)
        turn += 1


def run(stage, state: array, edges: Sequence[tuple[int, int]], sizes: Sequence[int]) -> list[tuple[int, int]]:
    """What ``detector.accept`` or ``detector.decode`` lets through: (ticks, code)."""
    out: list[tuple[int, int]] = []
    for times, steps in batches(edges, sizes):
        kept = stage(state, times, steps, len(times))
        assert 0 <= kept <= len(times)
        out += zip(times[:kept], steps[:kept], strict=True)
    return out


def counts(state: array) -> tuple[int, int, int]:
    """Bounced, missed, spurious so far."""
    return state[detector._BOUNCED], state[detector._MISSED], state[detector._SPURIOUS]
