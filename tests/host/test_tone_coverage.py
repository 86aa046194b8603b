"""Ink coverage, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.sources.tone.coverage import inked


def covered_mm2(strokes, pen_mm: float = 0.5, side_mm: float = 20.0) -> float:
    return float(inked(strokes, (side_mm, side_mm), pen_mm=pen_mm, pixel_mm=0.2).mean() * side_mm**2)


@pytest.mark.parametrize("angle", [0, 10, 30, 45, 77, 90])
@pytest.mark.parametrize("pen_mm", [0.2, 0.5, 1.3])
def test_a_line_covers_its_length_times_its_width_and_two_half_discs(angle, pen_mm):
    end = 5 * np.array([np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))])
    # One line may be off by an eighth of its width on the grid; the mean is compared.
    places = np.random.default_rng(1).uniform(9, 11, (30, 2))
    found = np.mean([covered_mm2([place + np.array([-end, end])], pen_mm) for place in places])
    assert found == pytest.approx(10 * pen_mm + np.pi * pen_mm**2 / 4, rel=0.01)


def test_a_dot_covers_a_disc():
    dots = [np.array([[x, y]]) for x in np.arange(2, 19, 1.37) for y in np.arange(2, 19, 1.61)]
    assert covered_mm2(dots) == pytest.approx(len(dots) * np.pi * 0.5**2 / 4, rel=0.01)


def test_two_dots_that_overlap_cover_what_the_lens_formula_says():
    """Area of intersection of two discs: 2 r^2 acos(d / 2r) - d/2 sqrt(4 r^2 - d^2) (Weisstein, "Circle-circle
    intersection", MathWorld)."""
    r, d = 1.5, 1.1
    lens = 2 * r**2 * np.arccos(d / 2 / r) - d / 2 * np.sqrt(4 * r**2 - d**2)
    places = np.random.default_rng(2).uniform(9, 11, (30, 2))
    found = np.mean([covered_mm2([place[None], place[None] + [d, 0.0]], 2 * r) for place in places])
    assert found == pytest.approx(2 * np.pi * r**2 - lens, rel=0.005)


def test_lines_a_pen_apart_leave_no_paper():
    lines = [np.array([[0.0, y], [20.0, y]]) for y in np.arange(0.25, 20, 0.5)]
    assert covered_mm2(lines) == pytest.approx(400.0)


def test_ink_beyond_the_paper_is_not_counted():
    assert covered_mm2([np.array([[-5.0, 0.0], [25.0, 0.0]])]) == pytest.approx(20 * 0.25, rel=0.01)
    assert covered_mm2([]) == 0.0
