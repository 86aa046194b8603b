"""Contour lines of a grid, against a circle and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from linewright.sources.isolines import isolines


def test_a_level_of_a_cone_is_a_circle():
    x, y = np.linspace(0, 100, 201), np.linspace(0, 80, 161)
    height = 50 - np.hypot(*np.meshgrid(x - 50, y - 40))
    (ring,) = isolines(height, 20.0, x, y)
    assert (ring[0] == ring[-1]).all()
    assert np.hypot(*(ring - (50, 40)).T) == pytest.approx(30.0, abs=0.02)
    assert np.hypot(*np.diff(ring, axis=0).T).sum() == pytest.approx(2 * np.pi * 30, rel=1e-3)


def heights(kind):
    rng = np.random.default_rng(8)
    rough = rng.normal(size=(60, 80))
    if kind == "smooth":
        return ndimage.gaussian_filter(rough, 3), 0.05
    if kind == "whole numbers, at one of them":  # the level passes through corners of the grid
        return rng.integers(0, 4, (60, 80)).astype(np.float64), 2.0
    return (rough > 0).astype(np.float64), 0.5  # corners that touch


@pytest.mark.parametrize("kind", ["smooth", "whole numbers, at one of them", "black and white"])
def test_lines_are_those_of_scikit_image_to_the_last_bit(kind):
    measure = pytest.importorskip("skimage.measure")
    height, level = heights(kind)
    ours = isolines(height, level, np.arange(80.0), np.arange(60.0))
    theirs = [line[:, ::-1] for line in measure.find_contours(height, level)]
    assert len(ours) > 5
    assert [line.tobytes() for line in ours] == [np.ascontiguousarray(line).tobytes() for line in theirs]


def test_a_level_that_is_nowhere_has_no_line():
    assert isolines(np.zeros((3, 4)), 1.0, np.arange(4.0), np.arange(3.0)) == []
