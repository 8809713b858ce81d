"""How many threads a process computes in."""

from __future__ import annotations

import os

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def one_thread_each() -> None:
    """Processes started from now on compute in one thread, and so does this one if NumPy is not loaded yet.

    Matrices are small here: threads that share one out wait for each other longer than they compute (a strap's
    calibration took five times as long on two busy cores), get in the way of a process a core, and round otherwise.
    What the environment says already stays.
    """
    for name in _ONE_THREAD:
        os.environ.setdefault(name, "1")
