"""From file to finished drawing on the virtual rig: time and memory of each stage, for the demo and a large drawing.

    .venv/bin/python bench/whole_drawing.py [--runs 3]

Reference of the comparison: the drawing's own playing time, what a real machine would need. The large drawing is 400
closed waves of 500 vertices, 200 000 in all, which tidying reduces. Its two bars: planned in
seconds, and drawn on the virtual rig in well under a minute per 100 000 ramps.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parent.parent
LINEWRIGHT = str(Path(sys.executable).with_name("linewright"))
WAVES, VERTICES = 400, 500


def large_drawing(path: Path) -> None:
    """Write rings around a common middle, each a wave, to an SVG."""
    lines = []
    for i in range(WAVES):
        turns = [2 * math.pi * k / (VERTICES - 1) for k in range(VERTICES)]
        radii = [(2 + 0.22 * i) * (1 + 0.05 * math.sin(9 * turn + 0.1 * i)) for turn in turns]
        waves = zip(radii, turns, strict=True)
        points = " ".join(f"{100 + r * math.cos(t):.4f},{145 + r * math.sin(t):.4f}" for r, t in waves)
        lines.append(f'<polyline points="{points}" fill="none" stroke="black"/>')
    head = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 210 297" width="210mm" height="297mm">'
    path.write_text(f"{head}{''.join(lines)}</svg>")


def run(arguments: list[str]) -> tuple[float, dict[str, float]]:
    """Clock seconds of one command, and its JSON output."""
    begin = time.perf_counter()
    done = subprocess.run([LINEWRIGHT, *arguments, "--json"], check=True, capture_output=True, text=True)
    return time.perf_counter() - begin, json.loads(done.stdout)


def main() -> int:
    """Print one table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=3)
    runs = parser.parse_args().runs
    headings = (
        "picture",
        "vertices left",
        "ramps",
        "plan s",
        "draw s",
        "draw s per 100 000 ramps",
        "x faster than life",
    )
    table = Table(*headings, title=f"median (least..most) of {runs} runs; draw includes its checks")
    with tempfile.TemporaryDirectory() as folder:
        large = Path(folder) / "large.svg"
        large_drawing(large)
        for picture in (*sorted((ROOT / "demo").glob("*.svg")), large):
            job = str(Path(folder) / "job.lw")
            plans, draws = [], []
            for _ in range(runs):
                seconds, _ = run(["plan", str(picture), "--sheet", "A4", "-o", job, "--no-pictures"])
                plans.append(seconds)
                seconds, said = run(["draw", job])
                draws.append(seconds)
            plan_s, draw_s = statistics.median(plans), statistics.median(draws)
            table.add_row(
                picture.stem,
                f"{said['vertices']:,.0f}",
                f"{said['ramps']:,.0f}",
                f"{plan_s:.2f} ({min(plans):.2f}..{max(plans):.2f})",
                f"{draw_s:.2f} ({min(draws):.2f}..{max(draws):.2f})",
                f"{draw_s / said['ramps'] * 1e5:.1f}",
                f"{said['played_s'] / draw_s:.0f}",
            )
    Console(width=130).print(table)
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"most memory of any one process: {peak_mb:.0f} MB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
