"""An hour of drawing over a bad wire, with holds, changes of pace and silences at random: tests that no memory grows.

    .venv/bin/python bench/soak.py [HOURS [SEED]]

Host, wire, board and machine run in one process and in virtual time (tests/end_to_end/test_soak.py, which also checks
every pulse and every stroke against the plan). One write in a hundred is damaged, one lost, one doubled, two late.
Passes if all is drawn as planned and the number of objects and the memory of the process stay constant.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "end_to_end"))

from test_soak import soak


def main(words: list[str]) -> int:
    hours, seed = float(words[0]) if words else 1.0, int(words[1]) if len(words) > 1 else 2
    begun_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        found = soak(Path(folder), hours, seed)
    print(f"{found.seconds / 60:.1f} minutes of virtual time in {time.monotonic() - begun_s:.0f} s")
    print(f"  {found.strokes:,} strokes, {found.ramps:,} ramps, all drawn as planned, no pulse beyond a limit")
    print("  " + ", ".join(f"{name}: {count}" for name, count in found.did.items()))
    print(f"  damaged frames: {found.damaged_here:,} at the host, {found.damaged_there:,} at the board")
    print(f"  frames sent again by the host: {found.sent_again:,}")
    for name, (before, after), unit in (
        ("objects", found.objects, 1),
        ("resident memory, kB", found.resident_bytes, 1000),
    ):
        print(f"  {name}: {before / unit:,.0f} in the second quarter, {after / unit:,.0f} in the last")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
