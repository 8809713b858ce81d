"""The running integral of samples: what SciPy's does, whose package for it takes longer to load than a rep to read."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.model.spline import Array


def running_integral(values: Array, t_s: Array) -> Array:
    """Integral of samples ``values`` (n,) at times (n,) up to each of them, by trapezoids; 0 at the first."""
    total = np.zeros(len(values))
    np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t_s), out=total[1:])
    return total
