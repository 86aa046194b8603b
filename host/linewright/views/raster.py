"""Scenes as PNG: drawn too large with pillow, then reduced, which smooths the edges."""

from __future__ import annotations

import io
import itertools
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from linewright.views.scene import Ink, Label, Patch, Scene

OVERSIZE: Final = 3
"""Each pixel is the mean of 3 x 3: ten grey levels on an edge, at nine times the work."""

LONG_SIDE_PX: Final = 1600
"""Fills a screen, and shows a 0.5 mm pen on A4 as three pixels."""

CORNER_COSINE: Final = 0.94
"""Segments that turn by more than 20 degrees get a round joint; below, the gap at the outside of the joint is
width / 2 * (1 - cos 20 deg), a thirtieth of the line, and is not seen."""


def to_image(scene: Scene, *, long_side_px: int = LONG_SIDE_PX) -> Image.Image:
    """The scene as an RGB image whose longer side has this many pixels."""
    scale = long_side_px / max(scene.width_mm, scene.height_mm)
    size = (max(1, round(scene.width_mm * scale)), max(1, round(scene.height_mm * scale)))
    image = Image.new("RGB", size, "#ffffff")
    for item in scene.items:
        if isinstance(item, Ink):
            _ink(image, item, scale)
        elif isinstance(item, Patch):
            _patch(image, item, scale)
        else:
            _label(image, item, scale)
    return image


def to_png(scene: Scene, *, long_side_px: int = LONG_SIDE_PX) -> bytes:
    """The scene as the bytes of a PNG file."""
    out = io.BytesIO()
    to_image(scene, long_side_px=long_side_px).save(out, "PNG", optimize=False)
    return out.getvalue()


def _patch(image: Image.Image, item: Patch, scale: float) -> None:
    box = [item.x_mm, item.y_mm, item.x_mm + item.width_mm, item.y_mm + item.height_mm]
    x0, y0, x1, y1 = (round(v * scale) for v in box)
    width = max(1, round(item.edge_mm * scale)) if item.edge else 0
    ImageDraw.Draw(image).rectangle((x0, y0, max(x0, x1), max(y0, y1)), fill=item.fill, outline=item.edge, width=width)


def _label(image: Image.Image, item: Label, scale: float) -> None:
    font = ImageFont.load_default(max(6.0, item.size_mm * scale))
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
    ImageDraw.Draw(image).text((item.x_mm * scale, item.y_mm * scale), item.text, item.colour, font, anchor=anchor)


def _ink(image: Image.Image, item: Ink, scale: float) -> None:
    """Draw the strokes as one mask, so that opacity belongs to the ink and not to each stroke."""
    if not len(item.points_mm):
        return
    zoom = scale * OVERSIZE
    width_px = max(1, round(item.width_mm * zoom))
    points, starts = _thinned(item.points_mm * zoom, item.starts)
    mask = Image.new("L", (image.width * OVERSIZE, image.height * OVERSIZE))
    draw = ImageDraw.Draw(mask)
    pairs = points.tolist()
    bounds = starts.tolist()
    for a, b in itertools.pairwise(bounds):
        if b - a > 1:
            draw.line([(x, y) for x, y in pairs[a:b]], fill=255, width=width_px)
    radius = width_px / 2
    if radius >= 1:
        for x, y in points[_round_at(points, starts)].tolist():
            draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=255)
    else:
        draw.point([(x, y) for x, y in points[starts[:-1]].tolist()], fill=255)
    mask = mask.reduce(OVERSIZE)
    if item.opacity < 1:
        mask = mask.point(lambda level: round(level * item.opacity))
    image.paste(item.colour, (0, 0, image.width, image.height), mask)


def _thinned(
    points_px: NDArray[np.float64], starts: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Leave out points that fall into the same large pixel as the one before; ends of strokes stay."""
    cell = np.floor(points_px).astype(np.int64)
    keep = np.ones(len(points_px), dtype=bool)
    keep[1:] = (cell[1:] != cell[:-1]).any(axis=1)
    keep[starts[:-1]] = True
    keep[starts[1:] - 1] = True
    lengths = np.add.reduceat(keep.astype(np.int64), starts[:-1])
    return points_px[keep], np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)


def _round_at(points_px: NDArray[np.float64], starts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) bool: where a round end or joint is drawn: both ends of every stroke, and its corners."""
    at = np.zeros(len(points_px), dtype=bool)
    step = np.diff(points_px, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    along = (step[1:] * step[:-1]).sum(axis=1)
    at[1:-1] = along < CORNER_COSINE * length[1:] * length[:-1]
    at[starts[:-1]] = True
    at[starts[1:] - 1] = True
    return at
