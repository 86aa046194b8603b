"""Strokes moved sideways until they are evenly spaced.

Strokes placed one after the other leave gaps too narrow for another, and are too dense where two directions meet. Here
every vertex moves across its stroke towards missing ink: gradient descent on the squared error of the blurred drawing,
with the stroke held smooth, as in M. Kass, A. Witkin and D. Terzopoulos, "Snakes: active contour models", International
Journal of Computer Vision 1, 1988.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32
from linewright.sources.tone.coverage import inked, inked_segments
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import TOLERANCE
from linewright.sources.tone.trace import simplified

BLURS_PENS: Final = (1.2, 2.5)
COVERAGES: Final = (0.45, 0.15)
"""Standard deviations of the blur, and the coverages at which each is used: pale tones have their lines further apart.
Between them both count."""

STEP_PENS: Final = 0.8
"""Distance of vertices."""

RATE: Final = 12.0
"""Shift in pens for a change of missing coverage by 1 per pixel."""

MOST_PENS: Final = 0.2
"""Largest shift in one round."""

SMOOTH: Final = 10
"""How often the shifts are averaged with those of their neighbours."""

STIFF: Final = 0.25
"""Share by which a vertex moves to the middle between its neighbours in each round."""

GRAIN: Final = 5
"""Grains per pen width when the drawing is painted."""

ROW: Final = 4096
"""Places that are looked up in one row."""


def settled(
    strokes: Sequence[Points], field: Field, free: Floats32, rounds: int, already: Sequence[Points] = ()
) -> list[Points]:
    """The same strokes, mm, in the same order, each a little aside.

    Parameters
    ----------
    strokes : mm, of two points or more each.
    field : wanted coverage.
    free : (h, w) share of the shift that is carried out; where it is 0, nothing moves.
    already : strokes on the paper that stay as they are.
    """
    import cv2

    shape, size_mm, pen = field.coverage.shape, (field.width_mm, field.height_mm), field.pen_mm
    to_px = 1 / np.asarray(field.pixel_mm)
    moving = [bool((_at(free, stroke * to_px) > 0).any()) for stroke in strokes]
    if not any(moving):
        return list(strokes)
    pen_px = pen * float(to_px[0])
    held = [*already, *(stroke for stroke, moves in zip(strokes, moving, strict=True) if not moves)]
    there = inked(held, size_mm, pen_mm=pen, pixel_mm=float(field.pixel_mm[0]))
    there = np.asarray(cv2.resize(there, shape[::-1], interpolation=cv2.INTER_AREA), dtype=np.float32)
    lines = [_resampled(stroke, STEP_PENS * pen) for stroke, moves in zip(strokes, moving, strict=True) if moves]
    ends = np.cumsum([len(line) for line in lines])
    points = np.concatenate(lines)
    number = np.arange(len(points))
    is_last = np.isin(number, ends - 1)
    is_first = np.roll(is_last, 1)
    before, after = np.where(is_first, number, number - 1), np.where(is_last, number, number + 1)
    inner = (~(is_first | is_last))[:, None]
    narrow, broad = (blur * pen_px for blur in BLURS_PENS)
    dark = blurred(field.coverage, broad)
    of_narrow = np.clip((dark - COVERAGES[1]) / (COVERAGES[0] - COVERAGES[1]), 0.0, 1.0)
    of_broad = (1 - of_narrow) * np.float32(broad / narrow)  # whose gradients are as much smaller
    loose = _at(free, points * to_px)
    for _ in range(rounds):
        ink = inked_segments(points, points[after], size_mm, (shape[0], shape[1]), pen_mm=pen, grain=GRAIN)
        missing = field.coverage - np.maximum(ink, there)
        missing = of_narrow * blurred(missing, narrow, 3.0) + of_broad * blurred(missing, broad, 3.0)
        slope_x, slope_y = (cv2.Sobel(missing, cv2.CV_32F, 1 - axis, axis, scale=1 / 8) for axis in (0, 1))
        along = points[after] - points[before]
        along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
        down, across = (_at(np.asarray(slope, dtype=np.float32), points * to_px) for slope in (slope_y, slope_x))
        shift = RATE * pen * loose * (along[:, 0] * down - along[:, 1] * across)
        for _ in range(SMOOTH):
            shift = 0.25 * shift[before] + 0.5 * shift + 0.25 * shift[after]
        shift = np.clip(shift, -MOST_PENS * pen, MOST_PENS * pen)
        points = points + np.column_stack((-along[:, 1] * shift, along[:, 0] * shift))
        middle = (points[before] + points[after]) / 2
        points = np.clip(points + STIFF * loose[:, None] * inner * (middle - points), 0.0, size_mm)
    moved = iter(simplified(np.split(points, ends[:-1]), TOLERANCE * pen))
    return [next(moved) if moves else stroke for stroke, moves in zip(strokes, moving, strict=True)]


def _resampled(stroke: Points, step_mm: float) -> Points:
    """A stroke with vertices about so far apart."""
    way = np.concatenate(([0.0], np.hypot(*np.diff(stroke, axis=0).T).cumsum()))
    places = np.linspace(0.0, way[-1], max(2, int(np.ceil(way[-1] / step_mm)) + 1))
    return np.column_stack([np.interp(places, way, stroke[:, axis]) for axis in (0, 1)])


def _at(values: Floats32, places: Points) -> Points:
    """(n,) values at (n, 2) x, y in pixels, linearly interpolated."""
    import cv2

    # OpenCV wants fewer than 32768 places in a row.
    x, y = (np.pad(v - 0.5, (0, -len(v) % ROW)).astype(np.float32).reshape(-1, ROW) for v in places.T)
    found = cv2.remap(values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, dtype=np.float64).reshape(-1)[: len(places)]
