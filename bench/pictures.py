"""Photographs to lines: time of each method relative to its reference, and its tone error.

    .venv/bin/python bench/pictures.py [--runs 3] [--only speed|tones]

``speed``: our heron, 1.9 megapixels, on A4 with a pen of 0.5 mm, from the file to the strokes, compiled code warm;
medians, least and most. Each reference is the comparable step of a library, in the same run. ``tones``: mean absolute
tone error / structural similarity seen from 4 m, on pictures that ship with scikit-image, on A4 with a pen of 0.5 mm,
contrast=none, so that the error is against the picture itself.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import skimage
from PIL import Image
from rich.console import Console
from rich.table import Table
from scipy.spatial import cKDTree
from skimage.exposure import equalize_adapthist
from skimage.feature import canny
from skimage.filters import threshold_otsu
from skimage.measure import find_contours
from skimage.morphology import skeletonize

from linewright.sources import methods, photograph
from linewright.sources.picture import Wish
from linewright.sources.tone import meter, stippling
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import ToneMethod

HERON = str(Path(__file__).resolve().parents[1] / "demo" / "heron.jpg")
SHIPPED = Path(skimage.__file__).parent / "data"
TONAL = (
    "hatching",
    "cross-hatching",
    "cross-hatching:form=1",
    "strokes",
    "streamlines",
    "waves",
    "spiral",
    "one-line",
    "stippling",
)
PICTURES = ("camera", "astronaut", "coffee", "chelsea", "moon", "rocket")
BARS = {"outline": 2.0, "contours": 2.0, "hatching": 2.0, "waves": 2.0}


def timed(work: Callable[[], object], runs: int) -> list[float]:
    """Clock times of ``work``, s, after one warm-up run."""
    work()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return taken


def grid_of(words: str) -> np.ndarray:
    """The input coverage of a method."""
    way = methods.chosen(words)
    assert isinstance(way, ToneMethod)
    return way.wanted(photograph.load(HERON), Wish()).coverage


def references(runs: int) -> dict[str, tuple[str, list[float]]]:
    """Named reference and its times, for each method that has one."""
    grey = grid_of("outline")
    full = np.asarray(Image.open(HERON).convert("L"), dtype=np.float64) / 255
    ink = grey > threshold_otsu(grey)
    levels = np.quantile(grey, (np.arange(10) + 0.5) / 10)
    rng = np.random.default_rng(1)
    points = rng.random((10_000, 2)) * grey.shape[::-1]
    side = int(np.sqrt(stippling.PIXELS_PER_POINT * len(points)))
    pixels = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2) * (grey.shape[1] / side)
    prepared = timed(lambda: equalize_adapthist(full), runs)
    return {
        "outline": ("skimage canny, same grid", timed(lambda: canny(grey, 3.75), runs)),
        "contours": ("skimage find_contours, 10 levels", timed(lambda: [find_contours(grey, v) for v in levels], runs)),
        "centre-lines": ("skimage skeletonize", timed(lambda: skeletonize(ink), runs)),
        "hatching": ("skimage equalize_adapthist, the file", prepared),
        "waves": ("skimage equalize_adapthist, the file", prepared),
        "stippling:points=10000": (
            "scipy cKDTree, 30 rounds",
            [30 * t for t in timed(lambda: cKDTree(points).query(pixels, workers=-1), runs)],
        ),
    }


def speed(runs: int) -> Table:
    table = Table("method", "s, median", "least..most", "bar", "reference", "s", "ratio", title=f"heron, {runs} runs")
    beside = references(runs)
    ones = [*methods.METHODS][1:]
    ones = [n for n in ones if methods.METHODS[n].takes.startswith("photograph")]
    ones = [n for n in ones if n not in ("stippling", "one-line")] + ["cross-hatching:form=1", "stippling:points=10000"]
    for words in ones:
        way = methods.chosen(words)
        taken = timed(lambda way=way: way.read(HERON, Wish()), runs)
        bar = BARS.get(words, 6.0 if words.startswith("stippling") else None)
        row(table, words, taken, bar, beside.get(words))
    line = timed(lambda: methods.chosen("one-line:points=10000").read(HERON, Wish()), runs)
    dots = timed(lambda: methods.chosen("stippling:points=10000,rounds=20").read(HERON, Wish()), runs)
    more = [max(0.0, a - b) for a, b in zip(sorted(line), sorted(dots), strict=True)]
    import elkai

    few = np.random.default_rng(1).random((300, 2))
    apart = np.round(np.hypot(*(few[:, None] - few[None]).transpose(2, 0, 1)) * 1e5).astype(int).tolist()
    theirs = timed(lambda: elkai.DistanceMatrix(apart).solve_tsp(), 1)
    row(table, "one-line:points=10000, beyond its stipples", more, 5.0, ("elkai (LKH), 300 points", theirs))
    return table


def row(table: Table, name: str, taken: list[float], bar: float | None, beside: tuple[str, list[float]] | None) -> None:
    middle = statistics.median(taken)
    cells = [name, f"{middle:.2f}", f"{min(taken):.2f}..{max(taken):.2f}", "" if bar is None else f"{bar:g}"]
    if beside is None:
        table.add_row(*cells, "", "", "")
    else:
        reference = statistics.median(beside[1])
        table.add_row(*cells, beside[0], f"{reference:.2f}", f"{middle / reference:.2f}")


def tones() -> Table:
    table = Table("method", *PICTURES, "mean", title="tone error / likeness, A4, pen 0.5 mm, from 4 m")
    for words in TONAL:
        way = methods.chosen(words + ("," if ":" in words else ":") + "contrast=none")
        assert isinstance(way, ToneMethod)
        cells, errors = [], []
        for name in PICTURES:
            path = next(SHIPPED / f"{name}{end}" for end in (".png", ".jpg") if (SHIPPED / f"{name}{end}").exists())
            taken = photograph.load(str(path))
            picture = way.drawn(taken, Wish())
            wanted: Field = way.wanted(taken, Wish())
            reading = meter.read(list(picture.drawing), wanted)
            errors.append(reading.error)
            cells.append(f"{reading.error:.3f}/{reading.likeness:.2f}")
        table.add_row(words, *cells, f"{statistics.mean(errors):.3f}")
    return table


def main() -> int:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--only", choices=["speed", "tones"])
    given = parser.parse_args()
    console = Console(width=160)
    if given.only != "tones":
        console.print(speed(given.runs))
    if given.only != "speed":
        console.print(tones())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
