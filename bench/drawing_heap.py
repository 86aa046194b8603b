"""An hour of drawing in a nearly full heap: tests that nothing is allocated or collected while motors move.

    .venv/bin/python bench/drawing_heap.py [MINUTES [FREE_BYTES]]

The Unix MicroPython has the heap of the smallest supported board (doubled, like its pointers), of which all but
FREE_BYTES are occupied; time is virtual. Sheets of dense strokes are drawn one after the other, each with changes of
pace and a hold. Host and wire are computed beside the board's code and in the same heap (tests/dual); they collect
their own garbage. The player counts blocks of pulses, not pulses. Passes if no turn of the board's loop with moving
motors changes the allocated amount, except turns that answer a request; their share is printed.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "bench"))

from homings import FREE_BYTES, figures_of


def main() -> int:
    """Print the results; returns 1 if the heap changed while motors moved, outside of turns that answer requests."""
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    free_bytes = int(sys.argv[2]) if len(sys.argv) > 2 else FREE_BYTES
    figures = figures_of("drawing_heap_board.py", round(minutes * 60), free_bytes)
    if figures is None:
        return 1
    seconds, sheets, ramps, turns, most, least, asked, answer = figures
    print(f"{seconds / 60:.1f} minutes of drawing, {sheets} sheets, {ramps:,} ramps, {free_bytes:,} bytes of heap free")
    print(f"  {turns:,} turns with moving motors: {most} bytes taken at most, {-least} given back (a collection)")
    print(f"  {asked} turns with a request among them: {answer} bytes at most")
    return int(most > 0 or least < 0)


if __name__ == "__main__":
    raise SystemExit(main())
