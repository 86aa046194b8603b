"""How many small changes of the code the tests notice: mutants of the modules that must not be wrong.

cosmic-ray makes the mutants; each is tried in a copy of this checkout, with the tests about its module. A mutant
that no test notices is a *survivor*: either a test is missing, or the change makes no difference (*equivalent*), and
then `EQUIVALENT` says why. mutmut was weighed as well: it replaces functions by trampolines, which neither the board's
code (run by MicroPython's rules, with constants) nor functions compiled by numba bear.

    python bench/mutants.py [--most N] [--seed N] [MODULE ...]
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]
LIMIT_S: Final = 300.0
"""A mutant that loops for ever is noticed by that; the slowest of the test sets below takes a tenth of it when idle."""
COPIED: Final = ("host", "shared_protocol", "device", "tests", "demo", "bench", "docs", "pyproject.toml", "README.md")


@dataclass(frozen=True)
class Target:
    """A module, and the tests that are about it."""

    path: str
    tests: tuple[str, ...]


TARGETS: Final = {
    "ramps": Target("host/linewright/motion/ramps.py", ("tests/host/test_motion_ramps.py",)),
    "speeds": Target("host/linewright/motion/speeds.py", ("tests/host/test_motion_speeds.py",)),
    "corners": Target("host/linewright/motion/corners.py", ("tests/host/test_motion_corners.py",)),
    "endpoint": Target(
        "shared_protocol/linewire/endpoint.py",
        ("tests/dual/test_wire_endpoint.py", "tests/protocol/test_endpoint.py"),
    ),
    "records": Target(
        "shared_protocol/linewire/records.py", ("tests/dual/test_wire_records.py", "tests/host/test_wirepack.py")
    ),
    "feeder": Target("device/lineboard/feeder.py", ("tests/device/test_feeder.py", "tests/dual/test_board_states.py")),
    "join": Target("host/linewright/tidy/join.py", ("tests/host/test_tidy_join.py",)),
    "placement": Target("host/linewright/planning/placement.py", ("tests/host/test_sheet.py",)),
    "journal": Target("host/linewright/run/journal.py", ("tests/host/test_journal.py",)),
}

EQUIVALENT: Final[dict[str, str]] = {}
"""Mutants that change nothing that anybody could see: ``"module:line:operator:occurrence"`` to the reason."""


def main() -> int:
    """Try the mutants of some modules and print what survived; 1 where something did."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="*", default=list(TARGETS), choices=[*TARGETS, []], metavar="MODULE")
    parser.add_argument("--most", type=int, default=0, help="try a random sample of so many of each module; 0: all")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    options = parser.parse_args()
    survived = 0
    for name in options.modules:
        survived += tried(name, TARGETS[name], options.most, options.seed)
    return 1 if survived else 0


def tried(name: str, target: Target, most: int, seed: int) -> int:
    """Try one module's mutants; returns how many survived that are not known to be equivalent."""
    with tempfile.TemporaryDirectory(prefix="linewright-mutants-") as folder:
        here = Path(folder)
        for part in COPIED:
            source = ROOT / part
            (shutil.copytree if source.is_dir() else shutil.copy2)(source, here / part)
        tests = [test for test in target.tests if (here / test).exists()]
        # Plain pytest runs the unittest files of tests/dual as well. The copy's own code comes first on the path.
        paths = ":".join(str(here / side) for side in ("host", "shared_protocol", "device", "tests", "tests/dual"))
        command = f"env PYTHONPATH={paths} {sys.executable} -m pytest -x -q -n 0 -p no:cacheprovider {' '.join(tests)}"
        (here / "cosmic-ray.toml").write_text(
            f'[cosmic-ray]\nmodule-path = "{target.path}"\ntimeout = {LIMIT_S}\nexcluded-modules = []\n'
            f'test-command = "{command}"\n[cosmic-ray.distributor]\nname = "local"\n',
            encoding="utf-8",
        )
        clean = subprocess.run(command.split(), cwd=here, capture_output=True, text=True, check=False)
        if clean.returncode:
            raise SystemExit(f"{name}: the tests fail without any mutant:\n{clean.stdout[-2000:]}")
        run = [sys.executable, "-m", "cosmic_ray.cli"]
        subprocess.run([*run, "init", "cosmic-ray.toml", "session.sqlite"], cwd=here, check=True, capture_output=True)
        _keep_a_sample(here / "session.sqlite", most, seed)
        subprocess.run([*run, "exec", "cosmic-ray.toml", "session.sqlite"], cwd=here, check=True, capture_output=True)
        return _reported(name, here / "session.sqlite")


def _keep_a_sample(session: Path, most: int, seed: int) -> None:
    with sqlite3.connect(session) as base:
        # Job ids are random; place and operator are not, so a seed names the same sample every time.
        jobs = [
            job
            for (job,) in base.execute(
                "select job_id from mutation_specs order by start_pos_row, start_pos_col, operator_name, occurrence"
            )
        ]
        kept = set(jobs) if not most or most >= len(jobs) else set(random.Random(seed).sample(jobs, most))
        for job in jobs:
            if job not in kept:
                base.execute("delete from mutation_specs where job_id = ?", (job,))
                base.execute("delete from work_items where job_id = ?", (job,))


def _reported(name: str, session: Path) -> int:
    query = (
        "select m.start_pos_row, m.operator_name, m.occurrence, r.test_outcome, r.worker_outcome, r.diff "
        "from mutation_specs m join work_results r on m.job_id = r.job_id "
        "order by m.start_pos_row, m.operator_name, m.occurrence"
    )
    with sqlite3.connect(session) as base:
        rows = base.execute(query).fetchall()
    alive, equivalent = [], 0
    for row, operator, occurrence, outcome, _worker, diff in rows:
        if "SURVIVED" not in str(outcome).upper():
            continue
        mark = f"{name}:{row}:{operator.rpartition('/')[2]}:{occurrence}"
        if mark in EQUIVALENT:
            equivalent += 1
        else:
            alive.append((mark, diff))
    counted = len(rows) - equivalent
    killed = counted - len(alive)
    share = f"{killed / counted:.1%}" if counted else "none"
    print(f"{name}: {killed} of {counted} mutants noticed ({share}); {equivalent} more change nothing", flush=True)
    for mark, diff in alive:
        print(f"  survived {mark}")
        for line in str(diff).splitlines():
            if line[:1] in "+-" and line[:3] not in ("+++", "---"):
                print(f"    {line}")
    return len(alive)


if __name__ == "__main__":
    sys.exit(main())
