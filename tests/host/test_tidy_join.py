"""Joining ends that touch. Outside check: shapely's line_merge."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from host.zoo import SOUND, TWO_PENS, drawings
from linewright.drawing.strokes import Drawing
from linewright.tidy import dedupe, join


def joined(*strokes, tolerance_mm=0.0, **kwargs):
    return [s.tolist() for s in join(Drawing.from_strokes(strokes, **kwargs), tolerance_mm=tolerance_mm)]


@pytest.mark.parametrize("first", [[(0, 0), (1, 0)], [(1, 0), (0, 0)]])
@pytest.mark.parametrize("second", [[(1, 0), (2, 5)], [(2, 5), (1, 0)]])
def test_either_direction(first, second):
    (one,) = joined(first, second)
    assert one in ([[0, 0], [1, 0], [2, 5]], [[2, 5], [1, 0], [0, 0]])


def test_a_chain_in_any_order():
    (one,) = joined([(2, 0), (3, 0)], [(0, 0), (1, 0)], [(4, 0), (3, 0)], [(1, 0), (2, 0)])
    assert one == [[0, 0], [1, 0], [2, 0], [3, 0], [4, 0]]


def test_a_ring_is_closed_exactly():
    (one,) = joined([(0, 0), (9, 0)], [(9, 9), (9, 0)], [(9, 9), (0, 0)])
    assert one[0] == one[-1]
    assert len(one) == 4


def test_one_stroke_whose_ends_touch_is_closed():
    circle = [(math.cos(t), math.sin(t)) for t in np.linspace(0, 2 * math.pi - 0.01, 50)]
    (one,) = joined(circle, tolerance_mm=0.05)
    assert one[0] == one[-1]
    assert len(one) == 51


def test_the_tolerance_is_the_largest_gap():
    assert len(joined([(0, 0), (1, 0)], [(1.05, 0), (2, 0)], tolerance_mm=0.0501)) == 1
    assert len(joined([(0, 0), (1, 0)], [(1.05, 0), (2, 0)], tolerance_mm=0.0499)) == 2
    assert len(joined([(0, 0), (1, 0)], [(1.05, 0), (2, 0)])) == 2


def test_the_closest_ends_are_joined_first():
    near = joined([(0, 0), (1, 0)], [(1.04, 0), (2, 1)], [(1.01, 0), (2, -1)], tolerance_mm=0.05)
    assert [[0, 0], [1, 0], [1.01, 0], [2, -1]] in near
    assert len(near) == 2


def test_pens_never_mix():
    assert len(joined([(0, 0), (1, 0)], [(1, 0), (2, 0)], pen=[0, 1], pens=TWO_PENS)) == 2


def test_dots_and_closed_strokes_are_left_alone():
    square = [(0, 0), (1, 0), (1, 1), (0, 0)]
    assert joined([(0, 0)], square, [(0, 0), (5, 5)], tolerance_mm=0.1) == [
        [[0, 0]],
        [list(p) for p in square],
        [[0, 0], [5, 5]],
    ]


def test_a_scrap_is_not_closed_upon_itself():
    assert joined([(0, 0), (0.03, 0)], tolerance_mm=0.05) == [[[0, 0], [0.03, 0]]]


def test_a_loop_that_is_longer_than_a_scrap_is_closed():
    """Twice the tolerance is the limit: here 1 mm."""
    for side, points in ((0.4, 5), (0.3, 4)):
        (loop,) = joined([(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)], tolerance_mm=0.5)
        assert len(loop) == points


@pytest.mark.parametrize("seed", range(4))
def test_the_closest_pairs_are_joined_wherever_they_lie(seed):
    """Outside check: all pairs within the tolerance, by scipy's k-d tree, taken from the closest on."""
    chance = np.random.default_rng(seed)
    near = chance.uniform(0.0, 9.0, (90, 2))
    far = np.column_stack((100.0 + 10.0 * np.arange(90), np.zeros(90)))
    tree = cKDTree(near)
    pairs = sorted((float(math.dist(near[i], near[j])), i, j) for i, j in tree.query_pairs(1.0))
    partner: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in partner and j not in partner:
            partner[i], partner[j] = j, i
    assert len(partner) > 40
    made = joined(*([tuple(a), tuple(b)] for a, b in zip(near, far, strict=True)), tolerance_mm=1.0)
    found = {}
    for stroke in made:
        if len(stroke) == 4:
            i, j = (round((stroke[end][0] - 100.0) / 10.0) for end in (0, -1))
            found[i], found[j] = j, i
    assert found == partner


@pytest.mark.parametrize("count", [9, 10, 41])
def test_as_many_ends_of_a_crowd_as_can_be_are_paired(count):
    turn = np.arange(count) * 2.4
    star = [[(0.01 * math.cos(at), 0.01 * math.sin(at)), (50 * math.cos(at), 50 * math.sin(at))] for at in turn]
    assert len(joined(*star, tolerance_mm=1.0)) == math.ceil(count / 2)


def test_a_crowd_of_ends_is_joined_in_pairs():
    # Odd and even numbers of ends within one cell: all but at most one are paired.
    rng = np.random.default_rng(3)
    for n in (101, 400):
        angles = rng.uniform(0, 2 * math.pi, n)
        strokes = [
            [rng.uniform(-0.01, 0.01, 2), (50 * math.cos(a) + i, 50 * math.sin(a))] for i, a in enumerate(angles)
        ]
        assert len(join(Drawing.from_strokes(strokes), tolerance_mm=0.05)) == (n + 1) // 2


def test_a_polyline_cut_into_segments_is_whole_again():
    rng = np.random.default_rng(4)
    path = rng.uniform(0, 100, (500, 2))
    pieces = [path[i : i + 2][:: rng.choice([-1, 1])] for i in rng.permutation(499)]
    (one,) = join(Drawing.from_strokes(pieces), tolerance_mm=0.01)
    assert np.array_equal(one, path) or np.array_equal(one[::-1], path)


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    once = dedupe(SOUND[name])
    for tolerance in (0.0, 0.05):
        out = join(once, tolerance_mm=tolerance)
        assert len(out) <= len(once)
        assert set(map(tuple, out.points_mm.tolist())) == set(map(tuple, once.points_mm.tolist()))


@settings(max_examples=80)
@given(drawings(), st.sampled_from([0.0, 0.05, 20.0]))
def test_ink_pens_and_points_stay(drawing, tolerance):
    """No point is lost or moved, no pen changes, and added ink is at most one gap of the tolerance per join."""
    once = dedupe(drawing)
    out = join(once, tolerance_mm=tolerance)
    for pen in (0, 1):
        before = once.select(np.flatnonzero(once.pen == pen))
        after = out.select(np.flatnonzero(out.pen == pen))
        assert set(map(tuple, after.points_mm.tolist())) == set(map(tuple, before.points_mm.tolist()))
        added = after.stroke_lengths_mm().sum() - before.stroke_lengths_mm().sum()
        assert -1e-6 <= added <= tolerance * len(before) + 1e-6


@settings(max_examples=100)
@given(drawings(pens=1))
def test_as_few_strokes_as_a_geometry_library_makes(drawing):
    """shapely's line_merge joins only pairs of ends; ours also pairs ends where more meet."""
    once = dedupe(drawing)
    lines = [shapely.LineString(s) for s in once if len(s) > 1 and shapely.LineString(s).is_simple]
    simple = Drawing.from_strokes([shapely.get_coordinates(line) for line in lines])
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines))) if lines else []
    assert len(join(simple)) <= len(merged)


@settings(max_examples=50)
@given(drawings())
def test_twice_is_the_same(drawing):
    """Joining again changes only the start of closed strokes."""
    once = join(dedupe(drawing), tolerance_mm=0.05)
    again = join(once, tolerance_mm=0.05)
    assert len(again) == len(once)
