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
