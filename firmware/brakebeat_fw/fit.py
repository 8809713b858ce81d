"""Least squares for a handful of points, in floats: runs a few times a rep, never per edge."""


def take(matrix, right, row, value, weight):
    # type: (list[list[float]], list[float], list[float], float, float) -> None
    """Add an observation, ``row`` times the unknowns = ``value``, to the upper half of a system for ``solve``."""
    for a in range(len(row)):
        part = weight * row[a]
        right[a] += part * value
        line = matrix[a]
        for b in range(a, len(row)):
            line[b] += part * row[b]


def solve(matrix, right):
    # type: (list[list[float]], list[float]) -> list[float] | None
    """Solve a small symmetric positive system by elimination; None where it is singular.

    Only the upper half of the matrix is read. Both are overwritten; the last pivot is one over the variance of the
    last unknown, in units of the noise.
    """
    size = len(right)
    for column in range(size):
        top = matrix[column]
        if top[column] <= 1e-12:
            return None
        for row in range(column + 1, size):
            factor = top[row] / top[column]
            if factor:
                for k in range(row, size):
                    matrix[row][k] -= factor * top[k]
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


def polynomial(xs, ys, degree):
    # type: (list[float], list[float], int) -> list[float] | None
    """Coefficients, lowest power first, of the least-squares polynomial; None where the points do not carry it.

    xs should be scaled to about -1 to 1: boards have single-precision floats.
    """
    size = degree + 1
    power_sums = [0.0] * (2 * size - 1)
    right = [0.0] * size
    for position in range(len(xs)):
        x = xs[position]
        y = ys[position]
        power = 1.0
        for k in range(2 * size - 1):
            power_sums[k] += power
            if k < size:
                right[k] += power * y
            power *= x
    return solve([power_sums[row : row + size] for row in range(size)], right)
