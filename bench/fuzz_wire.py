"""Ten million bytes of garbage into each end of the link under CPython, a million under MicroPython.

    .venv/bin/python bench/fuzz_wire.py

Passes if there is no exception, each end still greets the next host afterwards, and no memory
grows. tests/protocol/test_fuzz.py does the same on a smaller scale. The same seeds give the same bytes every time.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CPYTHON_BYTES, MICROPYTHON_BYTES = 10_000_000, 1_000_000


def run(interpreter: Path, total: int, seed: int = 1) -> dict[str, dict[str, int]]:
    """Run both ends under one interpreter; returns their counters by name."""
    command = [str(interpreter), str(ROOT / "bench" / "fuzz_wire_board.py"), str(total), str(seed)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{interpreter.name} ended: {done.stdout[-500:]}{done.stderr[-2000:]}")
    names = ("bytes", "frames", "damaged", "oversize", "foreign", "odd", "grown")
    lines = [line.split() for line in done.stdout.splitlines()]
    return {name: dict(zip(names, map(int, numbers), strict=True)) for name, *numbers in lines}


def main() -> int:
    code = 0
    for interpreter, total in (
        (Path(sys.executable), CPYTHON_BYTES),
        (ROOT / ".tools" / "micropython", MICROPYTHON_BYTES),
    ):
        if not interpreter.exists():
            print(f"{interpreter.name} is not here; run python tests/get_micropython.py")
            continue
        begun_s = time.monotonic()
        ends = run(interpreter, total)
        print(f"{interpreter.name}, {time.monotonic() - begun_s:.0f} s")
        for end, counts in ends.items():
            print(f"  {end:6s}" + ", ".join(f"{count:,} {name}" for name, count in counts.items()))
            code |= counts["bytes"] < total
    return code


if __name__ == "__main__":
    sys.exit(main())
