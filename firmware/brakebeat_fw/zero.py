"""Where phi = 0 lies, from the history of turnarounds, or from a calibrated edge."""

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401


class ZeroTracker:
    """Turnarounds lie about as far on one side of phi = 0 as on the other; half reps do not count.

    Positions are in edge spacings along a fixed sense, from an origin of the caller's.
    """

    def __init__(self):
        # type: () -> None
        self.fixed = None  # type: float | None
        self._high = []  # type: list[float]
        self._low = []  # type: list[float]

    def forget(self):
        # type: () -> None
        """The wheel moved unseen: start a new history."""
        self.fixed = None
        self._high = []
        self._low = []

    def mark(self, stretch):
        # type: (Any) -> None
        """The newest edge of ``stretch`` is the one that a calibration found nearest to phi = 0."""
        self.fixed = float(stretch.number(stretch.count - 1))

    def add(self, position, high):
        # type: (float, bool) -> None
        """A turnaround at ``position``, on the high side or the low one; the newest 12 a side are kept."""
        side = self._high if high else self._low
        side.append(position)
        if len(side) > 12:
            side.pop(0)

    def estimate(self):
        # type: () -> float | None
        """Position of phi = 0, or None while one side has no turnaround yet."""
        if self.fixed is not None:
            return self.fixed
        if not self._high or not self._low:
            return None
        high = _typical(self._high, max(self._high) - min(self._low))
        low = _typical(self._low, max(self._high) - min(self._low))
        return (high + low) / 2

    def assumed(self):
        # type: () -> bool
        """True while the estimate rests on a single turnaround a side."""
        return self.fixed is None and len(self._high) + len(self._low) < 3


def _typical(values, span):
    # type: (list[float], float) -> float
    """Mean of the values near their median: partial reps and slips fall away, the rest is averaged."""
    ordered = sorted(values)
    middle = ordered[len(ordered) // 2]
    if len(ordered) % 2 == 0:
        middle = (middle + ordered[len(ordered) // 2 - 1]) / 2
    total = 0.0
    count = 0
    for value in ordered:
        if abs(value - middle) <= 0.08 * span:
            total += value
            count += 1
    return total / count if count else middle
