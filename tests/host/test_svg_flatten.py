"""The error bound of flattening, checked by dense sampling of the true curve, and closed forms for counts."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, hausdorff_distance

from linewright.sources.painting.flatten import extents, flatten, piece_counts, transform_rows
from linewright.sources.painting.segments import ARC, CUBIC, LINE, Segments, centre_form

coordinate = st.floats(-300.0, 300.0)
point = st.tuples(coordinate, coordinate)
factor = st.floats(-4.0, 4.0)
matrix = st.tuples(factor, factor, factor, factor, coordinate, coordinate)


def polyline(kind: int, row: np.ndarray, tolerance_mm: float) -> np.ndarray:
    kinds = np.array([kind], dtype=np.uint8)
    counts = piece_counts(kinds, row[None], tolerance_mm)
    starts = np.array([0, 1])
    return flatten(kinds, row[None], starts, np.array([False]), counts).points_mm


def curve(kind: int, row: np.ndarray, samples: int = 3001) -> np.ndarray:
    """Dense points of the curve, by de Casteljau's construction or the ellipse's parameter."""
    t = np.linspace(0.0, 1.0, samples)[:, None]
    if kind == ARC:
        angle = row[6] + row[7] * t
        return row[0:2] + row[2:4] * np.cos(angle) + row[4:6] * np.sin(angle)
    points = [row[i : i + 2] for i in (0, 2, 4, 6)]
    while len(points) > 1:
        points = [(1.0 - t) * p + t * q for p, q in pairwise(points)]
    return points[0]


def deviation(kind: int, row: np.ndarray, tolerance_mm: float) -> float:
    """Largest distance of a dense sample of the curve from the polyline (shapely's distance)."""
    chords = polyline(kind, row, tolerance_mm)
    line = LineString(chords) if len(chords) > 1 else MultiPoint(chords)
    return max(MultiPoint(curve(kind, row)).geoms, key=line.distance).distance(line) if len(chords) else math.inf


@given(st.tuples(point, point, point, point), matrix, st.sampled_from([0.02, 0.2, 2.0]))
def test_no_point_of_a_cubic_is_farther_from_its_chords_than_the_tolerance(controls, m, tolerance) -> None:
    row = np.array(controls).ravel()
    mapped = transform_rows(np.array([CUBIC], dtype=np.uint8), row[None], np.array([m]))[0]
    assert deviation(CUBIC, mapped, tolerance) <= tolerance * (1.0 + 1e-9) + 1e-9


@given(
    st.tuples(point, st.tuples(st.floats(0.001, 200.0), st.floats(0.001, 200.0)), st.floats(-360.0, 360.0)),
    st.booleans(),
    st.booleans(),
    point,
    matrix,
    st.sampled_from([0.02, 0.2, 2.0]),
)
def test_no_point_of_an_arc_is_farther_from_its_chords_than_the_tolerance(arc, large, sweep, end, m, tolerance) -> None:
    start, radii, tilt = arc
    row = centre_form(start, radii, tilt, large, sweep, end)
    if row is None or start == end:
        return
    mapped = transform_rows(np.array([ARC], dtype=np.uint8), np.array([row]), np.array([m]))[0]
    assert deviation(ARC, mapped, tolerance) <= tolerance * (1.0 + 1e-9) + 1e-8


@given(
    point,
    st.tuples(st.floats(0.01, 200.0), st.floats(0.01, 200.0)),
    st.floats(-360.0, 360.0),
    st.booleans(),
    st.booleans(),
    point,
)
def test_an_arc_in_centre_form_keeps_its_ends_its_flags_and_its_shape(start, radii, tilt, large, sweep, end) -> None:
    chord = math.dist(start, end)
    row = centre_form(start, radii, tilt, large, sweep, end)
    if row is None or chord < 1e-3:
        return
    size = max(chord, *radii)
    points = curve(ARC, np.array(row), 3)
    np.testing.assert_allclose(points[0], start, atol=1e-6 * size)
    np.testing.assert_allclose(points[-1], end, atol=1e-6 * size)
    assert (row[7] > 0.0) == sweep
    half = math.hypot(row[2], row[3]) / radii[0]  # by how much the radii had to grow
    assert half >= 1.0 - 1e-12
    if half == pytest.approx(1.0, abs=1e-12) and abs(abs(row[7]) - math.pi) > 1e-4:
        assert (abs(row[7]) > math.pi) == large
    assert row[2] * row[4] + row[3] * row[5] == pytest.approx(0.0, abs=1e-9 * size**2)


def test_arcs_in_centre_form_as_worked_by_hand() -> None:
    # A quarter of the unit circle around the origin, from (1, 0) to (0, 1), y downward so that sweep is clockwise.
    row = centre_form((1.0, 0.0), (1.0, 1.0), 0.0, False, True, (0.0, 1.0))
    np.testing.assert_allclose(row, (0, 0, 1, 0, 0, 1, 0, math.pi / 2), atol=1e-15)
    # The same ends the other way round: centre (1, 1), three quarters.
    row = centre_form((1.0, 0.0), (1.0, 1.0), 0.0, True, True, (0.0, 1.0))
    np.testing.assert_allclose(row[:2], (1.0, 1.0), atol=1e-15)
    assert row[7] == pytest.approx(1.5 * math.pi)
    # Radii of 1 cannot span 4 mm: they grow to 2 (F.6.6), a half circle around the middle.
    row = centre_form((0.0, 0.0), (1.0, 1.0), 0.0, False, False, (4.0, 0.0))
    np.testing.assert_allclose(row[:6], (2, 0, 2, 0, 0, 2), atol=1e-15)
    assert abs(row[7]) == pytest.approx(math.pi)
    assert centre_form((0.0, 0.0), (0.0, 5.0), 0.0, False, True, (4.0, 0.0)) is None


@pytest.mark.parametrize("radius", [0.001, 0.02, 0.5, 10.0, 1000.0, 1e6])
def test_a_circle_is_cut_as_finely_as_its_sagitta_asks_and_not_more(radius: float) -> None:
    tolerance = 0.02
    row = np.array([5.0, 5.0, radius, 0.0, 0.0, radius, 0.0, math.tau])
    n = len(polyline(ARC, row, tolerance)) - 1
    assert n >= 4
    sagitta = radius * (1.0 - math.cos(math.pi / n))  # closed form for a regular polygon
    assert n == 4 or sagitta <= tolerance * (1.0 + 1e-6)
    coarser = radius * (1.0 - math.cos(math.pi / (n - 1)))
    assert n == 4 or coarser > tolerance * (1.0 - 1e-6)


def test_a_parabola_is_cut_as_its_second_difference_asks() -> None:
    # (0,0) (50,100) (100,0): |P''| = 400, chord error h^2/8*400 = 0.02 at n = 50 exactly.
    segments = Segments()
    segments.quadratic(0.0, 0.0, 50.0, 100.0, 100.0, 0.0)
    row = np.array(segments.rows)
    points = polyline(CUBIC, row, 0.02 + 1e-12)
    assert len(points) - 1 == 50
    t = np.linspace(0.0, 1.0, 51)
    expected = np.column_stack((100.0 * t, 200.0 * t * (1.0 - t)))  # the parabola in closed form
    np.testing.assert_allclose(points, expected, atol=1e-12)


def test_flattening_meets_the_ends_exactly_and_closes_exactly() -> None:
    segments = Segments()
    segments.begin()
    segments.cubic((0.1, 0.2, 5.0, 7.0, 3.0, -9.0, 10.3, 0.7))
    segments.begin()
    segments.ellipse_piece(50.0, 50.0, 7.3, 2.1, 0.0, math.tau)
    segments.close()
    kinds = np.frombuffer(bytes(segments.kinds), dtype=np.uint8)
    rows = np.array(segments.rows).reshape(-1, 8)
    lines = flatten(kinds, rows, np.array([0, 1, 2]), np.array(segments.closed), piece_counts(kinds, rows, 0.02))
    cubic, ellipse = np.split(lines.points_mm, lines.starts[1:-1])
    assert cubic[0].tolist() == [0.1, 0.2]
    assert cubic[-1].tolist() == [10.3, 0.7]
    assert ellipse[0].tolist() == ellipse[-1].tolist() == [57.3, 50.0]


def test_repeated_points_merge_and_a_tiny_loop_keeps_a_shape() -> None:
    kinds = np.array([LINE, LINE, LINE, CUBIC], dtype=np.uint8)
    rows = np.array([
        (0, 0, 0, 0, 1, 0, 1, 0),
        (1, 0, 1, 0, 1, 1e-12, 1, 1e-12),
        (1, 0, 1, 0, 2, 0, 2, 0),
        (9, 9, 9.005, 9, 9.005, 9.005, 9, 9),
    ], dtype=float)  # fmt: skip
    lines = flatten(kinds, rows, np.array([0, 3, 4]), np.array([False, False]), piece_counts(kinds, rows, 0.02))
    assert lines.starts.tolist() == [0, 3, 6]


def test_extents_find_what_is_far_out() -> None:
    kinds = np.array([LINE, ARC, ARC], dtype=np.uint8)
    rows = np.array([
        (0, 0, 0, 0, 1e9, 0, 1e9, 0),
        (0, 0, 1e7, 0, 0, 1e7, 0, math.tau),
        (0, 1e7, 1e7, 0, 0, 1e7, -math.pi / 2, 1e-6),  # a short piece of a huge circle stays near the origin
    ], dtype=float)  # fmt: skip
    reach = extents(kinds, rows)
    assert reach[0] == 1e9
    assert reach[1] == pytest.approx(1e7)
    assert reach[2] == pytest.approx(10.0, rel=1e-3)


def test_polyline_and_circle_agree_with_shapely_buffer() -> None:
    # Outside check of the circle: shapely's 256-gon around the same centre.
    from shapely import Point

    row = np.array([5.0, 5.0, 20.0, 0.0, 0.0, 20.0, 0.0, math.tau])
    ours = LineString(polyline(ARC, row, 0.02))
    theirs = Point(5.0, 5.0).buffer(20.0, quad_segs=256).exterior
    assert hausdorff_distance(ours, theirs, densify=0.01) <= 0.02 + 20.0 * (1.0 - math.cos(math.pi / 1024))
