"""Least squares for a handful of points, in floats: runs a few times a rep, never per edge."""


def solve(matrix, right):
    # type: (list[list[float]], list[float]) -> list[float] | None
    """Solve a small symmetric positive system by elimination; None where it is singular. Both are overwritten."""
    size = len(right)
    for column in range(size):
        pivot = matrix[column][column]
        if pivot <= 1e-12:
            return None
        for row in range(column + 1, size):
            factor = matrix[row][column] / pivot
            if factor:
                for k in range(column, size):
                    matrix[row][k] -= factor * matrix[column][k]
                right[row] -= factor * right[column]
    for row in range(size - 1, -1, -1):
        total = right[row]
        for k in range(row + 1, size):
            total -= matrix[row][k] * right[k]
        right[row] = total / matrix[row][row]
    return right


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
    matrix = [[power_sums[row + column] for column in range(size)] for row in range(size)]
    return solve(matrix, right)
