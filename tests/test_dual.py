"""tests/dual runs under CPython and under the real MicroPython, and both run the same tests."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
RUN = ROOT / "tests" / "dual" / "run.py"
MICROPYTHON = ROOT / ".tools" / "micropython"
# Heap size, far more than a board's: all modules share one process, and tests keep reference data.
HEAP = "heapsize=16M"
# Measuring the used heap walks through all of it, and this module measures in every turn.
HEAPS = {"test_board_memory": "heapsize=1M"}


def outcomes(*command: object) -> dict[str, str]:
    """Runs the suite; returns the outcome of each test by its name. Fails with all that was printed."""
    done = subprocess.run(
        [str(part) for part in command], capture_output=True, text=True, timeout=600, check=False, cwd=ROOT
    )
    printed = done.stdout + done.stderr
    assert done.returncode == 0, printed
    seen = {name: outcome for outcome, name in re.findall(r"^(ok|failed|skipped) (\S+)$", done.stdout, re.MULTILINE)}
    total = re.search(r"^ran (\d+) failed (\d+) skipped (\d+)$", done.stdout, re.MULTILINE)
    assert total, printed
    ran, failed, skipped = map(int, total.groups())
    assert ran == len(seen), "a test name came twice, or a line was lost:\n" + printed
    assert failed == 0
    assert skipped == list(seen.values()).count("skipped")
    return seen


MODULES = sorted(path.stem for path in RUN.parent.glob("test_*.py") if not path.stem.endswith("_slow"))


@pytest.mark.parametrize("module", MODULES)
def test_runs_the_same_tests_under_both_interpreters(module):
    under_cpython = outcomes(sys.executable, "-W", "error", RUN, module)
    assert list(under_cpython.values()).count("ok") > 0
    if not MICROPYTHON.exists():
        reason = "NOT TESTED UNDER MICROPYTHON: .tools/micropython is missing; `make micropython` says why"
        if os.environ.get("LINEWRIGHT_REQUIRE_MICROPYTHON"):
            pytest.fail(reason)
        pytest.skip(reason)
    under_micropython = outcomes(MICROPYTHON, "-X", HEAPS.get(module, HEAP), RUN, module)
    assert sorted(under_micropython) == sorted(under_cpython)
    # A test may be skipped on one interpreter with a reason, but not on both.
    for name, outcome in under_micropython.items():
        assert "ok" in (outcome, under_cpython[name]), f"{name} ran nowhere"


@pytest.mark.slow
@pytest.mark.parametrize("interpreter", [(sys.executable, "-W", "error"), (MICROPYTHON, "-X", HEAP)])
def test_what_takes_minutes(interpreter):
    if not Path(interpreter[0]).exists():
        pytest.skip("NOT TESTED UNDER MICROPYTHON: .tools/micropython is missing; `make micropython` says why")
    assert set(outcomes(*interpreter, RUN, "_slow").values()) == {"ok"}


def test_the_kernel_makes_the_same_words_as_bytecode(tmp_path):
    """The same source without its decorators, so MicroPython runs it as bytecode."""
    if not MICROPYTHON.exists():
        pytest.skip("NOT TESTED AS BYTECODE: .tools/micropython is missing; `make micropython` says why")
    dual, package = tmp_path / "tests" / "dual", tmp_path / "device" / "lineboard"
    dual.mkdir(parents=True)
    package.mkdir(parents=True)
    for name in ("run.py", "unittest_shim", "test_kernel.py"):
        (dual / name).symlink_to(RUN.parent / name)
    (tmp_path / "shared_protocol").symlink_to(ROOT / "shared_protocol")
    (package / "__init__.py").write_text("")
    source = (ROOT / "device" / "lineboard" / "kernel.py").read_text()
    assert source.count("@micropython.viper\n") > 5
    (package / "kernel.py").write_text(source.replace("@micropython.viper\n", ""))
    seen = outcomes(MICROPYTHON, "-X", HEAP, dual / "run.py", "kernel")
    assert set(seen.values()) == {"ok"}
    assert any(name.endswith("test_ramps_with_changes_of_pace") for name in seen)


def test_a_failing_test_is_reported_by_both(tmp_path):
    """The runner can fail: its copy beside one passing and one failing test reports both in the same format."""
    for name in ("run.py", "unittest_shim"):
        (tmp_path / name).symlink_to(RUN.parent / name)
    (tmp_path / "test_bad.py").write_text(
        "import unittest\n"
        "class Bad(unittest.TestCase):\n"
        "    def test_good(self):\n        self.assertEqual(1, 1)\n"
        "    def test_left_out(self):\n        self.skipTest('a reason')\n"
        "    def test_wrong(self):\n        self.assertEqual(1, 2)\n"
        "    def test_raises_nothing(self):\n        self.assertRaises(ValueError, int, '1')\n"
    )
    interpreters = [[sys.executable]] + ([[str(MICROPYTHON)]] if MICROPYTHON.exists() else [])
    for interpreter in interpreters:
        done = subprocess.run(
            [*interpreter, str(tmp_path / "run.py")], capture_output=True, text=True, check=False, timeout=60
        )
        assert done.returncode == 1, done.stdout
        assert done.stdout.splitlines()[-1] == "ran 4 failed 2 skipped 1"
