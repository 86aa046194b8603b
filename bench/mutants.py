"""Mutation tests of critical modules: the share of small code changes that the tests notice.

cosmic-ray makes the mutants. Each is written into a copy of this checkout, and the tests about its module run there in
a forked process, which has the libraries loaded already. A mutant that no test notices is a *survivor*: either a test
is missing, or the change makes no difference (*equivalent*), and then `equivalent_mutants.toml` says why.

Three kinds of mutants are not made: a change of annotations and docstrings alone; a comparison by identity (``is``) in
place of one by value, whose result for numbers depends on the interpreter; a text that Python cannot parse.

mutmut is not used: it replaces functions by trampolines, which work neither for the board's code (run by MicroPython's
rules, with constants) nor for functions compiled by numba.

    python bench/mutants.py [--most N] [--seed N] [MODULE ...]
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import tomllib
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import unified_diff
from itertools import islice
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]
LIMIT_CPU_S: Final = 120
LIMIT_S: Final = 600.0
"""Time limit, s: a mutant that loops or waits for ever counts as noticed; the slowest test set takes 30 s on an idle
machine.
"""
QUIET: Final = "ignore::pytest.PytestAssertRewriteWarning"
"""Plugins of pytest are among the libraries loaded already."""
COPIED: Final = ("host", "shared_protocol", "device", "tests", "demo", "bench", "docs", "pyproject.toml", "README.md")
PATHS: Final = ("host", "shared_protocol", "device", "tests", "tests/dual")


@dataclass(frozen=True)
class Target:
    """A module and its tests."""

    path: str
    tests: tuple[str, ...]


TARGETS: Final = {
    "ramps": Target("host/linewright/motion/ramps.py", ("tests/host/test_motion_ramps.py",)),
    "speeds": Target("host/linewright/motion/speeds.py", ("tests/host/test_motion_speeds.py",)),
    "corners": Target("host/linewright/motion/corners.py", ("tests/host/test_motion_corners.py",)),
    "endpoint": Target(
        "shared_protocol/linewire/endpoint.py",
        (
            "tests/dual/test_wire_endpoint.py",
            "tests/protocol/test_transitions.py",
            "tests/protocol/test_losses.py",
            "tests/protocol/test_endpoint.py",
        ),
    ),
    "records": Target(
        "shared_protocol/linewire/records.py", ("tests/dual/test_wire_records.py", "tests/host/test_wirepack.py")
    ),
    "feeder": Target("device/lineboard/feeder.py", ("tests/device/test_feeder.py", "tests/dual/test_board_states.py")),
    "guard": Target("device/lineboard/guard.py", ("tests/device/test_guard.py", "tests/dual/test_board_limits.py")),
    "server": Target("device/lineboard/server.py", ("tests/device/test_server.py", "tests/dual/test_board_states.py")),
    "join": Target("host/linewright/tidy/join.py", ("tests/host/test_tidy_join.py",)),
    "placement": Target(
        "host/linewright/planning/placement.py", ("tests/host/test_placement.py", "tests/host/test_sheet.py")
    ),
    "journal": Target("host/linewright/run/journal.py", ("tests/host/test_journal.py",)),
    "story": Target("host/linewright/run/story.py", ("tests/host/test_journal.py",)),
}

EQUIVALENT: Final = Path(__file__).with_name("equivalent_mutants.toml")


def equivalent(module: str) -> set[str]:
    """Equivalent mutants of a module: ``"line before -> line after"``."""
    told = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get(module, [])
    return {change for reason in told for change in reason["changes"]}


@dataclass(frozen=True)
class Mutant:
    """One small change of a module: its whole text, and the lines that differ, before and after."""

    text: str
    before: str
    after: str


def main() -> int:
    """Run the mutants of some modules and print the survivors; returns 1 if there are any."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="*", default=list(TARGETS), choices=[*TARGETS, []], metavar="MODULE")
    parser.add_argument("--most", type=int, default=0, help="try a random sample of so many of each module; 0: all")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    options = parser.parse_args()
    return 1 if sum(survivors(name, TARGETS[name], options.most, options.seed) for name in options.modules) else 0


def survivors(name: str, target: Target, most: int, seed: int) -> int:
    """Run one module's mutants in a copy of the checkout; returns the number of survivors not listed as equivalent."""
    with tempfile.TemporaryDirectory(prefix="linewright-mutants-") as folder:
        here = Path(folder)
        for part in COPIED:
            source = ROOT / part
            (shutil.copytree if source.is_dir() else shutil.copy2)(source, here / part)
        mutated = here / target.path
        original = mutated.read_text(encoding="utf-8")
        mutants = mutants_of(original, random.Random(seed))
        # The copy's own code comes before that of the environment, in this process's children and in theirs.
        sys.path[:0] = [str(here / side) for side in PATHS]
        os.environ["PYTHONPATH"] = os.pathsep.join(sys.path[: len(PATHS)])
        _expect_clean(name, here, _noticed(here, target.tests, loaded=here / "loaded.json"))
        _load(json.loads((here / "loaded.json").read_text()))
        _expect_clean(name, here, _noticed(here, target.tests))
        written_s = int(time.time())
        same = equivalent(name)
        tried = known = alive = 0
        for mutant in islice(mutants, most or None):
            tried += 1
            mutated.write_text(mutant.text, encoding="utf-8")
            # Python identifies a compiled file by the modification second and size of its source.
            os.utime(mutated, (written_s + tried, written_s + tried))
            if _noticed(here, target.tests):
                continue
            change = f"{mutant.before} -> {mutant.after}"
            if change in same:
                known += 1
            else:
                alive += 1
                print(f"  survived {name}: {change}", flush=True)
        del sys.path[: len(PATHS)]
    counted = tried - known
    share = f"{(counted - alive) / counted:.1%}" if counted else "none"
    print(f"{name}: {counted - alive} of {counted} mutants noticed ({share}); {known} more change nothing", flush=True)
    return alive


def _expect_clean(name: str, here: Path, failed: bool) -> None:
    if failed:
        raise SystemExit(f"{name}: the tests fail without any mutant:\n{(here / 'out').read_text()[-2000:]}")


def mutants_of(text: str, order: random.Random) -> Iterator[Mutant]:
    """Distinct mutants of a module with a different meaning, ordered by ``order``."""
    import cosmic_ray.ast
    import cosmic_ray.mutating
    import cosmic_ray.plugins

    nodes = list(cosmic_ray.ast.ast_nodes(cosmic_ray.ast.get_ast(text)))
    places = []
    for name in sorted(cosmic_ray.plugins.operator_names()):
        kind = cosmic_ray.plugins.get_operator(name)
        if not name.endswith(("_Is", "_IsNot")) and not kind.arguments():
            operator = kind()
            count = sum(1 for node in nodes for _ in operator.mutation_positions(node))
            places += [(operator, number) for number in range(count)]
    order.shuffle(places)
    meant = _meaning(text)
    seen = {text}
    for operator, number in places:
        changed = cosmic_ray.mutating.mutate_code(text, operator, number)
        if changed is None or changed in seen or _meaning(changed) in (meant, None):
            continue
        seen.add(changed)
        lines = list(unified_diff(text.splitlines(), changed.splitlines(), n=0))[2:]
        before, after = (" ".join(line[1:].strip() for line in lines if line[0] == sign) for sign in "-+")
        yield Mutant(changed, before, after)


def _meaning(text: str) -> str | None:
    """The module's syntax tree without annotations and docstrings; None if Python cannot parse it."""
    try:
        tree = ast.parse(text)
    except SyntaxError:
        return None
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign):
            node.annotation = ast.Constant(None)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            node.returns = None
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            node.value = ast.Constant(None)
    return ast.dump(tree)


def _load(names: list[str]) -> None:
    """Import the libraries that the tests use, once for all mutants."""
    for name in names:
        # A module that cannot be imported alone is imported by its users.
        with contextlib.suppress(Exception):
            importlib.import_module(name)


def _noticed(here: Path, tests: tuple[str, ...], loaded: Path | None = None) -> bool:
    """Whether tests of the copy fail, in a separate process; ``loaded`` receives the names of imported modules."""
    child = os.fork()
    if not child:
        status = 1
        try:
            status = _run(here, tests, loaded)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(status)
    ends_s = time.monotonic() + LIMIT_S
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            break
        if time.monotonic() > ends_s:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return True
        time.sleep(0.01)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    return status != 0


def _run(here: Path, tests: tuple[str, ...], loaded: Path | None) -> int:
    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_CPU_S, LIMIT_CPU_S))
    os.chdir(here)
    tempfile.tempdir = str(here)
    out = os.open(here / "out", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(out, 1)
    os.dup2(out, 2)
    import pytest

    outcome = int(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-W", QUIET, *tests]))
    if loaded is not None:
        ours = tuple(str(here / side) for side in ("host", "shared_protocol", "device", "tests"))
        others = [
            name
            for name, module in list(sys.modules.items())
            if not str(getattr(module, "__file__", None) or ours[0]).startswith(ours)
        ]
        loaded.write_text(json.dumps(others))
    return outcome


if __name__ == "__main__":
    sys.exit(main())
