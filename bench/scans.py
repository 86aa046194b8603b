"""Scans and photographs of drawings: whether exactly the original strokes are found.

    .venv/bin/python bench/scans.py [--out FOLDER] [--only pencil biro]

Pictures are made here, with strokes that are known: a pencil sketch on grained paper, a biro drawing, a comic with
solid spots and lettering, each under uneven light with a hard shadow across and JPEG damage; and the demo's cards on a
dark table. Each is drawn by `auto`. The ink of the drawing, at the true width of the pen, is compared with
the ink of the original: precision is the share of the drawing's ink with ink of the original within one pen, recall the
share of the original's ink with ink of the drawing within one pen. Length is that of the lines drawn over that of the
original's lines: without solid spots, far more than 1 means lines drawn twice.

The bar: precision and recall of at least 0.9 on each.
"""

from __future__ import annotations

import argparse
import io
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from rich.console import Console
from rich.table import Table
from scipy import ndimage

from linewright.sources import methods
from linewright.sources.drawing_files import read_drawing
from linewright.sources.lettering import Lettering
from linewright.sources.picture import Wish
from linewright.sources.tone.coverage import inked

ROOM = (128.0, 190.0)
PEN = 0.5
PIXEL = 0.1  # mm of the pictures: 254 dots to the inch
DEMO = Path(__file__).resolve().parents[1] / "demo"


@dataclass(frozen=True)
class Original:
    """A drawing: strokes in mm, solid spots as (x, y, radius), its size, and the width of its lines."""

    strokes: list
    spots: list
    size: tuple
    line_mm: float

    def ink(self, width_mm: float) -> np.ndarray:
        cover = inked(self.strokes, self.size, pen_mm=width_mm, pixel_mm=PIXEL)
        y, x = (np.indices(cover.shape) + 0.5) * PIXEL
        for at_x, at_y, radius in self.spots:
            cover = np.maximum(cover, np.clip((radius - np.hypot(x - at_x, y - at_y)) / PIXEL + 0.5, 0, 1))
        return cover

    @property
    def length(self) -> float:
        return sum(float(np.hypot(*np.diff(s, axis=0).T).sum()) for s in self.strokes)


def curve(rng: np.random.Generator, size: tuple, reach: float) -> np.ndarray:
    """A hand's line: a smooth curve through a few places."""
    at = rng.uniform(0.15, 0.85, 2) * size
    ways = np.cumsum(rng.normal(0, 0.5, 60)) * 0.25 + rng.uniform(0, 2 * np.pi)
    steps = np.column_stack((np.cos(ways), np.sin(ways))) * reach / 60
    return np.clip(at + np.cumsum(steps, axis=0), 6, np.array(size) - 6)


def words(text: str, size: tuple, top: float, tall: float) -> list:
    """Single-line letters as strokes, with dots of i and bars of t."""
    picture = Lettering().read(text, Wish(room_mm=(size[0] * 0.8, tall), turn_deg=0))
    d = picture.drawing
    return [d.points_mm[d.starts[i] : d.starts[i + 1]] + [size[0] * 0.1, top] for i in range(len(d))]


def sketch(seed: int, line_mm: float, spots: int) -> Original:
    """Curves, circles, a little hatching, words."""
    rng = np.random.default_rng(seed)
    size = (120.0, 160.0)
    strokes = [curve(rng, size, reach) for reach in (90, 70, 60, 60, 50, 40, 40, 30)]
    for _ in range(5):
        at, radius = rng.uniform(0.2, 0.8, 2) * size, rng.uniform(4, 14)
        turn = np.linspace(0, 2 * np.pi, 90)
        strokes.append(np.column_stack((at[0] + radius * np.cos(turn), at[1] + radius * np.sin(turn))))
    for k in range(7):
        strokes.append(np.array([[20 + 2.5 * k, 120.0], [28 + 2.5 * k, 108.0]]))
    strokes += words("tilt it, tiny kitty", size, 142.0, 12.0)
    places = [(*(rng.uniform(0.2, 0.8, 2) * size), rng.uniform(1.2, 2.6)) for _ in range(spots)]
    return Original(strokes, places, size, line_mm)


def card(name: str) -> Original:
    """A card of the demo at the size of a postcard."""
    picture = read_drawing(str(DEMO / f"{name}.svg"), Wish(room_mm=(105.0, 148.0), turn_deg=0))
    d = picture.drawing
    strokes = [d.points_mm[d.starts[i] : d.starts[i + 1]] + 6.0 for i in range(len(d))]
    return Original(strokes, [], (picture.width_mm + 12, picture.height_mm + 12), 0.4)


def light(shape: tuple, seed: int) -> np.ndarray:
    """Uneven light: falling off to one corner, with the hard shadow of a hand across another."""
    y, x = np.indices(shape) / max(shape)
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi)
    fall = 0.78 + 0.28 * ((x - 0.4) * np.cos(turn) + (y - 0.4) * np.sin(turn))
    shadow = 1 - 0.3 / (1 + np.exp(-(x * 0.8 + y * 0.6 - 0.75) * 150))
    return np.clip(fall * shadow, 0.1, 1.0)


def taken(original: Original, kind: str, seed: int) -> np.ndarray:
    """(h, w, 3) uint8: the drawing as scanned or photographed."""
    rng = np.random.default_rng(seed)
    cover = original.ink(original.line_mm)
    paper = rng.normal(0, 1, cover.shape)
    grain = ndimage.gaussian_filter(paper, 1.2) * 2.4
    dark, tint = {"pencil": (0.55, (1, 1, 1)), "biro": (0.8, (0.55, 0.6, 0.2)), "comic": (0.93, (1, 1, 1))}.get(
        kind, (0.9, (1, 1, 1))
    )
    if kind == "pencil":
        cover = cover * np.clip(0.75 + 0.45 * grain, 0, 1)  # graphite only on the peaks of the grain
    cover = ndimage.gaussian_filter(cover, 0.8)
    rgb = 1 - dark * cover[..., None] * np.array(tint)
    rgb = rgb * (0.97 + 0.012 * grain)[..., None] * light(cover.shape, seed)[..., None] * [1.0, 0.985, 0.95]
    if kind == "card":
        rim = 60
        table = np.clip(0.22 + 0.03 * np.sin(np.arange(rgb.shape[1] + 2 * rim) / 9), 0, 1)
        whole = np.repeat(np.repeat(table[None, :, None], rgb.shape[0] + 2 * rim, 0), 3, 2)
        shade = np.zeros(whole.shape[:2])
        shade[rim + 14 : 14 - rim, rim + 14 : 14 - rim] = 1
        whole *= (1 - 0.6 * ndimage.gaussian_filter(shade, 8))[..., None]
        whole[rim:-rim, rim:-rim] = rgb
        rgb = whole
    rgb = np.clip(rgb + rng.normal(0, 0.012, rgb.shape), 0, 1)
    stream = io.BytesIO()
    Image.fromarray((rgb * 255).astype(np.uint8)).save(stream, "JPEG", quality={"comic": 30, "card": 70}.get(kind, 60))
    return np.asarray(Image.open(stream))


def figures(original: Original, kind: str, seed: int, out: Path | None, name: str) -> tuple[float, float, float, str]:
    """Precision, recall, ratio of lengths, and the chosen method."""
    picture_px = taken(original, kind, seed)
    folder = out or Path()
    path = folder / f".{name}.png" if out is None else folder / f"{name}-taken.png"
    Image.fromarray(picture_px).save(path)
    try:
        picture = methods.chosen("auto").read(str(path), Wish(room_mm=ROOM, pen_width_mm=PEN, turn_deg=0))
    finally:
        if out is None:
            path.unlink()
    rim_mm = 6.0 if kind == "card" else 0.0
    scale = (original.size[0] + 2 * rim_mm) / picture.width_mm
    d = picture.drawing
    found = [d.points_mm[d.starts[i] : d.starts[i + 1]] * scale - rim_mm for i in range(len(d))]
    # One pen of the sheet, at the scale of the original.
    pen = PEN * scale
    theirs = original.ink(max(original.line_mm, PIXEL)) > 0.5
    shape_mm = (theirs.shape[1] * PIXEL, theirs.shape[0] * PIXEL)
    ours = inked(found, shape_mm, pen_mm=pen, pixel_mm=PIXEL) > 0.5
    table_mm = (shape_mm[0] + 2 * rim_mm, shape_mm[1] + 2 * rim_mm)
    all_of_it = inked([s + rim_mm for s in found], table_mm, pen_mm=pen, pixel_mm=PIXEL) > 0.5
    near = ndimage.distance_transform_edt(~theirs) * PIXEL <= pen
    precision = (ours & near).sum() / max(1, all_of_it.sum())
    recall = (ndimage.distance_transform_edt(~ours) * PIXEL <= pen)[theirs].mean()
    length = sum(float(np.hypot(*np.diff(s, axis=0).T).sum()) for s in found) / original.length
    if out is not None:
        shown = np.where(ours[..., None], [0, 0, 0], np.where(theirs[..., None], [250, 150, 150], [255, 255, 255]))
        Image.fromarray(shown.astype(np.uint8)).save(out / f"{name}-drawn.png")
    return float(precision), float(recall), length, picture.warnings[0].split(":")[0]


def cases() -> dict[str, tuple]:
    """Pictures: name, and the function that makes it."""
    found = {
        "pencil": (sketch(1, 0.5, 0), "pencil", 1),
        "biro": (sketch(2, 0.4, 2), "biro", 2),
        "comic": (sketch(3, 0.8, 8), "comic", 3),
    }
    return found | {f"card {name}": (card(name), "card", 4) for name in ("heron", "lighthouse", "helmet", "drifter")}


def main() -> int:
    """Print the table; returns 1 if the bar is missed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--out", type=Path, help="where pictures are kept")
    parser.add_argument("--only", nargs="*", default=[])
    given = parser.parse_args()
    if given.out:
        given.out.mkdir(parents=True, exist_ok=True)
    table = Table("picture", "method", "precision", "recall", "length", "strokes", "s of processor", title="scans")
    low = 1.0
    for name, (original, kind, seed) in cases().items():
        if given.only and not any(word in name for word in given.only):
            continue
        began = time.process_time()
        precision, recall, length, method = figures(original, kind, seed, given.out, name.replace(" ", "-"))
        low = min(low, precision, recall)
        spent = time.process_time() - began
        cells = [f"{precision:.3f}", f"{recall:.3f}", f"{length:.2f}", str(len(original.strokes)), f"{spent:.1f}"]
        table.add_row(name, method, *cells)
    Console().print(table)
    return int(low < 0.9)


if __name__ == "__main__":
    raise SystemExit(main())
