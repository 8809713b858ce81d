"""Least squares for a handful of points, in floats: runs a few times a rep, never per edge."""

from micropython import const

# Share of the diagonal that keeps a system within what single-precision floats carry.
_DAMPING = const(1e-5)


class System:
    """Least squares built up observation by observation, for a few unknowns."""

    def __init__(self, size):
        # type: (int) -> None
        self._matrix = [[0.0] * size for _ in range(size)]
        self._right = [0.0] * size
        self.answer = [0.0] * size
        self.sure = 1e-9  # one over the variance of the last unknown, in units of the observations'

    def add(self, row, value, weight):
        # type: (tuple[float, ...], float, float) -> None
        """An observation: ``row`` times the unknowns is ``value``."""
        for a in range(len(row)):
            part = weight * row[a]
            if not part:
                continue
            self._right[a] += part * value
            line = self._matrix[a]
            for b in range(a, len(row)):
                line[b] += part * row[b]

    def solve(self):
        # type: () -> None
        """Renew the answer, unless the observations do not carry one."""
        matrix = [line[:] for line in self._matrix]
        answer = damped(matrix, self._right[:])
        if answer:
            self.answer = answer
            self.sure = matrix[-1][-1]

    def off(self, row, value):
        # type: (tuple[float, ...], float) -> float
        """How far an observation is off the answer."""
        for k in range(len(row)):
            value -= row[k] * self.answer[k]
        return value


def damped(matrix, right):
    # type: (list[list[float]], list[float]) -> list[float] | None
    """The same as ``solve`` with a little more on the diagonal."""
    for k in range(len(right)):
        matrix[k][k] *= 1.0 + _DAMPING
    return solve(matrix, right)


def solve(matrix, right):
    # type: (list[list[float]], list[float]) -> list[float] | None
    """Solve a small symmetric positive system by elimination; None where it is singular.

    Only the upper half of the matrix is read. Both are overwritten.
    """
    size = len(right)
    for column in range(size):
        top = matrix[column]
        if top[column] <= 1e-12:
            return None
        for row in range(column + 1, size):
            factor = top[row] / top[column]
            if factor:
                line = matrix[row]
                for k in range(row, size):
                    line[k] -= factor * top[k]
                right[row] -= factor * right[column]
    for row in range(size - 1, -1, -1):
        total = right[row]
        for k in range(row + 1, size):
            total -= matrix[row][k] * right[k]
        right[row] = total / matrix[row][row]
    return right


def ramp(u):
    # type: (float) -> tuple[float, float, float]
    """What a brake that comes on smoothly from u = 0 to 1 and stays takes off angle and speed, and its share now."""
    if u <= 0.0:
        return 0.0, 0.0, 0.0
    if u < 1.0:
        square = u * u
        return square * square * (0.25 - 0.1 * u), square * u * (1.0 - 0.5 * u), square * (3.0 - 2.0 * u)
    u -= 0.5
    return 0.025 + 0.5 * u * u, u, 1.0


def local(ts, xs, first, last, at, scale, degree):
    # type: (Any, Any, int, int, float, float, int) -> tuple[float, float, float, float] | None
    """Least-squares polynomial through the points ``first`` to ``last``; None where they do not carry it.

    Coefficients, lowest power first and four of them whatever the degree (1 to 3), of x - xs[first] in
    (t - at) / scale, which should come to about -1 to 1: boards have single-precision floats. A rep takes hundreds of
    these, so sums and elimination stand here in names of their own.
    """
    s1 = s2 = s3 = s4 = s5 = s6 = r0 = r1 = r2 = r3 = 0.0
    base = xs[first]
    cubic = degree > 2
    for k in range(first, last + 1):
        t = (ts[k] - at) / scale
        x = xs[k] - base
        square = t * t
        cube = square * t
        s1 += t
        s2 += square
        s3 += cube
        s4 += square * square
        r0 += x
        r1 += t * x
        r2 += square * x
        if cubic:
            s5 += square * cube
            s6 += cube * cube
            r3 += cube * x
    count = last - first + 1
    # The constant goes first, then one power after the other.
    share = s1 / count
    a11 = s2 - share * s1
    a12 = s3 - share * s2
    b1 = r1 - share * r0
    if a11 <= 1e-12:
        return None
    c2 = c3 = 0.0
    a13 = 0.0
    if degree > 1:
        a13 = s4 - share * s3
        share = s2 / count
        bend = a12 / a11
        a22 = s4 - share * s2 - bend * a12
        b2 = r2 - share * r0 - bend * b1
        if a22 <= 1e-12:
            return None
        if cubic:
            a23 = s5 - share * s3 - bend * a13
            share = s3 / count
            bend = a13 / a11
            a33 = s6 - share * s3 - bend * a13
            b3 = r3 - share * r0 - bend * b1
            bend = a23 / a22
            a33 -= bend * a23
            if a33 <= 1e-12:
                return None
            c3 = (b3 - bend * b2) / a33
            b2 -= a23 * c3
        c2 = b2 / a22
    c1 = (b1 - a12 * c2 - a13 * c3) / a11
    return (r0 - s1 * c1 - s2 * c2 - s3 * c3) / count, c1, c2, c3
