"""Fillings rasterised: the visible ink at each pixel, for methods that work on pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.sources.fill import hatched
from linewright.sources.painting.edges import closed
from linewright.sources.painting.flatten import Polylines, polylines_of
from linewright.sources.painting.inks import is_paper
from linewright.sources.painting.placed import Placed
from linewright.sources.painting.shapes import Shapes
from linewright.sources.painting.sight import Sight

Labels = NDArray[np.int16]


def filled(
    placed: Placed, shapes: Shapes, sight: Sight, size_mm: tuple[float, float], pixel_mm: float
) -> tuple[Labels, list[str]]:
    """(h, w) number of the visible ink at the centre of each pixel, 0 for paper; and the inks (``#rrggbb``)."""
    rows, columns = max(1, round(size_mm[1] / pixel_mm)), max(1, round(size_mm[0] / pixel_mm))
    labels = np.zeros((rows, columns), dtype=np.int16)
    inks: list[str] = []
    for number, mark in enumerate(placed.painting.marks):
        if mark.silent or mark.photograph is not None:
            continue
        jobs: list[tuple[Polylines, bool, str]] = []
        if mark.fill is not None and shapes.encloses(number):
            colour = "" if is_paper(mark.fill) else mark.fill.colour
            if colour or mark.fill.opaque:
                jobs.append((closed(placed.of_mark(number)), mark.even_odd, colour))
        hull = shapes.hull_of(number)
        if hull is not None and mark.line is not None and is_paper(mark.line.paint):
            rings = shapes.rings_of(hull)
            jobs.append((polylines_of(rings, [number] * len(rings)), True, ""))
        for lines, even_odd, colour in jobs:
            if colour and colour not in inks:
                inks.append(colour)
            spans = hatched(lines.points_mm, lines.starts, pitch_mm=pixel_mm, angle_deg=0.0, even_odd=even_odd)
            _paint(labels, spans / pixel_mm, inks.index(colour) + 1 if colour else 0, sight, mark.clip, pixel_mm)
    return labels, inks


def _paint(labels: Labels, spans: NDArray[np.float64], label: int, sight: Sight, clip: int, pixel_mm: float) -> None:
    """Paint horizontal spans (n, 2, 2), in pixels, each through the middle of a row."""
    row = np.floor(spans[:, 0, 1]).astype(np.int64)
    begin = np.ceil(spans[:, :, 0].min(axis=1) - 0.5).astype(np.int64)
    end = np.floor(spans[:, :, 0].max(axis=1) - 0.5).astype(np.int64)
    begin, end = np.maximum(begin, 0), np.minimum(end, labels.shape[1] - 1)
    inside = (row >= 0) & (row < labels.shape[0]) & (end >= begin)
    row, begin, count = row[inside], begin[inside], (end - begin + 1)[inside]
    y = np.repeat(row, count)
    x = np.repeat(begin, count) + np.arange(len(y)) - np.repeat(np.cumsum(count) - count, count)
    if clip >= 0:
        seen = sight.inside_clip(clip, (np.column_stack((x, y)) + 0.5) * pixel_mm)
        x, y = x[seen], y[seen]
    labels[y, x] = label
