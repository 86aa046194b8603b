"""Cost of decoding records and of frames through both endpoints, on CPython and on MicroPython.

    .venv/bin/python bench/wire_cost.py

MicroPython is taken from .tools/ (see tests/get_micropython.py). Its Unix build runs the same viper code as the board,
on another processor: compare the lines with each other, not with the board's bars.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def main() -> None:
    script = str(ROOT / "bench" / "wire_cost_board.py")
    for interpreter in (Path(sys.executable), ROOT / ".tools" / "micropython"):
        print(interpreter.name)
        if not interpreter.exists():
            print("  not here; run python tests/get_micropython.py")
            continue
        done = subprocess.run([str(interpreter), script], capture_output=True, text=True, check=True)
        for line in done.stdout.splitlines():
            name, median, spread = line.split()
            print(f"  {name:34s} {median:>9s} +- {spread} us")


if __name__ == "__main__":
    main()
