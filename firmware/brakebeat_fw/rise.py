"""Where a pull has brought the wheel to nearly its full speed."""

from micropython import const

# Of the greatest speed: below it the speed still rises fast enough to be placed well, and little of the way is left.
_SHARE = const(0.98)
# Half window of a speed, seconds, and its points at least.
_HALF_S = const(0.05)
_LEAST = const(7)
_SAMPLES = const(48)
# Where on a rep's way phi = 0 can lie, half pulls and half returns included.
_EARLIEST = const(0.15)
_LATEST = const(0.85)


def find_rise(curve):
    # type: (Any) -> float | None
    """Path angle at which 98 % of the rep's greatest speed was first reached, rad; None where that is not seen."""
    last = curve.count - 4
    while last > 8 and curve.xs[last] > _LATEST * curve.total_rad:
        last -= 1
    first = 4
    while first < last and curve.xs[first] < _EARLIEST * curve.total_rad:
        first += 1
    step = max(1, (last - first) // _SAMPLES)
    speeds = []
    best = 0.0
    place = 0
    for k in range(first, last, step):
        speed = curve.speed_at(curve.ts[k], _HALF_S, _LEAST, 3, k)[0]
        speeds.append(speed)
        if speed > best:
            best = speed
            place = len(speeds) - 1
    wanted = _SHARE * best
    while place and speeds[place] > wanted:
        place -= 1
    if best <= 0.0 or speeds[place] > wanted:
        return None
    share = (wanted - speeds[place]) / (speeds[place + 1] - speeds[place])
    k = first + place * step
    return curve.xs[k] + share * (curve.xs[k + step] - curve.xs[k])
