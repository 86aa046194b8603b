"""Posters: a picture divided among numbered sheets with marks for joining them.

Every sheet gets an equal piece. Short ticks beside its four corners show the end of the piece. To join two sheets, the
right or lower one is cut along its left or upper ticks and laid over the other, ticks on ticks. The lower sheet's piece
continues a little beneath it, so that lines meet although no cut is exact.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.crop import Box, clip
from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SheetError
from linewright.sources.lettering.writing import Lettering
from linewright.sources.picture import Wish

BAND_MM: Final = 7.0
"""Margin around a piece for its ticks and number: letters of 3 mm with white space."""

LETTERS_MM: Final = 3.0

TICK_MM: Final = 5.0
"""Length of a tick: enough to align a ruler with the opposite one."""

LEAST_MM: Final = 20.0
"""Smallest useful piece."""

SHEETS_HIGH: Final = 400


@dataclass(frozen=True, eq=False)
class Piece:
    """One sheet of a poster.

    Parameters
    ----------
    number, row, column : from 1, row by row.
    drawing : in the sheet's coordinates, mm, with its marks.
    """

    number: int
    row: int
    column: int
    drawing: Drawing


def pieces(drawing: Drawing, whole_mm: tuple[float, float], room_mm: Box, overlap_mm: float) -> Iterator[Piece]:
    """Divide a drawing among sheets.

    Parameters
    ----------
    drawing : mm, from the top left corner of the whole.
    whole_mm : width and height of the whole.
    room_mm : drawable area of each sheet, in sheet coordinates.
    overlap_mm : distance by which a piece extends beyond its cut, to the right and below.

    Raises
    ------
    SheetError
        The sheets are too small, or too many.
    """
    low, high = np.array(room_mm[:2]), np.array(room_mm[2:])
    most = high - low - 2 * BAND_MM - overlap_mm
    if (most < LEAST_MM).any():
        raise SheetError(
            f"a sheet with {high[0] - low[0]:.5g} x {high[1] - low[1]:.5g} mm to draw on is too small for a poster",
            hint=f"marks and overlap need {2 * BAND_MM + overlap_mm:g} mm of both sides; use a larger sheet",
        )
    whole = np.array(whole_mm)
    columns, rows = (max(1, math.ceil(float(side / part) - 1e-9)) for side, part in zip(whole, most, strict=True))
    if columns * rows > SHEETS_HIGH:
        raise SheetError(
            f"{columns} x {rows} sheets are more than the limit, {SHEETS_HIGH}",
            hint="make the poster smaller, or the sheets larger",
        )
    size = whole / (columns, rows)
    for row in range(rows):
        for column in range(columns):
            corner = np.array([column, row]) * size
            # The last column ends exactly where the picture does, because its frame lies there.
            cut = np.array([column + 1, row + 1]) * size
            end = np.where([column == columns - 1, row == rows - 1], whole, np.minimum(cut + overlap_mm, whole))
            part = clip(drawing, (*corner.tolist(), *end.tolist()))
            moved = replace(part, points_mm=part.points_mm - corner + low + BAND_MM)
            number = row * columns + column + 1
            words = f"{number}/{columns * rows}  row {row + 1}, column {column + 1}"
            area = (*(low + BAND_MM).tolist(), *(end - corner + low + BAND_MM).tolist())
            yield Piece(number, row + 1, column + 1, _with(moved, _marks(area, size, words)))


def _marks(area_mm: Box, size_mm: Points, words: str) -> list[Points]:
    """Ticks outside the corners of a piece, and its number above it."""
    x0, y0, x1, y1 = area_mm
    gap = (BAND_MM - TICK_MM) / 2
    strokes = []
    for x in (x0, x0 + size_mm[0]):
        for begin, end in ((y0 - gap, y0 - gap - TICK_MM), (y1 + gap, y1 + gap + TICK_MM)):
            strokes.append(np.array([(x, begin), (x, end)]))
    for y in (y0, y0 + size_mm[1]):
        for begin, end in ((x0 - gap, x0 - gap - TICK_MM), (x1 + gap, x1 + gap + TICK_MM)):
            strokes.append(np.array([(begin, y), (end, y)]))
    label = Lettering(size_mm=LETTERS_MM).read(words, Wish(room_mm=(math.inf, math.inf)))
    scale = min(1.0, (size_mm[0] - 2 * gap) / label.width_mm)
    at = np.array([x0 + gap, y0 - BAND_MM + (BAND_MM - label.height_mm * scale) / 2])
    return strokes + [stroke * scale + at for stroke in label.drawing]


def _with(drawing: Drawing, strokes: list[Points]) -> Drawing:
    """Strokes appended to a drawing with the first pen that it uses, so that marks need no extra pen."""
    pen = int(drawing.pen[0]) if len(drawing) else 0
    marks = Drawing.from_strokes(strokes, [pen] * len(strokes), drawing.pens)
    return Drawing.one_after_the_other([drawing, marks])
