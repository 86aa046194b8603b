"""Scenes as PNG: drawn oversized with pillow, then reduced for smooth edges."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from linewright.pictures.scene import Ink, Label, Patch, Scene
from linewright.wording import GAP

OVERSIZE: Final = 3
"""Each pixel is the mean of 3 x 3: ten grey levels on an edge, at nine times the work."""

LONG_SIDE_PX: Final = 1600
"""Fills a screen and shows a 0.5 mm pen on A4 three pixels wide."""

UNSEEN_PX: Final = 0.5
"""Tolerance for dropping vertices, in oversized pixels: a sixth of a pixel of the picture."""

CORNER_COSINE: Final = 0.94
"""Segments that turn by more than 20 degrees get a round joint; below, the gap at the outside is width / 2 * (1 - cos
20 deg), a thirtieth of the line, which is invisible."""


def to_image(scene: Scene, *, long_side_px: int = LONG_SIDE_PX) -> Image.Image:
    """The scene as an RGB image with this longer side."""
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
    if item.as_strokes:
        from linewright.pictures.letters import lettered

        _ink(image, lettered(item), scale)
        return
    font = ImageFont.load_default(max(6.0, item.size_mm * scale))
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
    text = item.text.replace(GAP, " ")  # the font lacks this character and would show a box
    if all(_has(font, character) for character in set(text)):
        ImageDraw.Draw(image).text((item.x_mm * scale, item.y_mm * scale), text, item.colour, font, anchor=anchor)
    else:
        _label(image, replace(item, text=text, as_strokes=True), scale)


def _has(font: ImageFont.FreeTypeFont | ImageFont.ImageFont, character: str) -> bool:
    """Whether a font has a character, and not only its replacement box."""
    return character == " " or bytes(font.getmask(character)) != bytes(font.getmask(_NO_LETTER))


_NO_LETTER: Final = "\uffff"
"""A character in no font: Unicode defines it as a noncharacter."""


def _ink(image: Image.Image, item: Ink, scale: float) -> None:
    """Draw the strokes as one mask, so that opacity applies to the ink as a whole and not to each stroke."""
    if not len(item.points_mm):
        return
    zoom = scale * OVERSIZE
    width_px = max(1, round(item.width_mm * zoom))
    points, starts = _thinned(item.points_mm * zoom, item.starts)
    # The mask is only as large as the ink, because a picture may have hundreds of inks.
    room = width_px / 2 + OVERSIZE
    left, top = np.clip(np.floor((points.min(axis=0) - room) / OVERSIZE), 0, None).astype(int).tolist()
    right, bottom = np.ceil((points.max(axis=0) + room) / OVERSIZE).astype(int).tolist()
    right, bottom = min(right, image.width), min(bottom, image.height)
    if left >= right or top >= bottom:
        return
    points = points - np.array([left, top]) * OVERSIZE
    mask = Image.new("L", ((right - left) * OVERSIZE, (bottom - top) * OVERSIZE))
    draw = ImageDraw.Draw(mask)
    pairs = points.tolist()
    bounds = starts.tolist()
    for a, b in itertools.pairwise(bounds):
        if b - a > 1:
            draw.line([(x, y) for x, y in pairs[a:b]], fill=255, width=width_px)
    radius = (width_px - 1) / 2  # pillow's ellipses include the pixels at their ends
    if radius >= 1:
        for x, y in points[_round_at(points, starts)].tolist():
            draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=255)
    else:
        draw.point([(x, y) for x, y in points[starts[:-1]].tolist()], fill=255)
    mask = mask.reduce(OVERSIZE)
    if item.opacity < 1:
        mask = mask.point(lambda level: round(level * item.opacity))
    image.paste(item.colour, (left, top, right, bottom), mask)


def _thinned(
    points_px: NDArray[np.float64], starts: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Drop invisible vertices: those within `UNSEEN_PX` of the line without them; ends of strokes are kept."""
    lengths = np.diff(starts)
    lines = np.flatnonzero(lengths > 1)
    if not len(lines):
        return points_px, starts
    owner = np.repeat(np.arange(len(lengths)), lengths)
    inside = lengths[owner] > 1
    number = np.cumsum(lengths > 1) - 1
    shapes = shapely.simplify(
        shapely.linestrings(points_px[inside], indices=number[owner[inside]]), UNSEEN_PX, preserve_topology=False
    )
    kept, belongs = shapely.get_coordinates(shapes, return_index=True)
    dots = points_px[~inside]
    order = np.argsort(np.concatenate((lines[belongs], owner[~inside])), kind="stable")
    counts = np.ones(len(lengths), dtype=np.int64)
    counts[lines] = np.bincount(belongs, minlength=len(lines))
    return np.concatenate((kept, dots))[order], np.concatenate(([0], np.cumsum(counts))).astype(np.int64)


def _round_at(points_px: NDArray[np.float64], starts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) bool: vertices with a round end or joint: both ends of every stroke, and its corners."""
    at = np.zeros(len(points_px), dtype=bool)
    step = np.diff(points_px, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    along = (step[1:] * step[:-1]).sum(axis=1)
    at[1:-1] = along < CORNER_COSINE * length[1:] * length[:-1]
    at[starts[:-1]] = True
    at[starts[1:] - 1] = True
    return at
