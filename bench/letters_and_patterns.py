"""Processor time from texts and seeds to strokes, compared with other libraries for comparable steps.

    .venv/bin/python bench/letters_and_patterns.py [--seeds 5]

Letters: a page of 2000 characters, against the strokes of the letters' own package, which neither wraps, nor composes
accents, nor rounds. Contours of a grid: against scikit-image. Regions of seeds: against scipy. Patterns: A4 with a
0.5 mm pen. The bar is 2 s for any of them; processor time, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable

import numpy as np
from HersheyFonts import HersheyFonts
from rich.console import Console
from rich.table import Table
from scipy import ndimage, spatial
from skimage import measure

from linewright.sources import methods
from linewright.sources.patterns import cells, islands
from linewright.sources.picture import Wish

BAR_S = 2.0
PAGE = "The tide comes in, the tide goes out, and the heron waits in a hat of rain. " * 26
ROOM = Wish((190.0, 277.0), pen_width_mm=0.5)


def cpu_s(work: Callable[[], object], runs: int) -> list[float]:
    """Processor time of each run, seconds; one run before them warms up."""
    work()
    taken = []
    for _ in range(runs):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return taken


def spread(seconds: list[float]) -> str:
    return f"{statistics.median(seconds):.3f} ({min(seconds):.3f}..{max(seconds):.3f})"


def main() -> int:
    """Print two tables; exit status 1 beyond the bar."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, default=5)
    seeds = parser.parse_args().seeds
    table = Table("step", "ours, CPU s", "reference, CPU s", "ratio", title="beside other people's code")

    theirs = HersheyFonts()
    theirs.load_default_font("rowmans")
    height = ndimage.gaussian_filter(np.random.default_rng(1).normal(size=(600, 400)), 6)
    level = float(np.quantile(height, 0.6))
    points = np.random.default_rng(2).uniform(0, 1, (2000, 2)) * ROOM.room_mm
    page = methods.chosen("lettering:face=plain")
    pairs: dict[str, tuple[Callable[[], object], Callable[[], object]]] = {
        "a page of 2000 letters / their package": (
            lambda: page.read(PAGE, ROOM),
            lambda: list(theirs.strokes_for_text(PAGE)),
        ),
        "contours of 600 x 400 / scikit-image": (
            lambda: islands.contours(height, level, np.arange(400.0), np.arange(600.0)),
            lambda: measure.find_contours(height, level),
        ),
        "2000 regions / scipy": (lambda: cells.voronoi(points, ROOM.room_mm), lambda: spatial.Voronoi(points)),
    }
    for name, (ours, reference) in pairs.items():
        a, b = cpu_s(ours, 7), cpu_s(reference, 7)
        table.add_row(name, spread(a), spread(b), f"{statistics.median(a) / statistics.median(b):.1f}")

    patterns = Table("pattern", "CPU s, median (least..most)", "strokes", "ink, m", title=f"A4, seeds 1 to {seeds}")
    slowest = 0.0
    for name in (name for name, method in methods.METHODS.items() if method.takes == "seed"):
        taken, strokes, ink = [], [], []
        for seed in range(1, seeds + 1):
            begin = time.process_time()
            drawing = methods.chosen(f"{name}:seed={seed}").read("", ROOM).drawing
            taken.append(time.process_time() - begin)
            strokes.append(len(drawing))
            ink.append(float(drawing.stroke_lengths_mm().sum()) / 1000)
        slowest = max(slowest, statistics.median(taken))
        patterns.add_row(name, spread(taken), f"{min(strokes)}..{max(strokes)}", f"{min(ink):.1f}..{max(ink):.1f}")
    console = Console(width=110)
    console.print(table)
    console.print(patterns)
    return 0 if slowest <= BAR_S else 1


if __name__ == "__main__":
    raise SystemExit(main())
