"""Posters: all sheets joined at their marks give the whole picture."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.drawing.strokes import Drawing
from linewright.errors import SheetError
from linewright.planning import poster

ROOM = (10.0, 12.0, 130.0, 190.0)


def strokes(width, height):
    """A line across, one down, a slanted one and the frame."""
    return Drawing.from_strokes(
        [
            [(0, height / 3), (width, height / 3)],
            [(width / 3, 0), (width / 3, height)],
            [(1, 2), (width - 3, height - 5)],
            [(0, 0), (width, 0), (width, height), (0, height), (0, 0)],
        ]
    )


@settings(max_examples=8)
@given(st.floats(30, 700), st.floats(30, 700), st.sampled_from([0.0, 3.0, 10.0]))
def test_the_sheets_together_are_the_picture(width, height, overlap):
    drawing = strokes(width, height)
    found = list(poster.pieces(drawing, (width, height), ROOM, overlap))
    columns, rows = max(p.column for p in found), max(p.row for p in found)
    assert [p.number for p in found] == list(range(1, columns * rows + 1))
    size = np.array([width / columns, height / rows])
    low = np.array(ROOM[:2]) + poster.BAND_MM
    together = []
    for piece in found:
        x0, y0, x1, y1 = piece.drawing.bounds_mm()
        # Everything, marks too, lies within what can be drawn on.
        assert min(x0 - ROOM[0], y0 - ROOM[1], ROOM[2] - x1, ROOM[3] - y1) > -1e-9
        beyond = np.where([piece.column < columns, piece.row < rows], overlap, 0.0)
        area = shapely.box(*low, *(low + size + beyond)).buffer(1e-9)
        inside = [stroke for stroke in piece.drawing if area.covers(shapely.LineString([*stroke, stroke[-1]]))]
        corner = np.array([piece.column - 1, piece.row - 1]) * size
        together += [shapely.LineString(stroke - low + corner) for stroke in inside if len(stroke) > 1]
        # Marks end before the picture begins.
        marks = [stroke for stroke in piece.drawing if not area.intersects(shapely.LineString([*stroke, stroke[-1]]))]
        assert len(marks) + len(inside) == len(piece.drawing)
        assert len(marks) >= 8
    whole = shapely.MultiLineString(list(drawing))
    drawn = shapely.union_all(together)
    assert whole.difference(drawn.buffer(1e-6)).length < 1e-3
    assert drawn.difference(whole.buffer(1e-6)).length < 1e-3


def test_ticks_show_where_the_piece_ends():
    found = list(poster.pieces(strokes(200, 100), (200, 100), ROOM, 3.0))
    low = np.array(ROOM[:2]) + poster.BAND_MM
    for piece in found:
        ticks = [stroke for stroke in piece.drawing if len(stroke) == 2]
        upright = {float(t[0, 0]) for t in ticks if t[0, 0] == t[1, 0] and abs(t[0, 1] - t[1, 1]) == poster.TICK_MM}
        level = {float(t[0, 1]) for t in ticks if t[0, 1] == t[1, 1] and abs(t[0, 0] - t[1, 0]) == poster.TICK_MM}
        assert {low[0], low[0] + 100.0} <= upright
        assert {low[1], low[1] + 100.0} <= level


def test_sheets_that_are_too_small_or_too_many_are_refused():
    with pytest.raises(SheetError, match="too small for a poster"):
        next(poster.pieces(strokes(200, 100), (200, 100), (0, 0, 30, 30), 3.0))
    with pytest.raises(SheetError, match="more than the limit, 400"):
        next(poster.pieces(strokes(200, 100), (9000, 9000), ROOM, 3.0))
