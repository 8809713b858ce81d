"""The bench of the calibrations: what it counts, and a few seeds of each kind within their limits."""

import numpy as np
import pytest

from brakebeat.bench.calibration_cases import CASES, Case, Outcome
from brakebeat.bench.calibrations import main, markdown, measure
from brakebeat.errors import InputError

_BY_NAME = {case.name: case for case in CASES}


def _made_up(seed):
    if seed == 3:
        raise InputError("spin.csv: too few edges")
    # The one value is off by as many standard uncertainties as the seed says.
    return Outcome(np.array([seed * 0.5, 0.0]), np.array([0.5, 1.0]), seed * 0.5)


def test_shares_and_worst_are_those_of_the_outcomes(capsys):
    row = measure(Case("strap", "made up", "%", 1.0, _made_up), range(5))
    assert row.failed == (3,)
    assert "seed 3: spin.csv" in capsys.readouterr().err
    # Seeds 0, 1, 2 within two standard uncertainties, 4 not; the second value always.
    assert row.values_covered == pytest.approx(7 / 8)
    assert row.runs_covered == pytest.approx(3 / 4)
    assert (row.worst, row.worst_seed) == (2.0, 4)
    # A run that gave nothing is within no limit.
    assert row.within == pytest.approx(3 / 5)
    assert not row.good
    assert "**87.5 %**" in markdown([row])


@pytest.mark.parametrize(
    "name",
    [
        "magnets-dirty-6",
        "friction-dirty-6",
        "inertia-one-mass-clean-6",
        "inertia-added-clean-6",
        "strap-thickness-fitted-clean-6",
    ],
)
def test_a_few_fresh_seeds_are_within_the_limits(name):
    row = measure(_BY_NAME[name], range(1_450_000, 1_450_003))
    assert row.failed == ()
    assert row.worst <= row.case.limit
    assert row.values_covered > 0.7


def test_a_wrong_name_is_told(capsys):
    assert main(["--only", "nonsense"]) == 2
    assert "strap-thickness-fitted-clean-6" in capsys.readouterr().out
