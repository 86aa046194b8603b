"""Settings of all test suites."""

import os
import signal
import sys
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings

# The same examples on every run and machine, without time limits, so that failures depend only on the
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

# Tests neither read nor write the developer's own state folders.
_state = tempfile.TemporaryDirectory(prefix="linewright-tests-")
os.environ["XDG_STATE_HOME"] = _state.name


def pytest_runtest_setup() -> None:
    """The usual rig of one test is not seen by another."""
    (Path(_state.name) / "linewright" / "machines.json").unlink(missing_ok=True)


# Tests start hundreds of commands; without a bytecode cache each would compile all modules again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Processes started in the background (``&``, nohup) ignore interrupts, and so do their children; but some
# tests check interrupts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Plain unittest files for two interpreters; test_dual.py runs them under both, tests/dual/run.py under one.
collect_ignore = ["dual"]
