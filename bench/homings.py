"""Two hundred homings in a nearly full heap: tests that all succeed, without allocation or collection.

    .venv/bin/python bench/homings.py [COUNT [FREE_BYTES]]

The Unix MicroPython has the heap of the smallest supported board (doubled, like its pointers), of which all but
FREE_BYTES are occupied. Host, wire, machine and its two switches are computed beside the board's code in the same
heap (tests/dual), and collect their own garbage. Passes if every homing finds its switches within one step and no
turn of the board's loop with moving motors changes the allocated amount: an allocation would raise it, a collection
would lower it. The frame of a call, which is allocated and freed within the turn, is not detected.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MICROPYTHON = ROOT / ".tools" / "micropython"
HEAP_BYTES = 2 * 205_184
"""Twice that of a Pico W (measured in the emulator)."""
FREE_BYTES = 32_000
LIMIT_S = 3600


def figures_of(program: str, *arguments: int) -> list[int] | None:
    """Output of a program of this folder in such a heap; None if it fails, with its output shown."""
    folders = ("bench", "tests/dual", "device", "shared_protocol", "tests/dual/unittest_shim")
    command = [MICROPYTHON, "-X", f"heapsize={HEAP_BYTES}", ROOT / "bench" / program, *arguments]
    done = subprocess.run(
        list(map(str, command)),
        env={"MICROPYPATH": ":".join(str(ROOT / folder) for folder in folders)},
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    if done.returncode:
        print(done.stdout + done.stderr)
        return None
    return [int(word) for word in done.stdout.split()]


def main() -> int:
    """Print the results; returns 1 if a homing failed or the heap changed while motors moved."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    free_bytes = int(sys.argv[2]) if len(sys.argv) > 2 else FREE_BYTES
    figures = figures_of("homings_board.py", count, free_bytes)
    if figures is None:
        return 1
    homings, taken, free, turns, most, least, spread = figures
    print(f"{homings} homings, {taken:,} bytes of the heap taken, {free:,} free")
    print(f"  {turns:,} turns with moving motors: {most} bytes taken at most, {-least} given back at most")
    print(f"  approaches of one switch within {spread} steps")
    return int(bool(most or least or spread > 1))


if __name__ == "__main__":
    sys.exit(main())
