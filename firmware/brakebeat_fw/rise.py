"""Where a pull has brought the wheel to nearly its full speed."""

from micropython import const

# Of the greatest speed: below it the speed still rises fast enough to be placed well, and little of the way is left.
_SHARE = const(0.98)
# Half window of a speed, seconds, and its points at least, beyond the polynomial's degree.
_HALF_S = const(0.05)
_SPARE = const(4)
# Points closer than this make a parabola true enough, which noise moves much less than a cubic.
_DENSE_RAD = const(1.3)
_SAMPLES = const(48)
# Speeds change little from sample to sample: so many are gone at once in the first look.
_STRIDE = const(3)
# Where on a rep's way phi = 0 can lie, half pulls and half returns included.
_EARLIEST = const(0.15)
_LATEST = const(0.85)


def find_rise(curve):
    # type: (Any) -> float | None
    """Path angle at which 98 % of the rep's greatest speed was first reached, rad; None where that is not seen."""
    xs = curve.xs
    total = curve.total_rad / curve.part_rad
    last = curve.count - 4
    latest = int(_LATEST * total)
    while last > 8 and xs[last] > latest:
        last -= 1
    first = 4
    earliest = int(_EARLIEST * total)
    while first < last and xs[first] < earliest:
        first += 1
    if first >= last:
        return None
    step = max(1, (last - first) // _SAMPLES)
    degree = 2 if (xs[last] - xs[first]) * curve.part_rad < _DENSE_RAD * (last - first) else 3
    samples = _Samples(curve, first, step, (last - first + step - 1) // step, degree)
    place = samples.fastest()
    wanted = _SHARE * samples.speed(place)
    if wanted <= 0.0:
        return None
    # In strides down the rise; then the last one step by step.
    below = place
    while below and samples.speed(below) > wanted:
        place = below
        below = max(0, below - _STRIDE)
    while place and samples.speed(place) > wanted:
        place -= 1
    slow = samples.speed(place)
    if slow > wanted:
        return None
    share = (wanted - slow) / (samples.speed(place + 1) - slow)
    k = first + place * step
    return (xs[k] + share * (xs[k + step] - xs[k])) * curve.part_rad


class _Samples:
    """Speeds at every ``step``-th point of a curve; each is worked out when it is asked for, once."""

    def __init__(self, curve, first, step, count, degree):
        # type: (Any, int, int, int, int) -> None
        self._degree = degree
        self._curve = curve
        self._first = first
        self._step = step
        self._speeds = [None] * count  # type: list[float | None]

    def speed(self, place):
        # type: (int) -> float
        """Rad/s at sample ``place``."""
        found = self._speeds[place]
        if found is None:
            curve = self._curve
            k = self._first + place * self._step
            found = curve.speed_at(curve.us[k] * 1e-6, _HALF_S, _SPARE + self._degree, self._degree)[0]
            self._speeds[place] = found
        return found

    def fastest(self):
        # type: () -> int
        """The sample with the greatest speed: in strides, then among those beside the best of these."""
        count = len(self._speeds)
        best = 0
        for place in range(0, count, _STRIDE):
            if self.speed(place) > self.speed(best):
                best = place
        middle = best
        for place in range(max(0, middle - _STRIDE + 1), min(count, middle + _STRIDE)):
            if self.speed(place) > self.speed(best):
                best = place
        return best
