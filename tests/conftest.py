"""Settings of all test suites."""

import os
import signal
import sys
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings

# The same examples on every run and every machine, and no limit of time on any of them: a failure is then about the
# code.  `make test-all` takes more of them ("more"); `pytest --hypothesis-profile=wide` looks further, with fresh
# examples each time.
settings.register_profile(
    "same", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "more", derandomize=True, deadline=None, max_examples=200, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("wide", max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")

# What the developer's own machines have left behind is not for the tests: none reads or writes their state.
_state = tempfile.TemporaryDirectory(prefix="linewright-tests-")
os.environ["XDG_STATE_HOME"] = _state.name


def pytest_runtest_setup() -> None:
    """No test finds the usual rig of another one."""
    (Path(_state.name) / "linewright" / "machines.json").unlink(missing_ok=True)


# Commands are started by the hundred: each would compile all modules again where nothing compiled may be kept.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# A suite that is started in the background (``&``, nohup) is not to be interrupted, nor is what it starts; but some
# tests are about being interrupted.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Plain unittest files for two interpreters; test_dual.py runs them under both, tests/dual/run.py under one.
collect_ignore = ["dual"]
