"""Where phi = 0 lies, from the history of turnarounds, or from a calibrated edge."""

# Turnarounds kept on each side.
_KEPT = 12
# Turnarounds further than this share of the span from their side's middle are half reps.
_PARTIAL = 0.08
# The start position varies by at least this share of the span (standard deviation).
_LEAST_SPREAD = 0.012
# Variance of a calibrated edge, spacings squared: phi = 0 lies anywhere within half a spacing of it.
_HALF_SPACING = 1.0 / 12.0
# Two turnarounds in a row, one a side, that both lie this many standard deviations off the same way: the count slipped.
_SLIPPED = 3.0


class ZeroTracker:
    """Turnarounds lie about as far on one side of phi = 0 as on the other; half reps do not count.

    Positions are in edge spacings along a fixed sense, from an origin of the caller's.
    """

    def __init__(self):
        # type: () -> None
        self._mark = None  # type: int | None  # ticks of the calibrated edge, while its stretch lasts
        self.forget()

    def forget(self):
        # type: () -> None
        """The wheel moved unseen: start a new history."""
        self.fixed = None  # type: float | None
        self._high = []  # type: list[float]
        self._low = []  # type: list[float]
        self._off = 0.0  # how far the last turnaround lay off its side's usual place

    def mark(self, stretch):
        # type: (Any) -> None
        """The newest edge of ``stretch`` is the one that a calibration found nearest to phi = 0."""
        self._mark = stretch.buffer[stretch.count - 1]
        self.settle(stretch)

    def settle(self, stretch):
        # type: (Any) -> None
        """Renew the calibrated edge's number, which repairs before it in its own stretch may have changed."""
        if self._mark is None:
            return
        for place in range(stretch.count - 1, -1, -1):
            if stretch.buffer[place] == self._mark:
                self.fixed = float(stretch.number(place))
                return

    def add(self, position, high):
        # type: (float, bool) -> None
        """A turnaround at ``position``, on the high side or the low one; the newest 12 a side are kept."""
        self._mark = None
        off = 0.0
        side = self._high if high else self._low
        if len(self._high) > 1 and len(self._low) > 1:
            off = position - _typical(side, self._span())
            self._notice_slip(off, high)
        self._off = off
        side = self._high if high else self._low
        side.append(position)
        if len(side) > _KEPT:
            side.pop(0)

    def _notice_slip(self, off, high):
        # type: (float, bool) -> None
        """A miscount moves everything that comes after it the same way; a half rep moves one side, inwards."""
        before = self._off
        spread = self._spread()
        shift = (off + before) / 2
        if off * before <= 0.0 or abs(shift) < _SLIPPED * spread or abs(off - before) > 2 * _SLIPPED * spread:
            return
        slip = float(int(shift + (0.5 if shift > 0 else -0.5)))
        newest = (self._low if high else self._high).pop()
        self._high = [value + slip for value in self._high]
        self._low = [value + slip for value in self._low]
        (self._low if high else self._high).append(newest)
        if self.fixed is not None:
            self.fixed += slip

    def _span(self):
        # type: () -> float
        return max(self._high) - min(self._low)

    def _spread(self):
        # type: () -> float
        """Standard deviation of a turnaround about its side's usual place, half reps aside; never too sure."""
        span = self._span()
        total = 0.0
        count = 0
        for side in (self._high, self._low):
            middle = _typical(side, span)
            for value in side:
                if abs(value - middle) <= _PARTIAL * span:
                    total += (value - middle) * (value - middle)
                    count += 1
            count -= 1
        return max((total / count) ** 0.5 if count > 1 else 0.0, _LEAST_SPREAD * span)

    def estimate(self):
        # type: () -> float | None
        """Position of phi = 0, or None while one side has no turnaround yet and nothing is calibrated."""
        if not self._high or not self._low:
            return self.fixed
        span = self._span()
        middle = (_typical(self._high, span) + _typical(self._low, span)) / 2
        if self.fixed is None:
            return middle
        spread = self._spread()
        variance = spread * spread * (1.0 / len(self._high) + 1.0 / len(self._low)) / 4
        weight = variance / (variance + _HALF_SPACING)
        # The calibrated edge bounds it, the turnarounds say where within.
        mixed = weight * self.fixed + (1.0 - weight) * middle
        return max(self.fixed - 0.5, min(self.fixed + 0.5, mixed))

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
        if abs(value - middle) <= _PARTIAL * span:
            total += value
            count += 1
    return total / count if count else middle
