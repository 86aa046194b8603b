"""Coverage of strokes, rasterised at their true width.

Coverage is the share of paper under ink; overlaps count once. Strokes are painted exactly as by a round pen: all points
closer to the line than half its width. Pillow's wide lines are up to a seventh too thin or too thick, depending on
direction, which exceeds the errors to be measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import available, compiled
from linewright.drawing.strokes import Points
from linewright.sources.photograph import Floats32

GRAIN: Final = 8
"""Grains per pen width. A grain is inked or not by its centre; a line's width is then right on average and within an
eighth."""

BATCH: Final = 2_000_000
"""Grains processed at a time: about 60 MB of memory."""


def inked(strokes: Sequence[Points], size_mm: tuple[float, float], *, pen_mm: float, pixel_mm: float) -> Floats32:
    """(h, w) float32: share of each pixel covered by round-ended strokes of this width.

    Parameters
    ----------
    strokes : each (m, 2), mm; one point is a dot of the pen's width.
    size_mm : width and height of the paper, from the origin.
    pixel_mm : approximate pixel size.
    """
    columns, rows = (max(1, round(side / pixel_mm)) for side in size_mm)
    return inked_segments(*_bits(strokes, pen_mm), size_mm, (rows, columns), pen_mm=pen_mm)


def inked_segments(
    head: Points,
    tail: Points,
    size_mm: tuple[float, float],
    shape: tuple[int, int],
    *,
    pen_mm: float,
    grain: int = GRAIN,
) -> Floats32:
    """(h, w) float32, the same of straight segments.

    Parameters
    ----------
    head, tail : (n, 2) start and end, mm, no further apart than the pen is wide.
    shape : rows and columns of the result.
    grain : grains per pen width.
    """
    rows, columns = shape
    fine = max(1, int(np.ceil(grain * size_mm[0] / columns / pen_mm)))
    grain_mm = np.array([size_mm[0] / columns / fine, size_mm[1] / rows / fine])
    paper = np.zeros((rows * fine, columns * fine), dtype=bool)
    reach = pen_mm / 2
    if available():
        _paint(paper, head / grain_mm, tail / grain_mm, grain_mm, reach)
        return _share(paper, rows, columns, fine)
    # Segments are at most a pen long, so that one window of grains fits them all.
    window = [np.arange(int(np.ceil((2 * pen_mm) / side)) + 2) for side in grain_mm]
    for part in np.array_split(np.arange(len(head)), max(1, len(head) * len(window[0]) * len(window[1]) // BATCH)):
        a, d = head[part], tail[part] - head[part]
        corner = np.floor((np.minimum(a, a + d) - reach) / grain_mm).astype(np.int64)
        x = corner[:, 0, None] + window[0]
        y = corner[:, 1, None] + window[1]
        dx = ((x + 0.5) * grain_mm[0] - a[:, 0, None])[:, None, :]
        dy = ((y + 0.5) * grain_mm[1] - a[:, 1, None])[:, :, None]
        length2 = np.maximum((d * d).sum(axis=1), 1e-30)[:, None, None]
        dx_line, dy_line = d[:, 0, None, None], d[:, 1, None, None]
        along = np.clip((dx * dx_line + dy * dy_line) / length2, 0.0, 1.0)
        under = (dx - along * dx_line) ** 2 + (dy - along * dy_line) ** 2 <= reach * reach
        under &= ((x >= 0) & (x < paper.shape[1]))[:, None, :] & ((y >= 0) & (y < paper.shape[0]))[:, :, None]
        which, row, column = np.nonzero(under)
        paper[y[which, row], x[which, column]] = True
    return _share(paper, rows, columns, fine)


def _share(paper: NDArray[np.bool_], rows: int, columns: int, fine: int) -> Floats32:
    # Sum whole rows first, which accesses memory in order; a mean over both axes does not.
    tall = paper.view(np.uint8).reshape(rows, fine, columns * fine).sum(axis=1, dtype=np.uint16)
    grains = tall.reshape(rows, columns, fine).sum(axis=2, dtype=np.uint32)
    return np.asarray(grains / np.float32(fine * fine), dtype=np.float32)


@compiled
def _paint(
    paper: NDArray[np.bool_], head: Points, tail: Points, grain: Points, reach: float
) -> None:  # pragma: no cover
    """Ink every grain whose centre is within reach of a segment; segments in grains, reach and ``grain`` in mm."""
    rows, columns = paper.shape
    for i in range(len(head)):
        x, y = head[i, 0], head[i, 1]
        dx, dy = (tail[i, 0] - x) * grain[0], (tail[i, 1] - y) * grain[1]
        square = dx * dx + dy * dy
        left = max(0, int(np.floor(min(x, tail[i, 0]) - reach / grain[0] - 1)))
        right = min(columns - 1, int(np.ceil(max(x, tail[i, 0]) + reach / grain[0] + 1)))
        top = max(0, int(np.floor(min(y, tail[i, 1]) - reach / grain[1] - 1)))
        bottom = min(rows - 1, int(np.ceil(max(y, tail[i, 1]) + reach / grain[1] + 1)))
        for row in range(top, bottom + 1):
            py = (row + 0.5 - y) * grain[1]
            for column in range(left, right + 1):
                px = (column + 0.5 - x) * grain[0]
                along = 0.0
                if square > 0.0:
                    along = min(1.0, max(0.0, (px * dx + py * dy) / square))
                if (px - along * dx) ** 2 + (py - along * dy) ** 2 <= reach * reach:
                    paper[row, column] = True


def _bits(strokes: Sequence[Points], longest_mm: float) -> tuple[Points, Points]:
    """Start and end, (n, 2) each, of straight segments no longer than this; a dot is a segment of length 0."""
    if not len(strokes):
        return np.empty((0, 2)), np.empty((0, 2))
    lengths = np.array([len(stroke) for stroke in strokes])
    points = np.concatenate([np.asarray(stroke, dtype=np.float64).reshape(-1, 2) for stroke in strokes])
    ends = np.cumsum(lengths)
    is_last = np.zeros(len(points), dtype=bool)
    is_last[ends - 1] = True
    # The last point of a stroke is paired with itself, which also paints dots.
    follows: NDArray[np.int64] = np.where(is_last, np.arange(len(points)), np.arange(len(points)) + 1)
    head, tail = points, points[np.minimum(follows, len(points) - 1)]
    pieces = np.maximum(1, np.ceil(np.hypot(*(tail - head).T) / longest_mm)).astype(np.int64)
    of = np.repeat(np.arange(len(points)), pieces)
    number = np.arange(len(of)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    step = ((tail - head) / pieces[:, None])[of]
    begin = head[of] + number[:, None] * step
    return begin, begin + step
