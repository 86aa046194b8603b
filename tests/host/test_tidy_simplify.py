"""Simplification. Outside check: distances by shapely, the chord height of a circle in closed form."""

from __future__ import annotations

import importlib
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from host.motion_cases import smooth
from host.zoo import SOUND, drawings
from lineboard.kernel import TICK_HZ
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.tidy import simplify


def test_a_straight_line_keeps_its_ends():
    (one,) = simplify(Drawing.from_strokes([[(i, 2 * i) for i in range(100)]]), tolerance_mm=0.001)
    assert one.tolist() == [[0, 0], [99, 198]]


def test_dots_lines_and_order_stay():
    strokes = [[(1, 1)], [(0, 0), (5, 0), (9, 0)], [(2, 2), (3, 3)], [(0, 1), (5, 1.0), (9, 1), (9, 9)], [(4, 4)]]
    drawing = Drawing.from_strokes(strokes, pen=[0, 1, 0, 1, 0], pens=SOUND["two pens"].pens)
    out = simplify(drawing, tolerance_mm=0.01)
    assert [len(s) for s in out] == [1, 2, 2, 3, 1]
    assert out.pen.tolist() == [0, 1, 0, 1, 0]


def test_a_circle_needs_about_as_many_chords_as_geometry_says():
    # A chord over the angle t is r (1 - cos(t/2)) from its arc: r = 50, 0.02 mm -> t = 0.0566, 111 chords.
    r, tolerance = 50.0, 0.02
    t = np.linspace(0, 2 * math.pi, 20_001)
    circle = np.column_stack((r * np.cos(t), r * np.sin(t)))
    circle[-1] = circle[0]
    (out,) = simplify(Drawing.from_strokes([circle]), tolerance_mm=tolerance)
    least = 2 * math.pi / (2 * math.acos(1 - tolerance / r))
    # Halving, as the method does, ends between the least number of chords and twice that.
    assert least <= len(out) - 1 <= 2 * least
    assert np.array_equal(out[0], out[-1])


def test_a_closed_scrap_becomes_a_dot():
    ring = [(5 + 0.001 * math.cos(t), 5 + 0.001 * math.sin(t)) for t in range(6)]
    (one,) = simplify(Drawing.from_strokes([[*ring, ring[0]]]), tolerance_mm=0.02)
    assert len(one) == 1


def test_a_spike_is_kept():
    (one,) = simplify(SOUND["spike"], tolerance_mm=0.05)
    assert [10.0, 30.0] in one.tolist()


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    drawing = SOUND[name]
    out = simplify(drawing, tolerance_mm=0.02)
    assert len(out) == len(drawing)
    for before, after in zip(drawing, out, strict=True):
        assert np.array_equal(before[0], after[0])
        assert np.array_equal(before[-1], after[-1])


@given(drawings(), st.sampled_from([0.01, 1.0, 20.0]))
def test_no_ink_moves_further_than_the_tolerance(drawing, tolerance):
    """Each stroke and what becomes of it lie within the tolerance of each other, ends stay, closed stays closed."""
    out = simplify(drawing, tolerance_mm=tolerance)
    assert np.array_equal(out.pen, drawing.pen)
    for before, after in zip(drawing, out, strict=True):
        assert np.array_equal(before[0], after[0])
        assert np.array_equal(before[-1], after[-1])
        assert len(after) <= len(before)
        if len(before) > 1:
            old, new = shapely.LineString(before), shapely.LineString(after if len(after) > 1 else after[[0, 0]])
            # The library measures at vertices; cut into twentieths it comes within a twentieth of the true distance.
            assert shapely.hausdorff_distance(old, new, densify=0.05) <= tolerance * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_chords_of_smooth_curves_use_the_tolerance_and_keep_it(seed):
    """Random strokes leave little to simplify; on curves every chord is close to the tolerance."""
    curve = smooth(seed, 1201)
    chords = shapely.LineString(simplify(Drawing.from_strokes([curve]), tolerance_mm=0.05).stroke(0))
    assert 0.04 < shapely.distance(chords, shapely.points(curve)).max() <= 0.05 * (1 + 1e-9)


@pytest.mark.parametrize("radius_mm", [1.0, 3.0, 10.0, 50.0])
@pytest.mark.parametrize("vertices", [360, 401])
def test_arcs_stay_smooth_the_pen_goes_round_as_fast_as_before(radius_mm, vertices):
    # Uneven chords would slow the pen down: a corner's arc must fit into half of the shorter one (motion/corners.py).
    # Limits so high that only the bend bounds the speed; then v^2 = a r at best, by physics.
    fast = {"motion.pen_down_speed_mm_s": 1000.0, "axis.x.speed_mm_s": 400.0, "axis.y.speed_mm_s": 400.0}
    rig = Rig.default().changed(fast)
    t = np.linspace(0.3, 0.3 + 2 * math.pi, vertices + 1)
    ring = np.column_stack((150 + radius_mm * np.cos(t), 150 + radius_mm * np.sin(t)))
    ring[-1] = ring[0]
    dense = Drawing.from_strokes([ring])
    lean = simplify(dense, tolerance_mm=0.05 * 3 / 8)
    assert lean.vertices < dense.vertices / 2
    chords = np.hypot(*np.diff(lean.points_mm, axis=0).T)
    assert chords.max() <= 1.6 * chords.min()
    assert drawn_s(lean, rig) <= 1.05 * drawn_s(dense, rig)


def drawn_s(drawing, rig):
    program = motion.plan(drawing, rig)
    return program.ticks[(program.stroke_of_record == 0) & program.is_ramp].sum() / TICK_HZ


def test_a_long_stroke_is_looked_at_in_pieces_and_keeps_the_tolerance(monkeypatch):
    monkeypatch.setattr(importlib.import_module("linewright.tidy.simplify"), "_AT_ONCE", 50)
    t = np.linspace(0, 40, 1001)
    spiral = np.column_stack((t * np.cos(t), t * np.sin(t)))
    ring = np.column_stack((9 * np.cos(t[:501] * np.pi / 10), 9 * np.sin(t[:501] * np.pi / 10)))
    drawing = Drawing.from_strokes([[(1, 1), (2, 2)], spiral, [(3, 3)], ring, spiral[:51], spiral[:52]])
    out = simplify(drawing, tolerance_mm=0.02)
    assert len(out) == len(drawing)
    for before, after in zip(drawing, out, strict=True):
        assert (before[[0, -1]] == after[[0, -1]]).all()
        if len(before) > 1:
            assert shapely.distance(shapely.points(before), shapely.linestrings(after)).max() <= 0.02 + 1e-12
    assert out.vertices < 0.7 * drawing.vertices
