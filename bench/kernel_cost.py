"""Processor time per pulse word: the kernel as viper and as bytecode under Unix MicroPython, and under CPython.

    .venv/bin/python bench/kernel_cost.py [--runs 9]

Reference of the comparison: the same source as MicroPython bytecode (the decorators taken out), in the same run.
Loading the ramps is included. Figures are of this machine's processor; only the ratios apply to a board, and the
board's own cost is measured in the emulator.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parent.parent
BOARD_PART = ROOT / "bench" / "kernel_cost_board.py"
MICROPYTHON = ROOT / ".tools" / "micropython"


def measure(command: list[str], path: list[Path], runs: int) -> dict[str, tuple[float, float, float]]:
    """Median, least and most microseconds per word, by case."""
    joined = ":".join(str(p) for p in path)
    environment = {"MICROPYPATH": joined, "PYTHONPATH": joined}
    printed = subprocess.run(
        [*command, str(BOARD_PART), str(runs)], env=environment, check=True, capture_output=True, text=True
    ).stdout
    rows = (line.split("|") for line in printed.splitlines())
    return {name: (float(median), float(least), float(most)) for name, median, least, most in rows}


def main() -> int:
    """Print one table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=9)
    runs = parser.parse_args().runs
    device, wire = ROOT / "device", ROOT / "shared_protocol"
    results = {"CPython": measure([sys.executable], [device, wire], runs)}
    reference = "CPython"
    if MICROPYTHON.exists():
        results["viper"] = measure([str(MICROPYTHON)], [device, wire], runs)
        with tempfile.TemporaryDirectory() as folder:
            package = Path(folder) / "lineboard"
            package.mkdir()
            (package / "__init__.py").write_text("")
            source = (device / "lineboard" / "kernel.py").read_text()
            plain = source.replace("@micropython.viper\n", "").replace("import const, micropython,", "import const,")
            (package / "kernel.py").write_text(plain)
            results["bytecode"] = measure([str(MICROPYTHON)], [Path(folder), wire], max(runs // 3, 1))
        reference = "bytecode"
    else:
        print("no .tools/micropython here (make micropython): CPython only", file=sys.stderr)
    table = Table(title=f"microseconds per pulse word: median (least..most); ratio to {reference}")
    table.add_column("case")
    for name in results:
        table.add_column(name, justify="right")
    for case in results["CPython"]:
        row = [case]
        for cases in results.values():
            median, least, most = cases[case]
            row.append(f"{median:.3f} ({least:.3f}..{most:.3f})  x{median / results[reference][case][0]:.3f}")
        table.add_row(*row)
    Console(width=140).print(table)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
