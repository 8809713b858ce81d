"""The hardest sessions that the simulator knows, through the firmware and the reference, against what really happened.

`python -m tests.hard` prints the same as a table, for more sensors and seeds.
"""

from concurrent.futures import Future, ProcessPoolExecutor

import pytest

from tests.hard.judge import CASES, Outcome, run
from tests.hard.known import BRAKES, REPS

SENSOR = "6 magnets"
# The reference takes seconds a case.
JOBS = [(case, seed, "firmware") for case in CASES for seed in (1, 2)]
JOBS += [(case, 1, "reference") for case in CASES]


def marked(known: dict[tuple, str]) -> list:
    """Every job, the ones that are known to go wrong marked so."""
    rows = []
    for case, seed, engine in JOBS:
        reason = known.get((engine, case)) or known.get((engine, case, seed))
        marks = [pytest.mark.xfail(strict=True, reason=reason)] if reason else []
        rows.append(pytest.param((case, seed, engine), marks=marks, id=f"{engine}-{case}-{seed}"))
    return rows


@pytest.fixture(scope="module")
def outcomes(request):
    """Each job that a chosen test asks for, worked on in processes of their own."""
    wanted = {
        item.callspec.params["job"]
        for item in request.session.items
        if item.path == request.path and hasattr(item, "callspec")
    }
    with ProcessPoolExecutor() as pool:
        waiting: dict[tuple, Future[Outcome]] = {
            job: pool.submit(run, job[0], SENSOR, job[1], job[2]) for job in JOBS if job in wanted
        }
        yield lambda job: waiting[job].result()
        pool.shutdown(cancel_futures=True)


@pytest.mark.parametrize("job", marked(REPS))
def test_every_rep_and_no_other(job, outcomes):
    """As many as truly are, each at its time, with its peak: 1 % for the firmware, 0.5 % for the reference."""
    outcome = outcomes(job)
    assert not outcome.wrong, "; ".join(outcome.wrong)
    assert outcome.found == outcome.true > 0


@pytest.mark.parametrize("job", marked(BRAKES))
def test_brakes_and_late_cues(job, outcomes):
    """Onsets near the true ones, a late cue for each late rep and for no good one, momentum reps let be."""
    outcome = outcomes(job)
    if outcome.wrong:
        pytest.skip("its reps are wrong already")
    assert not outcome.wrong_brakes, "; ".join(outcome.wrong_brakes)


def test_every_known_trouble_is_of_a_job():
    jobs = {(engine, case) for case, _, engine in JOBS} | {
        (engine, case, seed) for case, seed, engine in JOBS
    }
    assert set(REPS) | set(BRAKES) <= jobs
