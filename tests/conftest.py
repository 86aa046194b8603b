"""Settings of all test suites."""

from hypothesis import HealthCheck, settings

# The same examples on every run and every machine, and no limit of time on any of them: a failure is then about the
# code.  `pytest --hypothesis-profile=wide` looks further, with fresh examples each time.
settings.register_profile("same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("wide", max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")

# Plain unittest files for two interpreters; test_dual.py runs them under both, tests/dual/run.py under one.
collect_ignore = ["dual"]
