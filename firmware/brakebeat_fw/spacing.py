"""Learns each magnet's angular offset from even spacing, rep by rep, and corrects edge angles with it."""

from array import array

from micropython import const

# Evidence of this many times its own scatter is more than chance.
_SURPRISE = const(2.0)
# Magnets missed within the turns around one, at most.
_GAPS_MOST = const(2)
# More magnets than this are a toothed wheel: even enough, and too many to learn.
MAGNETS_MOST = 32
# A cubic serves the edges beside its middle, to so large a share of a turn on either side.
_SERVED_BY = const(6)
# Of more magnets than this to twice as large a share: cubics over two turns of many edges cost much.
_MANY = const(12)


class SpacingTable:
    """Offsets in edge spacings by magnet (session-local numbers), measured along the positive sense, mean zero."""

    def __init__(self, magnets):
        # type: (int) -> None
        self.magnets = magnets if 1 < magnets <= MAGNETS_MOST else 1
        self.offsets = array("f", [0.0] * self.magnets)
        # How far each magnet's offset makes an edge seem off its four neighbours, 1/4096 of a spacing: the offsets'
        # fourth difference.
        self.uneven = array("i", [0] * self.magnets)
        self.reps = 0
        self.unsure = 0.0  # sum of the offsets' variances, rad squared

    def forget(self):
        # type: () -> None
        """Which magnet is which is no longer known: start over."""
        self.unsure = 0.0
        self.take(array("f", [0.0] * self.magnets), 0)

    def take(self, offsets, reps):
        # type: (Any, int) -> None
        """Go on from these offsets (array 'f'), which count as what so many reps have taught."""
        self.offsets = offsets
        self.reps = reps
        magnets = self.magnets
        for k in range(magnets):
            off = 4.0 * (offsets[(k - 1) % magnets] + offsets[(k + 1) % magnets]) - 6.0 * offsets[k]
            off -= offsets[(k - 2) % magnets] + offsets[(k + 2) % magnets]
            self.uneven[k] = int(max(-8.0, min(8.0, off)) * 4096.0)

    def spread(self):
        # type: () -> float
        """Root mean square of the offsets, edge spacings."""
        total = 0.0
        for offset in self.offsets:
            total += offset * offset
        return (total / self.magnets) ** 0.5

    def along(self, number, sense):
        # type: (int, int) -> float
        """What to add to the even path angle of edge ``number`` when it passes in ``sense``, edge spacings."""
        return sense * self.offsets[number % self.magnets]

    def learn(self, curve, first, last, spacing_rad, stretch):
        # type: (Any, int, int, float, Any) -> None
        """Take the evidence of one rep from points ``first`` to ``last`` of its corrected curve.

        A cubic over whole turns follows the wheel and leaves the pattern that repeats every turn.
        """
        magnets = self.magnets
        if magnets < 2:
            return
        sums = [0.0] * magnets
        counts = [0] * magnets
        scatter = 0.0
        half = magnets if magnets > 2 else 2 * magnets
        beside = magnets // _SERVED_BY
        if magnets > _MANY:
            beside *= 2
        for k in range(first + half, last - half + 1, 2 * beside + 1):
            if stretch.path(k + half - first) - stretch.path(k - half - first) > 2 * half + _GAPS_MOST:
                continue
            c0, c1, c2, c3, middle, scale = curve.fit(k - half, k + half, 3)
            for place in range(k - beside, k + beside + 1):
                t = (curve.us[place] * 1e-6 - middle) / scale
                number = stretch.number(place - first) % magnets
                off = curve.xs[place] * curve.part_rad - c0 - t * (c1 + t * (c2 + t * c3))
                sums[number] += off
                scatter += off * off
                counts[number] += 1
        if min(counts) * 2 < max(counts) or not min(counts):
            # A magnet that is lost: what passed in its place now and then says nothing of it.
            return
        reps = self.reps + 1
        told = 1e-9
        for k in range(magnets):
            sums[k] /= counts[k]
            told += sums[k] * sums[k]
            scatter -= counts[k] * sums[k] * sums[k]
        # A Kalman filter's gain. What the scatter of each magnet's evidence explains is no offset: even magnets stay
        # even. Evidence that neither explains says that the table knows less than it thought.
        count = sum(counts)
        scatter *= magnets * magnets / (max(1, count - magnets) * count)
        self.unsure = max(self.unsure, told - (scatter if reps == 1 else _SURPRISE * scatter))
        gain = self.unsure / (self.unsure + scatter)
        self.unsure -= gain * self.unsure
        gain *= stretch.sense / spacing_rad
        mean = 0.0
        for k in range(magnets):
            self.offsets[k] -= gain * sums[k]
            mean += self.offsets[k]
        for k in range(magnets):
            self.offsets[k] -= mean / magnets
        self.take(self.offsets, reps)
