"""Icons as filled hulls: distance of their centre lines from the strokes that the hulls were made of.

    .venv/bin/python bench/hulls.py FOLDER [--take 24] [--seed 4] [--pictures FILE.png]

FOLDER holds icons drawn with strokes on a square. Each stroke becomes the area that a round pen of a twelfth of the
square's width leaves (shapely's buffer), as icon fonts and tracing programs write it; `--as centre-lines` then has to
find the strokes again. Distances are in widths of that pen: from our lines to the true ones (wrong lines) and from the
true ones to ours (missing lines), the mean and the 99th percentile.

Reference: the icon's own strokes. The pictures are for inspection, because no number states whether a line looks right.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from pathlib import Path

import numpy as np
import shapely
from rich.console import Console
from rich.table import Table

from linewright.sources.picture import Wish
from linewright.sources.svg import read_svg
from linewright.sources.tone.centre_lines import CentreLines

SIDE_MM = 100.0
WIDE_MM = SIDE_MM / 12
APART_MM = 0.5
"""Distance between compared points, in pen widths."""

TILE_PX = 300


def hull_of(strokes: list[np.ndarray]) -> shapely.Geometry:
    """The area that a round pen covers."""
    parts = [shapely.linestrings(stroke) if len(stroke) > 1 else shapely.points(stroke[0]) for stroke in strokes]
    return shapely.union_all(shapely.buffer(parts, WIDE_MM / 2))


def as_svg(area: shapely.Geometry) -> str:
    """That area as one filled path."""
    rings = [ring for part in shapely.get_parts(area) for ring in (part.exterior, *part.interiors)]
    path = " ".join(
        "M" + " ".join(f"{x:.3f},{y:.3f}" for x, y in shapely.get_coordinates(ring)) + "z" for ring in rings
    )
    page = f'width="{SIDE_MM:g}mm" height="{SIDE_MM:g}mm" viewBox="0 0 {SIDE_MM:g} {SIDE_MM:g}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {page}><path fill-rule="evenodd" d="{path}"/></svg>'


def away(strokes: list[np.ndarray], others: list[np.ndarray]) -> np.ndarray:
    """Distances, in widths of the pen, of points along strokes from others."""
    lines = shapely.multilinestrings([shapely.linestrings(stroke) for stroke in strokes if len(stroke) > 1])
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(lines, APART_MM)))
    there = [shapely.linestrings(other) if len(other) > 1 else shapely.points(other[0]) for other in others]
    return np.asarray(shapely.distance(shapely.geometrycollections(there), points)) / WIDE_MM


def tile(area: shapely.Geometry, strokes: list[np.ndarray]) -> np.ndarray:
    """A picture of a hull with our lines on it."""
    import cv2

    scale = 16 * TILE_PX / SIDE_MM
    picture = np.full((TILE_PX, TILE_PX, 3), 255, np.uint8)
    rings = [ring for part in shapely.get_parts(area) for ring in (part.exterior, *part.interiors)]
    corners = [np.round(shapely.get_coordinates(ring) * scale).astype(np.int32) for ring in rings]
    cv2.fillPoly(picture, corners, (200, 200, 200), cv2.LINE_AA, 4)
    for stroke in strokes:
        points = np.round(stroke * scale).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(picture, [points], False, (0, 0, 170), 2, cv2.LINE_AA, 4)
    return picture


def main() -> int:
    """Print one row for each direction of comparison."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--take", type=int, default=24)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--pictures", type=Path)
    given = parser.parse_args()
    icons = sorted(given.folder.glob("*.svg"))
    icons = random.Random(given.seed).sample(icons, min(given.take, len(icons)))
    wrong, missing, tiles = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for icon in icons:
            drawn = read_svg(icon, wish=Wish(room_mm=(SIDE_MM, SIDE_MM)))
            true = list(drawn.drawing)
            area = hull_of(true)
            hull = Path(folder) / icon.name
            hull.write_text(as_svg(area))
            ours = list(CentreLines().read(str(hull), Wish(fit="keep")).drawing)
            wrong.append(away(ours, true))
            missing.append(away(true, ours))
            tiles.append(tile(area, ours))
    table = Table("of a pen's width", "mean", "99 %")
    for name, found in (("our lines from the true ones", wrong), ("the true ones from ours", missing)):
        table.add_row(
            name, f"{np.mean([d.mean() for d in found]):.3f}", f"{np.mean([np.quantile(d, 0.99) for d in found]):.3f}"
        )
    console = Console()
    console.print(f"{len(icons)} icons")
    console.print(table)
    if given.pictures:
        import cv2

        tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % 6)
        cv2.imwrite(str(given.pictures), np.vstack([np.hstack(tiles[i : i + 6]) for i in range(0, len(tiles), 6)]))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
