"""Sets of simulated athletes at several inertias, as the bench of the profile has them."""

from brakebeat.bench.athletes import (
    INERTIAS,
    at_rest_and_steady,
    athlete,
    set_point,
    steady_rep,
    true_optimum_kg_m2,
    working_reps,
)

__all__ = [
    "INERTIAS",
    "at_rest_and_steady",
    "athlete",
    "set_point",
    "steady_rep",
    "true_optimum_kg_m2",
    "working_reps",
]
