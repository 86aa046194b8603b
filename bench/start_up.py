"""Processor time of `linewright --help`, relative to a bare interpreter in the same run.

    .venv/bin/python bench/start_up.py [--runs 15]

The bar is 0.4 s of processor time; the ratio to `python -c pass` shows our own share.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
from pathlib import Path

from rich.console import Console
from rich.table import Table

LINEWRIGHT = Path(sys.executable).with_name("linewright")
CASES = {
    "python -c pass (reference)": [sys.executable, "-c", "pass"],
    "linewright --help": [str(LINEWRIGHT), "--help"],
    "linewright draw --help": [str(LINEWRIGHT), "draw", "--help"],
    "python -c 'import numpy'": [sys.executable, "-c", "import numpy"],
}


def cpu_s(command: list[str]) -> float:
    """User and system time of one run, seconds."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> int:
    """Print one table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    figures: dict[str, list[float]] = {name: [] for name in CASES}
    # Interleaved in each round, so that disturbances affect all of them.
    for _ in range(runs):
        for name, command in CASES.items():
            figures[name].append(cpu_s(command))
    reference = statistics.median(next(iter(figures.values())))
    table = Table("command", "CPU s, median", "least..most", "ratio", title=f"start-up, {runs} runs")
    for name, seconds in figures.items():
        median = statistics.median(seconds)
        spread = f"{min(seconds):.3f}..{max(seconds):.3f}"
        table.add_row(name, f"{median:.3f}", spread, f"{median / reference:.1f}")
    Console(width=100).print(table)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
