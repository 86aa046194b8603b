"""Serpentines: equal ink, nothing dropped, links inside; connections over ink add none; fewer lifts."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.sources.fill import hatched
from linewright.sources.painting.flatten import polylines_of
from linewright.sources.painting.regions import within
from linewright.sources.serpentine import LONGEST, linked
from linewright.sources.tone.coverage import inked
from linewright.tidy import Tidiness, Tidying, tidy
from linewright.tidy.over_ink import joined_over_ink

PEN = 0.5

corners = st.tuples(st.floats(2, 38), st.floats(2, 38))


def filling(ring: np.ndarray, pitch_mm: float, angle_deg: float) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Lines of a filling, and the same linked."""
    starts = np.array([0, len(ring)])
    lines = list(hatched(ring, starts, pitch_mm=pitch_mm, angle_deg=angle_deg, even_odd=True))
    inside = within(polylines_of([ring], [0]), even_odd=True, slack_mm=0.1 * PEN)
    return lines, linked(lines, inside, PEN)


def covered(strokes: list[np.ndarray]) -> shapely.Geometry:
    """Area covered by strokes of this pen, by shapely."""
    return shapely.union_all([shapely.LineString(stroke).buffer(PEN / 2) for stroke in strokes])


@given(st.lists(corners, min_size=3, max_size=8), st.floats(0.9, 5.0), st.floats(-90, 90))
def test_every_line_is_drawn_and_links_stay_in_the_filling(ring, pens_apart, angle_deg):
    """Every line is complete except for the ends used by links, and no link leaves the area or is too long."""
    ring = np.array(ring)
    lines, strokes = filling(ring, pens_apart * PEN, angle_deg)
    assert len(strokes) <= len(lines)
    if not lines:
        return
    paths = shapely.MultiLineString(strokes)
    inside = within(polylines_of([ring], [0]), even_odd=True, slack_mm=0.1 * PEN + 1e-6)
    for line in lines:
        whole = shapely.LineString(line)
        missing = whole.difference(paths.buffer(1e-6)).length
        assert missing <= LONGEST * PEN * 1.001
    for stroke in strokes:
        places = shapely.get_coordinates(shapely.LineString(stroke).segmentize(0.1))
        assert inside(places).all()
        for a, b in zip(stroke[1:-1:2], stroke[2:-1:2], strict=True):
            assert np.hypot(*(b - a)) <= LONGEST * PEN + 1e-9


@pytest.mark.parametrize(("pens_apart", "angle_deg", "share"), [(0.9, 0.0, 0.25), (1.5, 45.0, 0.2), (2.5, 20.0, 0.5)])
def test_a_filling_has_the_same_ink_in_fewer_strokes(pens_apart, angle_deg, share):
    """The outside check: areas of round-ended strokes by shapely's buffers."""
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    ring = 20 + np.column_stack((18 * np.cos(turn), 14 * np.sin(turn)))
    lines, strokes = filling(ring, pens_apart * PEN, angle_deg)
    before, after = covered(lines), covered(strokes)
    assert after.area == pytest.approx(before.area, rel=0.002)
    assert len(strokes) <= share * len(lines)
    # No ink extends beyond the former round ends.
    assert after.difference(shapely.Polygon(ring).buffer(PEN / 2 + 0.1 * PEN)).area < 1e-6


def test_lines_one_behind_the_other_and_dots_are_left_alone():
    lines = [np.array([[0.0, 0], [5, 0]]), np.array([[6.0, 0], [9, 0]]), np.array([[5.0, 1]])]
    found = linked(lines, lambda points: np.ones(len(points), dtype=bool), PEN)
    assert [line.tolist() for line in found] == [line.tolist() for line in lines]


strokes_on_a_grid = st.lists(  # mm
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=1, max_size=4), min_size=1, max_size=9
)


@given(strokes_on_a_grid, st.floats(0.5, 3.0))
def test_ways_over_ink_add_no_ink_and_drop_none(strokes, longest_mm):
    """Every line stays, and the pen's centre never leaves inked area; distances by shapely."""
    before = Drawing.from_strokes([np.array(stroke, dtype=np.float64) for stroke in strokes])
    after = joined_over_ink(before, np.array([longest_mm]), np.array([PEN]))
    assert len(after) <= len(before)
    assert {tuple(point) for point in before.points_mm.tolist()} == {tuple(point) for point in after.points_mm.tolist()}
    share = np.linspace(0.0, 1.0, 60)[:, None, None]
    segments = [
        np.stack((line, np.vstack((line[1:], line[-1:]))), axis=1) for drawing in (before, after) for line in drawing
    ]
    old, new = segments[: len(before)], segments[len(before) :]
    for some, others, reach in ((old, new, 1e-9), (new, old, PEN / 2 + 1e-9)):
        places = np.concatenate([(1 - share) * s[:, 0] + share * s[:, 1] for s in some], axis=1).reshape(-1, 2)
        ink = shapely.linestrings(np.concatenate(others))
        assert shapely.distance(shapely.points(places)[:, None], ink).min(axis=1).max() <= reach


def test_a_ladder_is_drawn_in_one_go_only_where_it_may_be_drawn_twice():
    """Rungs end on the sides, so the pen stays down between them, except if nothing may be drawn twice."""
    rungs = [[(0, y), (8, y)] for y in range(0, 30, 3)]
    sides = [[(0, -3), (0, 33)], [(8, -3), (8, 33)]]
    drawing = Drawing.from_strokes([*sides, *rungs])
    rig = Rig.default()
    few = tidy(drawing, Tidying.on(rig, drawing))
    never = tidy(drawing, Tidying.on(rig, drawing, Tidiness(redraw_mm=0.0)))
    assert len(never) == 12
    assert len(few) <= 3


def test_other_pens_ink_is_no_way():
    side, rungs = [(0, -3), (0, 9)], [[(8, 0), (0, 0)], [(0, 3), (8, 3)]]
    drawing = Drawing.from_strokes([side, *rungs], [0, 1, 1])
    assert len(joined_over_ink(drawing, np.full(2, 5.0), np.full(2, PEN))) == 3


def test_a_photograph_keeps_its_tone_where_lines_are_linked():
    """An even grey, hatched: as the meter of coverage sees it, with a lift for four lines at most."""
    from host.photographs import layer
    from linewright.sources.tone.hatching import Hatching

    given_ = layer(np.full((60, 80), 0.6))
    strokes = Hatching().strokes(given_)
    size = (given_.field.width_mm, given_.field.height_mm)
    covered_share = inked(strokes, size, pen_mm=given_.field.pen_mm, pixel_mm=given_.field.pen_mm).mean()
    assert covered_share == pytest.approx(0.6, abs=0.02)
    lines = sum(len(stroke) // 2 for stroke in strokes)
    assert len(strokes) <= lines / 4
