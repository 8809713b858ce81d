"""Settings for every test."""

import os

from hypothesis import HealthCheck, settings

# Time never decides a test: no deadline, no complaint about a slow machine. Nor does luck: the examples are the same
# ones in every run, unless one asks for others to find what nobody thought of.
settings.register_profile(
    "fixed", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True, database=None
)
settings.register_profile("random", settings.get_profile("fixed"), derandomize=False)
settings.load_profile("random" if os.environ.get("BRAKEBEAT_LONG") else "fixed")
