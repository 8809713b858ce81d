"""The least value of a smooth function of one argument, in few evaluations."""

from micropython import const

# Share of the golden section that is left out.
_SMALLER = const(0.381966)
# An answer is good enough within this share of the first bracket.
_NEAR = const(2e-4)


def search(misfit, low, high, steps, most=1e9):
    # type: (Any, float, float, int, float) -> float
    """The argument between ``low`` and ``high`` with the least misfit: a grid, then ``narrow`` about its best.

    most: no misfit beyond this is of any use.
    """
    width = (high - low) / steps
    values = [misfit(low + k * width) for k in range(steps + 1)]
    if dip(values) > most:
        return low + width * values.index(min(values))
    return narrow(misfit, low, width, values)


def narrow(misfit, low, width, values):
    # type: (Any, float, float, list[float]) -> float
    """The argument of the valley around the least of a grid's ``values``, ``width`` apart, by Brent's method.

    Parabolas through the three best arguments, golden section where one leads astray (R. P. Brent, Algorithms for
    Minimization Without Derivatives, 1973, chapter 5; written from memory).
    """
    best = values.index(min(values))
    left = max(0, best - 1)
    right = min(len(values) - 1, best + 1)
    a = low + left * width
    b = low + right * width
    x = low + best * width
    fx = values[best]
    # The second and third best so far.
    w, fw, v, fv = a, values[left], b, values[right]
    if fv < fw:
        w, fw, v, fv = v, fv, w, fw
    near = _NEAR * (b - a)
    step = last = b - a
    for _ in range(10):
        middle = (a + b) / 2
        if abs(x - middle) + (b - a) / 2 <= 2.0 * near:
            break
        r = (x - w) * (fx - fv)
        q = (x - v) * (fx - fw)
        p = (x - v) * q - (x - w) * r
        q = 2.0 * (q - r)
        if q > 0.0:
            p = -p
        else:
            q = -q
        before = last
        last = step
        if abs(p) < abs(0.5 * q * before) and q * (a - x) < p < q * (b - x):
            step = p / q
            if abs(step) < near and abs(last) < 0.1 * (b - a + near):
                # Two parabolas agree.
                break
        else:
            last = (b if x < middle else a) - x
            step = _SMALLER * last
        if abs(step) < near:
            step = near if step > 0.0 else -near
        u = x + step
        fu = misfit(u)
        if fu <= fx:
            if u < x:
                b = x
            else:
                a = x
            v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
        else:
            if u < x:
                a = u
            else:
                b = u
            if fu <= fw or w == x:
                v, fv, w, fw = w, fw, u, fu
            elif fu <= fv or v in (x, w):
                v, fv = u, fu
    return x


def dip(values):
    # type: (list[float]) -> float
    """No more than the least value between those of a grid, about: a parabola would dip half as far below them."""
    least = min(values)
    k = max(1, min(len(values) - 2, values.index(least)))
    return least - max(0.0, values[k - 1] + values[k + 1] - 2.0 * values[k]) / 4.0
