"""Labyrinth lines: no crossings, denser where darker, none on white."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from host.photographs import hills, layer, wedge
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.curve_growth import renewed, step
from linewright.sources.tone.labyrinth import Labyrinth, _levelled, _neighbours


def crossing_free(curves) -> bool:
    """Whether curves cross, by shapely's test of simplicity over all of them."""
    return bool(shapely.is_simple(shapely.multilinestrings([shapely.linestrings(curve) for curve in curves])))


def closed(points, first):
    return [np.vstack((points[a:b], points[a : a + 1])) for a, b in itertools.pairwise(first)]


def star(seed: int, count: int) -> np.ndarray:
    """A closed curve without crossings: its corners are sorted by angle around the middle."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    away = rng.uniform(4.0, 9.0, count)
    return np.column_stack((20 + away * np.cos(turn), 20 + away * np.sin(turn)))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(8, 60), wild=st.floats(0.0, 50.0))
def test_no_step_however_wild_makes_a_curve_cross_itself(seed, count, wild):
    points, first = star(seed, count), np.array([0, count])
    apart, allowed, pixel = np.full((40, 40), 2.0), np.ones((40, 40), dtype=bool), np.array([1.0, 1.0])
    rng = np.random.default_rng(seed)
    for _ in range(6):
        before, after = _neighbours(first)
        crowd, clear = np.zeros(len(points)), np.zeros(len(points))
        noise = rng.normal(0.0, wild, points.shape)
        step(points, before, after, apart, allowed, pixel, noise, 0.5, crowd, clear)
        assert crossing_free(closed(points, first))
        points, first = renewed(points, first, apart, pixel, rng.random(len(points)), 0.5, crowd, clear)
        assert crossing_free(closed(points, first))


def test_a_curve_grows_until_its_passages_are_as_wide_as_wanted():
    """Parallel lines at a distance d have a length of 1/d to the area."""
    points, first = star(1, 40), np.array([0, 40])
    apart, allowed, pixel = np.full((40, 40), 2.0), np.ones((40, 40), dtype=bool), np.array([1.0, 1.0])
    rng = np.random.default_rng(1)
    for _ in range(250):
        before, after = _neighbours(first)
        crowd, clear = np.zeros(len(points)), np.zeros(len(points))
        noise = rng.normal(0.0, 0.03, points.shape)
        step(points, before, after, apart, allowed, pixel, noise, 0.5, crowd, clear)
        points, first = renewed(points, first, apart, pixel, rng.random(len(points)), 0.2, crowd, clear)
    (curve,) = closed(points, first)
    assert np.hypot(*np.diff(curve, axis=0).T).sum() / 1600 == pytest.approx(0.5, abs=0.1)


def test_labyrinths_of_pictures_are_closed_and_never_cross():
    for seed, wander in ((1, 0.0), (2, 1.0)):
        curves = Labyrinth(rounds=20, wander=wander).strokes(layer(hills(seed), 30.0, 20.0, 0.6))
        assert sum(len(curve) for curve in curves) > 300
        assert all((curve[0] == curve[-1]).all() for curve in curves)
        assert crossing_free(curves)


def test_darker_tones_have_narrower_passages():
    curves = Labyrinth(rounds=50).strokes(layer(wedge(30, 120), 80.0, 20.0, 0.5))
    steps = inked(curves, (80.0, 20.0), pen_mm=0.5, pixel_mm=0.1).reshape(200, 8, 100).mean(axis=(0, 2))
    assert (np.diff(steps[:7]) > 0.06).all()
    # Even the narrowest passage shows paper, so the darkest eighth cannot be reached.
    assert steps[:7] == pytest.approx((np.arange(7) + 0.5) / 8, abs=0.09)


def test_bare_paper_stays_bare_and_islands_have_curves_of_their_own():
    coverage = np.zeros((60, 120))
    coverage[:, :40] = coverage[:, 80:] = 0.4
    curves = Labyrinth(rounds=10).strokes(layer(coverage, 60.0, 30.0, 0.4))
    assert len(curves) == 2
    assert all(((curve[:, 0] < 21.5) | (curve[:, 0] > 38.5)).all() for curve in curves)


def test_distances_of_passages_rise_no_faster_than_asked():
    """Against the definition: at each place the least of all values, each raised by its distance along rows and
    columns."""
    values = np.random.default_rng(3).uniform(0.0, 9.0, (12, 15))
    rows, columns = np.indices(values.shape)
    apart = np.abs(rows[..., None, None] - rows) + np.abs(columns[..., None, None] - columns)
    assert _levelled(values, 0.7) == pytest.approx((values + 0.7 * apart).min(axis=(2, 3)))
