"""What a function told at a few places has in between: a cubic spline through them, as a matrix.

Without SciPy's: loading it took a third of a second and 40 MB, more than all the rest of the reference.
"""

from __future__ import annotations

import numpy as np

from brakebeat.reference.model.spline import Array


def between(told_at: Array, wanted_at: Array) -> Array:
    """Weights (w, n) of what is told at ``told_at`` (n,), three places or more in order, for ``wanted_at`` (w,).

    The spline's third derivative is the same on both sides of the outermost knots but one ("not a knot", de Boor,
    A Practical Guide to Splines, ch. IV, from memory); through three places it is a parabola.
    """
    knots = told_at[2:-2]
    powers = min(len(told_at), 4)

    def columns(x: Array) -> Array:
        # On a scale of its own, to spare the rounding.
        x, own = ((at - told_at[0]) / (told_at[-1] - told_at[0]) for at in (x, knots))
        cubes = np.maximum(x[:, None] - own, 0.0) ** 3
        return np.hstack([np.vander(x, powers, increasing=True), cubes])

    return np.asarray(np.linalg.solve(columns(told_at).T, columns(wanted_at).T).T, np.float64)
