"""Processor time of reading a map of a million points, without and with removal of covered parts.

    .venv/bin/python bench/big_map.py [--before CHECKOUT] [--points 1000000] [--times 3]

The map has as many points in areas (star-shaped, of ten colours, lined or not) as in roads, 100 points each, from a
seed. CHECKOUT is an older state of this repository: its reader is run on the same file, each in a process of its own,
and the ratio of processor times is shown. Without it the reference is Python's XML parser on the same bytes.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent.parent
PER_SHAPE = 100
SIDE = 1000.0

READING = """
import sys, time
from linewright.sources.svg import read_svg
data = open(sys.argv[1], "rb").read()
options = {}
if sys.argv[2] != "before":
    from linewright.sources.picture import Wish
    options["wish"] = Wish(fit="keep", see_through=sys.argv[2] == "all")
start = time.process_time()
picture = read_svg(data, **options)
print(time.process_time() - start, len(picture.drawing), picture.drawing.vertices)
"""
PARSING = """
import sys, time
from xml.etree import ElementTree
data = open(sys.argv[1], "rb").read()
start = time.process_time()
root = ElementTree.fromstring(data)
print(time.process_time() - start, len(root), 0)
"""


def a_map(points: int, seed: int = 1) -> str:
    """A map as SVG."""
    chance = np.random.default_rng(seed)
    colours = [f"#{value:06x}" for value in chance.integers(0x202020, 0xD0D0D0, 10)]
    shapes = []
    for i in range(points // PER_SHAPE):
        at = chance.uniform(0.0, SIDE, 2)
        if i % 2:
            steps = np.cumsum(chance.normal(0.0, 0.05, PER_SHAPE)) + chance.uniform(0.0, 2.0 * np.pi)
            line = at + np.cumsum(np.column_stack((np.cos(steps), np.sin(steps))), axis=0)
            shapes.append(f'<path d="M{_text(line)}" fill="none" stroke="#333"/>')
        else:
            turn = np.linspace(0.0, 2.0 * np.pi, PER_SHAPE, endpoint=False)
            radius = chance.uniform(2.0, 8.0) * (1.0 + 0.15 * np.sin(5.0 * turn + i))
            ring = at + radius[:, None] * np.column_stack((np.cos(turn), np.sin(turn)))
            lined = ' stroke="#666"' if i % 4 else ""
            shapes.append(f'<path d="M{_text(ring)}Z" fill="{colours[i // 2 % 10]}"{lined}/>')
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE:g}mm" height="{SIDE:g}mm" viewBox="0 0 1000 1000">'
    return head + "\n".join(shapes) + "</svg>"


def _text(points: np.ndarray) -> str:
    return "L".join(f"{x:.2f} {y:.2f}" for x, y in points.tolist())


def seconds(code: str, path: Path, what: str, checkout: Path, times: int) -> tuple[float, str]:
    """Median of processor time, and what was read."""
    folders = [str(checkout / name) for name in ("host", "shared_protocol", "device")]
    found = []
    for _ in range(times):
        ran = subprocess.run(
            [sys.executable, "-c", code, str(path), what],
            env={**os.environ, "PYTHONPATH": os.pathsep.join(folders)},
            capture_output=True,
            text=True,
            check=True,
            timeout=900,
        )
        taken, rest = ran.stdout.split(" ", 1)
        found.append(float(taken))
    return statistics.median(found), rest.strip()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--before", type=Path, help="an older checkout, whose reader is the reference")
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--times", type=int, default=3)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.svg"
        path.write_text(a_map(given.points))
        print(f"{path.stat().st_size / 1e6:.1f} MB")
        if given.before is None:
            base, read = seconds(PARSING, path, "", HERE, given.times)
            print(f"parsing alone: {base:.2f} s")
        else:
            base, read = seconds(READING, path, "before", given.before.resolve(), given.times)
            print(f"before: {base:.2f} s, {read} strokes and points")
        for what, words in (("all", "reading"), ("seen", "reading, covered parts left out")):
            taken, read = seconds(READING, path, what, HERE, given.times)
            print(f"{words}: {taken:.2f} s, {taken / base:.2f} of the reference; {read} strokes and points")


if __name__ == "__main__":
    main()
