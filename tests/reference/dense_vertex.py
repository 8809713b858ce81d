"""A turnaround's likelihood in its plain form: every edge's covariance with every other, by SciPy's normal density."""

import numpy as np
from scipy.integrate import odeint
from scipy.stats import multivariate_normal

from brakebeat.reference.turnaround.side import RISE_S


def grown(x, rise_s):
    late = np.maximum(x - rise_s, 0.0)
    return (x**3 - late**3) / (6.0 * rise_s)


def swelled(x, swell_s):
    part = np.minimum(x / swell_s, 1.0)
    late = np.maximum(x / swell_s - 1.0, 0.0)
    return swell_s**2 * (part**4 / 4.0 - part**5 / 10.0 + 0.5 * late + 0.5 * late**2)


def slowed(x, growth, per_s):
    """How far a wheel is at times x (n,) that an acceleration ``growth(t)`` moves, less ``per_s`` times its speed: the
    equation of motion, integrated by SciPy's odeint (LSODA)."""
    order = np.argsort(x)
    times = np.concatenate([[0.0], np.maximum(x[order], 0.0) + 1e-9 * np.arange(1, len(x) + 1)])
    states = odeint(
        lambda state, t: (state[1], growth(t) - per_s * state[1]),
        (0.0, 0.0),
        times,
        rtol=1e-10,
        atol=1e-12,
        hmax=0.005,
    )
    angle = np.empty(len(x))
    angle[order] = states[1:, 0]
    return angle


def cost_of(edges, split, unseen_s, rest_s, scales, manner):
    """−2·log likelihood, less its constant, and the expected angle of the turn.

    Args:
        edges: times, angles along the sense before, standard deviations (n,) each; ``split`` of them come before.
        unseen_s: how long after the last edge before the wheel stood.
        scales: jerk density, usual acceleration, spacing, the shift's doubt, how long the pull takes to come (0: none
            comes).
        manner: how much the acceleration changes; ``rough`` is in the jerk density already.
    """
    t_s, angle, sigma = edges
    jerk, usual, spacing, shift_sd, change_s = scales
    before = np.arange(len(t_s)) < split
    vertex = t_s[max(split - 1, 0)] + unseen_s
    x = np.where(before, vertex - t_s, t_s - vertex - rest_s)
    rested = rest_s > 0.0
    fall = np.where(~before & rested, grown(x, RISE_S), 0.5 * x**2)
    per_s = manner.weakens_per_s
    if per_s:
        even = slowed(x, lambda t: min(t / RISE_S, 1.0) if rested else 1.0, per_s)
        fall = np.where(before, fall, even)
    spread = (manner.spread_at_rest if rested else manner.spread) * usual * fall
    same = before[:, None] == before[None, :]
    low, apart = np.minimum.outer(x, x), np.abs(np.subtract.outer(x, x))
    covariance = same * jerk * low**3 * (low**2 / 20.0 + low * apart / 8.0 + apart**2 / 12.0)
    steady = x**3 / 6.0 * manner.steady_per_s * usual
    covariance += same * np.outer(steady, steady)
    if not rested and change_s > 0.0:
        swell = swelled(x, change_s)
        if per_s:
            swell = slowed(x, lambda t: (u := min(t / change_s, 1.0)) * u * (3.0 - 2.0 * u), per_s)
        change = np.where(before, 0.0, manner.change * usual * swell)
        covariance += np.outer(change, change)
    # As the code under test does it, against rounding.
    covariance += 1e-11 * np.eye(len(t_s))
    covariance += (same if rested else 1.0) * np.outer(spread, spread)
    ahead = np.where(before, shift_sd, -shift_sd)
    covariance += np.outer(ahead, ahead) + spacing**2 + np.diag(sigma**2)
    top = angle[max(split - 1, 0)] + 0.5 * spacing
    offset = angle - top + usual * fall
    density = multivariate_normal.logpdf(offset, np.zeros(len(t_s)), covariance)
    turned = top + spacing**2 * np.linalg.solve(covariance, offset).sum()
    return -2.0 * density - len(t_s) * np.log(2.0 * np.pi), turned
