"""Removal of lines along other ink. Outside check: distances and unions of lines by shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from host.zoo import SOUND, TWO_PENS, drawings
from linewright.drawing.strokes import Drawing
from linewright.tidy import Tidiness, Tidying, tidy
from linewright.tidy.dedupe import drop_repeats
from linewright.tidy.overlaps import without_overlaps


def cut(strokes, *, tolerance=0.05, least=1.0, **more):
    return without_overlaps(Drawing.from_strokes(strokes, **more), tolerance_mm=tolerance, least_mm=least)


def ink_mm(drawing):
    return float(drawing.stroke_lengths_mm().sum())


def test_a_shared_border_is_drawn_once():
    left = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
    right = [(10, 0), (20, 0), (20, 10), (10, 10), (10, 0)]
    out = cut([left, right])
    assert ink_mm(out) == pytest.approx(70)
    assert len(out) == 2
    # The rest of the second stroke ends exactly at the corners, so that it joins them.
    assert sorted(map(tuple, out.stroke(1)[[0, -1]].tolist())) == [(10, 0), (10, 10)]


def test_a_line_that_runs_along_part_of_another_keeps_the_rest():
    out = cut([[(0, 0), (30, 0)], [(20, 0.01), (40, 0.01)]])
    assert [s.tolist() for s in out] == [[[0, 0], [30, 0]], [[30, 0.01], [40, 0.01]]]


def test_a_scrap_upon_a_line_goes_and_the_line_stays_whole():
    (one,) = cut([[(5, 0), (6, 0)], [(0, 0), (30, 0)], [(9, 0), (9.2, 0)]])
    assert one.tolist() == [[0, 0], [30, 0]]


def test_the_middle_of_a_line_goes_where_a_longer_one_passes_there():
    out = cut([[(0, 0), (5, 5), (15, 5), (20, 0)], [(-50, 5), (-40, 9), (3, 5), (17, 5), (40, 9)]])
    assert ink_mm(out) == pytest.approx(
        ink_mm(Drawing.from_strokes([[(-50, 5), (-40, 9), (3, 5), (17, 5), (40, 9)]])) + 2 * math.hypot(5, 5)
    )


def test_crossings_and_other_pens_cover_nothing():
    cross = [[(0, 0), (10, 10)], [(0, 10), (10, 0)], [(0, 5), (10, 5)]]
    assert ink_mm(cut(cross)) == ink_mm(Drawing.from_strokes(cross))
    twice = [[(0, 0), (10, 0)], [(0, 0), (10, 0)]]
    assert len(cut(twice, pen=[0, 1], pens=TWO_PENS)) == 2
    assert len(cut(twice)) == 1


def test_lines_beyond_the_tolerance_stay():
    pair = [[(0, 0), (10, 0)], [(0, 0.06), (10, 0.06)]]
    assert len(cut(pair)) == 2
    assert len(cut(pair, tolerance=0.09)) == 1


def test_a_circle_written_with_other_vertices_is_the_same_circle():
    def circle(n, turn):
        t = np.linspace(0, 2 * math.pi, n + 1) + turn
        ring = np.column_stack((20 * np.cos(t), 20 * np.sin(t)))
        ring[-1] = ring[0]
        return ring

    # Chords of 200 and 170 vertices stay within 0.0034 mm of the circle: r (1 - cos(pi / n)).
    out = cut([circle(200, 0.0), circle(170, 0.3)])
    assert len(out) == 1
    assert len(out.stroke(0)) == 201


def test_honeycombs_are_drawn_once_and_in_few_strokes():
    # 6 x 5 hexagons with sides of 4 mm, each written as a closed shape: inner sides come twice.
    corner = [(4 * math.sin(math.pi * k / 3), 4 * math.cos(math.pi * k / 3)) for k in range(7)]
    cells = []
    for row in range(5):
        for column in range(6):
            x, y = 4 * math.sqrt(3) * (column + row % 2 / 2), 6.0 * row
            cells.append([(x + a, y + b) for a, b in corner])
    drawing = Drawing.from_strokes(cells)
    sides = shapely.unary_union([shapely.set_precision(shapely.LineString(c), 1e-6) for c in cells]).length
    once = without_overlaps(drawing, tolerance_mm=0.05, least_mm=1.0)
    assert ink_mm(once) == pytest.approx(sides, rel=1e-5)
    few = tidy(drawing)
    assert ink_mm(few) == pytest.approx(sides, rel=1e-3)
    assert len(few) <= len(cells)
    assert len(tidy(drawing, Tidying(wanted=Tidiness(redraw_mm=4.5)))) <= 3


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    drawing = drop_repeats(SOUND[name])
    out = without_overlaps(drawing, tolerance_mm=0.05, least_mm=1.0)
    assert out.pens == drawing.pens
    assert ink_mm(out) <= ink_mm(drawing) * (1 + 1e-12)


@given(drawings(), st.sampled_from([0.01, 1.0, 10.0]))
def test_what_goes_lies_within_the_tolerance_of_what_stays(drawing, tolerance):
    """All ink lies within the tolerance of ink of its pen that stays, and nothing new is drawn."""
    drawing = drop_repeats(drawing)
    out = without_overlaps(drawing, tolerance_mm=tolerance, least_mm=2 * tolerance)
    for pen in range(len(drawing.pens)):
        before, after = (
            shapely.GeometryCollection(
                [
                    shapely.LineString(s) if len(s) > 1 else shapely.Point(s[0])
                    for p, s in zip(d.pen, d, strict=True)
                    if p == pen
                ]
            )
            for d in (drawing, out)
        )
        assert before.is_empty == after.is_empty
        if not before.is_empty:
            assert samples(before, after) <= tolerance * (1 + 1e-9)
            assert samples(after, before) <= 1e-9


def samples(one, other):
    """Largest distance from points of one, a twentieth of each segment apart, to the other."""
    points = shapely.get_coordinates(one)
    fine = [points]
    for line in shapely.get_parts(one):
        p = shapely.get_coordinates(line)
        fine += [p[:-1] + t * (p[1:] - p[:-1]) for t in np.linspace(0, 1, 20)]
    return float(shapely.distance(shapely.points(np.concatenate(fine)), other).max())
