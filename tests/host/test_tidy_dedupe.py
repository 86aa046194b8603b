"""Removal of duplicates, and of nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from host.zoo import SOUND, TWO_PENS, drawings
from linewright.drawing.strokes import Drawing
from linewright.tidy import dedupe


def left(*strokes, **kwargs):
    tolerance_mm = kwargs.pop("tolerance_mm", 0.0)
    return [s.tolist() for s in dedupe(Drawing.from_strokes(strokes, **kwargs), tolerance_mm=tolerance_mm)]


def test_the_same_stroke_in_either_direction_goes():
    line = [(0, 0), (3, 4), (5, 5)]
    assert left(line, line, line[::-1]) == [[list(p) for p in line]]


def test_a_closed_stroke_begun_elsewhere_goes():
    ring = [(0, 0), (5, 0), (5, 5), (0, 5)]
    turned = [ring[(i + 2) % 4] for i in range(4)]
    copies = [[*ring, ring[0]], [*turned, turned[0]], [*turned[::-1], turned[-1]]]
    assert len(left(*copies)) == 1


def test_a_closed_stroke_that_passes_its_corner_again_is_known_all_the_same():
    # Found by hypothesis: the least vertex comes twice, so it alone does not say where to begin.
    twice = [(0, 0), (0, 1), (-1, 0), (0, 0), (-1, 0), (0, 0)]
    for i in range(5):
        turned = twice[i:-1] + twice[: i + 1]
        assert len(left(twice, turned, turned[::-1])) == 1


def test_another_pen_may_draw_the_same():
    line = [(0, 0), (3, 4)]
    assert len(left(line, line, pen=[0, 1], pens=TWO_PENS)) == 2


def test_repeated_vertices_go_and_dots_stay():
    assert left([(0, 0), (0, 0), (1, 0), (1, 0)], [(7, 7), (7, 7), (7, 7)], [(8, 8)]) == [
        [[0, 0], [1, 0]],
        [[7, 7]],
        [[8, 8]],
    ]
    assert left([(7, 7)], [(7, 7), (7, 7)]) == [[[7, 7]]]


def test_a_stroke_that_comes_back_to_a_place_keeps_it():
    there_and_back = [[0, 0], [5, 0], [0, 0], [5, 0]]
    assert left(there_and_back) == [there_and_back]


def test_copies_with_float_noise_are_found_on_round_numbers():
    rng = np.random.default_rng(2)
    for tolerance in (0.05, 0.02, 0.01):
        grid = rng.integers(0, 40_000, (200, 3, 2)) * 0.005
        noisy = grid + rng.uniform(-1e-9, 1e-9, grid.shape)
        assert len(left(*grid, *noisy, tolerance_mm=tolerance)) == 200


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    drawing = SOUND[name]
    for tolerance in (0.0, 0.05):
        out = dedupe(drawing, tolerance_mm=tolerance)
        assert (len(out) > 0) == (len(drawing) > 0)
        assert len(dedupe(out, tolerance_mm=tolerance)) == len(out)


@given(drawings(most_strokes=8))
def test_every_dropped_stroke_has_a_twin_that_stays(drawing):
    """Two additional copies, one of them reversed, give the same result as one."""
    strokes = list(drawing)
    thrice = Drawing.from_strokes(
        [*strokes, *strokes, *(s[::-1] for s in strokes)], pen=np.tile(drawing.pen, 3), pens=drawing.pens
    )
    once, all_of_it = dedupe(drawing), dedupe(thrice)
    assert np.array_equal(once.points_mm, all_of_it.points_mm)
    assert np.array_equal(once.starts, all_of_it.starts)
    assert np.array_equal(once.pen, all_of_it.pen)


@given(drawings())
def test_what_is_dropped_lies_within_the_tolerance_of_what_stays(drawing):
    """Every vertex that went lies within the tolerance of one of the same pen that stayed."""
    tolerance = 30.0
    out = dedupe(drawing, tolerance_mm=tolerance)
    for pen in (0, 1):
        before = drawing.select(np.flatnonzero(drawing.pen == pen)).points_mm
        after = out.select(np.flatnonzero(out.pen == pen)).points_mm
        for point in before:
            assert np.hypot(*(after - point).T).min() <= tolerance


def test_what_is_just_beyond_the_tolerance_is_no_copy():
    tolerance_mm = 0.1
    at = np.random.default_rng(5).uniform(0.0, 1.0, (2000, 2)) + 10.0 * np.arange(2000)[:, None]
    beside = at + 1.01 * tolerance_mm / np.sqrt(2.0)
    dots = Drawing.from_strokes([[point] for point in np.concatenate((at, beside))])
    assert len(dedupe(dots, tolerance_mm=tolerance_mm)) == 4000
