"""Settings for every test."""

import os
import signal

from hypothesis import HealthCheck, settings

from brakebeat.threads import one_thread_each

# Before NumPy is loaded; tests that take processes and threads besides would only get in each other's way.
one_thread_each()

# Whoever runs the tests with `nohup` or in a script's background has them ignore these signals, and what is ignored is
# inherited: a command that a test interrupts would go on, as it should.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)

# Time never decides a test: no deadline, no complaint about a slow machine. Nor does luck: the examples are the same
# ones in every run, unless one asks for others to find what nobody thought of.
settings.register_profile(
    "fixed", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True, database=None
)
settings.register_profile("random", settings.get_profile("fixed"), derandomize=False)
settings.load_profile("random" if os.environ.get("BRAKEBEAT_LONG") else "fixed")
