"""Where phi = 0 lies: told by turnarounds, by pulls, by a calibrated edge, each weighed by how far it can be trusted.

Turnarounds lie about as far on one side of phi = 0 as on the other. They scatter, for nobody stops at the same place
twice. Pulls tell more: the strap can only pull, so every pull brings the wheel to nearly its full speed ("the rise")
at about the same share of its way before phi = 0, whichever way it turns. Rises against the places where their pulls
started lie on a line, and where that line meets its own start there is no way left: phi = 0.
"""

from micropython import const

# Turnarounds kept on each side, and pulls.
_KEPT = const(12)
# Turnarounds further than this share of the span from their side's middle are half reps.
_PARTIAL = const(0.08)
# Standard deviation of a turnaround as a share of the span, and of a rise as a share of the range, before any has told.
_TURN_SPREAD = const(0.015)
_RISE_SPREAD = const(0.006)
# What is known beforehand counts as much as so many measured ones.
_BEFOREHAND = const(2.0)
# The share of the way that is left at the rise is about this, give or take.
_LEFT = const(0.12)
_LEFT_SPREAD = const(0.025)
# A first pull that differs more from the turnarounds, in squared standard deviations, was made in a way of its own.
_OWN_WAY = const(2.6)
# A rise off the line by more than this many standard deviations is not counted.
_OFF = const(3.0)
# Variance of a calibrated edge, spacings squared: phi = 0 lies anywhere within half a spacing of it.
_HALF_SPACING = const(1.0 / 12.0)
# A rise off by more standard deviations than this and by a whole number of spacings, nearly: the count slipped.
_SLIPPED = const(5.0)
_NEARLY = const(0.3)


class ZeroTracker:
    """The history of one session; positions in edge spacings along a fixed sense, from an origin of the caller's."""

    def __init__(self):
        # type: () -> None
        self._mark = None  # type: int | None  # ticks of the calibrated edge, while its stretch lasts
        self.forget()

    def forget(self):
        # type: () -> None
        """The wheel moved unseen: start a new history."""
        self.fixed = None  # type: float | None
        self._sides = ([], [])  # type: tuple[list[float], list[float]]  # turnarounds on the low and the high side
        self._pulls = []  # type: list[tuple[float, float]]  # start and rise

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
        side = self._sides[high]
        side.append(position)
        if len(side) > _KEPT:
            side.pop(0)

    def add_pull(self, start, rise):
        # type: (float, float) -> None
        """A pull from ``start`` brought the wheel to nearly its full speed at ``rise``; its end has been added."""
        line = self._line()
        # A single pull tells of no slip: how much of the way it left is not known yet.
        if line and len(self._pulls) > 1:
            zero, left, _, spread = line
            # A few pulls may agree by luck.
            spread = max(spread, _RISE_SPREAD * self._span() / 2)
            off = rise - zero - left * (start - zero)
            # It slipped after the start, or before: then both have moved.
            for way in (off, off / (1.0 - left)):
                slip = int(way + (0.5 if way > 0.0 else -0.5))
                if (
                    slip
                    and abs(off) > _SLIPPED * spread
                    and abs(way - slip) < _NEARLY
                    and self._borne_out(slip)
                ):
                    self._slip(slip)
                    break
        self._pulls.append((start, rise))
        if len(self._pulls) > _KEPT:
            self._pulls.pop(0)

    def _borne_out(self, slip):
        # type: (int) -> bool
        """The newest turnaround on either side does not speak against that slip; an odd pull moves neither."""
        limit = _OFF * self._turn_variance() ** 0.5
        span = self._span()
        return any(abs(side[-1] - _typical(side[:-1] or side, span) - slip) < limit for side in self._sides)

    def _slip(self, slip):
        # type: (int) -> None
        """The count has slipped by so many spacings: what came before is moved to match."""
        for side in self._sides:
            side[:] = [value + slip for value in side]
        self._pulls = [(start + slip, rise + slip) for start, rise in self._pulls]
        if self.fixed is not None:
            self.fixed += slip

    def _span(self):
        # type: () -> float
        return max(self._sides[1]) - min(self._sides[0])

    def _turn_variance(self):
        # type: () -> float
        """Variance of a turnaround about its side's usual place, half reps aside; never too sure."""
        span = self._span()
        least = _TURN_SPREAD * span
        total = _BEFOREHAND * least * least
        count = -2.0
        for side in self._sides:
            middle = _typical(side, span)
            for value in side:
                if abs(value - middle) <= _PARTIAL * span:
                    total += (value - middle) * (value - middle)
                    count += 1.0
        return total / (_BEFOREHAND + max(0.0, count))

    def _line(self):
        # type: () -> tuple[float, float, float, float] | None
        """What the pulls say: phi = 0, share left at the rise, variance of phi = 0, spread about the line."""
        low, high = self._sides
        pulls = self._pulls
        if not low or not high or not pulls:
            return None
        span = self._span()
        middle = (_typical(low, span) + _typical(high, span)) / 2
        usual = _RISE_SPREAD * span / 2
        variance = usual * usual
        slope = _LEFT
        offset = 0.0
        answer = None
        for _ in range(3):
            # Rise - start against start - middle; odd pulls fall away as the line gets better.
            held = variance / (_LEFT_SPREAD * _LEFT_SPREAD)
            n = sx = sy = 0.0
            sxx = held
            sxy = held * _LEFT
            used = []
            for start, rise in pulls:
                x = start - middle
                y = rise - middle
                if answer and abs(y - offset - slope * x) > _OFF * variance**0.5:
                    continue
                used.append((x, y))
                n += 1.0
                sx += x
                sy += y
                sxx += x * x
                sxy += x * y
            if not n:
                break
            det = n * sxx - sx * sx
            slope = max(0.0, min(0.4, (n * sxy - sx * sy) / det))
            offset = (sy - slope * sx) / n
            total = _BEFOREHAND * usual * usual
            for x, y in used:
                off = y - offset - slope * x
                total += off * off
            variance = total / (_BEFOREHAND + max(0.0, n - 2.0))
            way = 1.0 - slope
            answer = (middle + offset / way, slope, variance * sxx / (det * way * way), variance**0.5)
        return answer

    def estimate(self):
        # type: () -> float | None
        """Position of phi = 0, or None while one side has no turnaround yet and nothing is calibrated."""
        low, high = self._sides
        if not low or not high:
            return self.fixed
        span = self._span()
        middle = (_typical(low, span) + _typical(high, span)) / 2
        variance = self._turn_variance() * (1.0 / len(low) + 1.0 / len(high)) / 4
        total = weight = 0.0
        line = self._line()
        if line:
            gap = line[0] - middle
            several = len(self._pulls) > 1
            if several:
                # Half reps on one side mislead the turnarounds: what the two differ by is theirs.
                variance = max(variance, gap * gap - line[2])
            if several or gap * gap < _OWN_WAY * (variance + line[2]):
                total = line[0] / line[2]
                weight = 1.0 / line[2]
        total += middle / variance
        weight += 1.0 / variance
        if self.fixed is None:
            return total / weight
        # The calibrated edge bounds it, the others say where within.
        mixed = (total + self.fixed / _HALF_SPACING) / (weight + 1.0 / _HALF_SPACING)
        return max(self.fixed - 0.5, min(self.fixed + 0.5, mixed))

    def assumed(self):
        # type: () -> bool
        """True while the estimate rests on a single turnaround a side."""
        return self.fixed is None and len(self._sides[0]) + len(self._sides[1]) < 3


def _typical(values, span):
    # type: (list[float], float) -> float
    """Mean of the values near their median: partial reps and slips fall away, the rest is averaged."""
    ordered = sorted(values)
    middle = (ordered[len(ordered) // 2] + ordered[(len(ordered) - 1) // 2]) / 2
    total = 0.0
    count = 0
    for value in ordered:
        if abs(value - middle) <= _PARTIAL * span:
            total += value
            count += 1
    return total / count if count else middle
