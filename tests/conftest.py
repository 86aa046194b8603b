"""Settings of all test suites."""

import signal

from hypothesis import HealthCheck, settings

# The same examples on every run and every machine, and no limit of time on any of them: a failure is then about the
# code.  `pytest --hypothesis-profile=wide` looks further, with fresh examples each time.
settings.register_profile("same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("wide", max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")

# A suite that is started in the background (``&``, nohup) is not to be interrupted, nor is what it starts; but some
# tests are about being interrupted.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Plain unittest files for two interpreters; test_dual.py runs them under both, tests/dual/run.py under one.
collect_ignore = ["dual"]
