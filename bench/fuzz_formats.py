"""Ten thousand damaged files of all formats, and boards with random answers: results, memory and processor time.

    .venv/bin/python bench/fuzz_formats.py [FILES [FIRST]]

Passes if none ends in a traceback, none is read differently from an oracle (`tests/fuzz/formats.py`), none
takes more than 1 GB of memory and none more than 20 s of processor time. Each file is generated from a number, so a
run can be repeated; FIRST is the first number. `tests/fuzz` does the same on a smaller scale, with other numbers.
"""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

MOST_MB = 1000
MOST_CPU_S = 20
BATCH = 100
"""Files per process; memory left by one file counts for the next, so the measured memory is an upper bound."""


PDF_SHARE = 0.005
"""Each PDF has a process of its own, which takes a second to start."""


class TooLongError(BaseException):
    """A file needs more processor time than allowed."""


def _too_long(_number: int, _frame: object) -> None:
    raise TooLongError


def child(name: str, first: int, count: int) -> None:
    """Read ``count`` files; prints a line of JSON for each."""
    signal.signal(signal.SIGVTALRM, _too_long)
    with tempfile.TemporaryDirectory() as folder:
        if name == "board":
            from fuzz.test_boards import talk
        else:
            from fuzz.trial import Trials

            trials = Trials(name, Path(folder))
        for number in range(first, first + count):
            print(json.dumps({"begun": number}), flush=True)
            signal.setitimer(signal.ITIMER_VIRTUAL, MOST_CPU_S)
            begun_s = time.process_time()
            try:
                if name == "board":
                    became, why = ("refused" if talk(number)[0] else "read"), ""
                else:
                    found = trials.one(number)
                    became, why = found.became, found.why
            except TooLongError:
                became, why = "too long", ""
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
            cpu_s = time.process_time() - begun_s
            most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            why = why[-600:] if became in ("bug", "wrong") else ""
            print(
                json.dumps({"number": number, "became": became, "cpu_s": cpu_s, "mb": most_mb, "why": why}), flush=True
            )


def batch(name: str, first: int, count: int) -> list[dict[str, Any]]:
    """The same in a separate process, which may crash."""
    command = [sys.executable, __file__, "--child", name, str(first), str(count)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60 * 60)
    lines = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    results = [line for line in lines if "number" in line]
    if len(results) < count:
        at = lines[-1].get("begun", first) if lines else first
        why = done.stderr[-600:] or str(done.returncode)
        results.append({"number": at, "became": "died", "cpu_s": 0.0, "mb": 0.0, "why": why})
    return results


def main() -> int:
    """Run all of them; returns 1 if a bar is missed."""
    from fuzz.formats import FORMATS

    files = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    names = [*(name for name in FORMATS if name != "pdf"), "board", "pdf"]
    pdfs = round(files * PDF_SHARE)
    each = -(-(files - pdfs) // (len(names) - 1))
    print(f"{'format':12} files   read refused  wrong  bugs  most CPU s  most MB", flush=True)
    faults: list[str] = []
    total = 0
    for name in names:
        results: list[dict[str, Any]] = []
        wanted = pdfs if name == "pdf" else each
        for at in range(0, wanted, BATCH):
            results += batch(name, first + at, min(BATCH, wanted - at))
        counts = Counter(one["became"] for one in results)
        most_mb = max(one["mb"] for one in results)
        bad = sum(counts[key] for key in ("bug", "died", "too long"))
        total += len(results)
        row = f"{name:12} {len(results):5} {counts['read']:6} {counts['refused']:7} {counts['wrong']:6} {bad:5}"
        print(f"{row} {max(one['cpu_s'] for one in results):11.2f} {most_mb:8.0f}", flush=True)
        for one in results:
            if one["became"] not in ("read", "refused"):
                faults.append(f"{name} {one['number']}: {one['became']}\n{one['why']}")
        if most_mb > MOST_MB:
            faults.append(f"{name}: {most_mb:.0f} MB")
    print(f"{total} files, {len(faults)} faults")
    for fault in faults[:40]:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        sys.exit(main())
