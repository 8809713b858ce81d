"""Least-squares polynomials through a few points of a curve: sums in viper's integers, the rest in floats.

A rep takes more than a hundred of these, and in floats their sums alone would cost a board a third of a second.
"""

from array import array

import micropython
from micropython import const

# Ticks' mask and half: differences that viper reads get their signs back where its integers are wider.
_MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
# What sums in 15 bits leave of a system that carries no such polynomial.
_SINGULAR = const(1e-5)
# Places in the work array: what is asked, how times and angles are scaled, what comes out.
_FIRST = const(0)
_END = const(1)
_MIDDLE = const(2)
_UP = const(3)
_DOWN = const(4)
_SLOPE = const(5)
_LOW = const(6)
_FEW = const(7)
_SUMS = const(8)
_WORK = array("i", [0] * 21)


@micropython.viper
def _scale(us: ptr32, xs: ptr32, work: ptr32):
    """How to bring times, counted from their middle, and what a straight line near the chord leaves of the angles
    into 15 bits and a sign: shifts, that line's slope; and the bits of a product that a sum of so many leaves out."""
    first = work[_FIRST]
    end = work[_END]
    t0 = us[first]
    x0 = xs[first]
    took = ((us[end - 1] - t0) & _MASK ^ _HALF) - _HALF
    if took < 2:
        took = 2
    up = 0
    while took << up < 0x7FF0:
        up += 1
    down = 0
    while took >> down >= 0xFFF0:
        down += 1
    slope = (((xs[end - 1] - x0) & _MASK ^ _HALF) - _HALF) // took
    most = 0
    for k in range(first, end):
        t = ((us[k] - t0) & _MASK ^ _HALF) - _HALF
        y = ((xs[k] - x0) & _MASK ^ _HALF) - _HALF - slope * t
        if y < 0:
            y = 0 - y
        if y > most:
            most = y
    low = 0
    while most >> low >= 0x7FFF:
        low += 1
    few = 0
    while end - first >> few:
        few += 1
    work[_MIDDLE] = took >> 1
    work[_UP] = up
    work[_DOWN] = down
    work[_SLOPE] = slope
    work[_LOW] = low
    work[_FEW] = few


@micropython.viper
def _sum_up(us: ptr32, xs: ptr32, work: ptr32):
    """Sums of u, u^2, u^3, of their products, of what is left of the angle, and of its products with them."""
    first = work[_FIRST]
    end = work[_END]
    t0 = us[first]
    x0 = xs[first]
    up = work[_UP]
    down = work[_DOWN]
    slope = (work[_SLOPE] & _MASK ^ _HALF) - _HALF
    low = work[_LOW]
    few = work[_FEW]
    half = (1 << down >> 1) - (work[_MIDDLE] << up)
    half_y = 1 << low >> 1
    n1 = n2 = n3 = s11 = s12 = s13 = s22 = s23 = s33 = r0 = r1 = r2 = r3 = 0
    for k in range(first, end):
        u = ((us[k] - t0) & _MASK ^ _HALF) - _HALF
        y = ((xs[k] - x0) & _MASK ^ _HALF) - _HALF - slope * u + half_y >> low
        u = (u << up) + half >> down
        square = u * u + 0x4000 >> 15
        cube = square * u + 0x4000 >> 15
        n1 += u
        n2 += square
        n3 += cube
        # The very powers that are fitted, rounded as they are: then nothing of the angle is lost between them.
        s11 += u * u >> few
        s12 += u * square >> few
        s13 += u * cube >> few
        s22 += square * square >> few
        s23 += square * cube >> few
        s33 += cube * cube >> few
        r0 += y
        r1 += u * y >> few
        r2 += square * y >> few
        r3 += cube * y >> few
    work[_SUMS] = n1
    work[_SUMS + 1] = n2
    work[_SUMS + 2] = n3
    work[_SUMS + 3] = s11
    work[_SUMS + 4] = s12
    work[_SUMS + 5] = s13
    work[_SUMS + 6] = s22
    work[_SUMS + 7] = s23
    work[_SUMS + 8] = s33
    work[_SUMS + 9] = r0
    work[_SUMS + 10] = r1
    work[_SUMS + 11] = r2
    work[_SUMS + 12] = r3


def polynomial(us, xs, first, last, degree):
    # type: (Any, Any, int, int, int) -> tuple[float, ...] | None
    """The polynomial through the points ``first`` to ``last`` (arrays 'i') of the least squares; None where they do
    not carry it.

    Four coefficients, lowest power first, whatever the degree (1 to 3), in units of ``xs``, of what lies
    (time - middle) / scale from the middle of these times; then this middle and that scale in units of ``us``.
    """
    work = _WORK
    work[_FIRST] = first
    work[_END] = last + 1
    _scale(us, xs, work)  # type: ignore[arg-type]
    _sum_up(us, xs, work)  # type: ignore[arg-type]
    sums = work[_SUMS:]  # type: Any
    n1, n2, n3, s11, s12, s13, s22, s23, s33, r0, r1, r2, r3 = sums
    count = last + 1 - first
    # The constant goes first, then one power after the other; u = 1 is 2^15.
    unit = (1 << work[_FEW]) / 1073741824.0
    n1 /= 32768.0
    n2 /= 32768.0
    share = n1 / count
    a11 = s11 * unit - share * n1
    if a11 <= _SINGULAR:
        return None
    a12 = s12 * unit - share * n2
    b1 = r1 * unit * 32768.0 - share * r0
    a13 = c2 = c3 = 0.0
    if degree > 1:
        share = n2 / count
        bend = a12 / a11
        a22 = s22 * unit - share * n2 - bend * a12
        if a22 <= _SINGULAR:
            return None
        b2 = r2 * unit * 32768.0 - share * r0 - bend * b1
        if degree > 2:
            n3 /= 32768.0
            a13 = s13 * unit - n1 / count * n3
            a23 = s23 * unit - share * n3 - bend * a13
            share = n3 / count
            twist = a13 / a11
            bend = a23 / a22
            a33 = s33 * unit - share * n3 - twist * a13 - bend * a23
            if a33 <= _SINGULAR:
                return None
            c3 = (r3 * unit * 32768.0 - share * r0 - twist * b1 - bend * b2) / a33
            b2 -= a23 * c3
            r0 -= n3 * c3
        c2 = b2 / a22
    c1 = (b1 - a12 * c2 - a13 * c3) / a11
    c0 = (r0 - n1 * c1 - n2 * c2) / count
    # What was left out of times and angles comes back.
    part = 1 << work[_LOW]
    slope = work[_SLOPE]
    middle = work[_MIDDLE]
    scale = 32768 >> work[_UP] << work[_DOWN]
    return (
        c0 * part + (xs[first] + slope * middle),
        c1 * part + slope * scale,
        c2 * part,
        c3 * part,
        us[first] + middle,
        scale,
    )
