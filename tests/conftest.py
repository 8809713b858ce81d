"""Settings for every test."""

import os

from hypothesis import HealthCheck, settings

# Time never decides a test: no deadline, no complaint about a slow machine. CI draws fixed examples.
settings.register_profile("brakebeat", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("brakebeat-ci", settings.get_profile("brakebeat"), derandomize=True, database=None)
settings.load_profile("brakebeat-ci" if os.environ.get("CI") else "brakebeat")
