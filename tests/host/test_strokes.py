"""Strokes along the form: their direction on a form that is known."""

from __future__ import annotations

import numpy as np
import pytest

from host.photographs import layer
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.strokes import Strokes


@pytest.mark.parametrize("pixels", [60, 300])
def test_strokes_of_rings_run_around_their_centre(pixels):
    """Also those of a photograph with fewer pixels than the pen can show (0.2 mm each here)."""
    side_mm = 60.0
    y, x = (np.mgrid[:pixels, :pixels] + 0.5) * side_mm / pixels - side_mm / 2
    away_mm = np.hypot(x, y)
    cover = np.where(away_mm < 27.0, 0.45 + 0.3 * np.cos(away_mm * 2 * np.pi / 9.0), 0.0)
    strokes = Strokes().strokes(layer(cover, side_mm, side_mm, 0.5))
    pieces = np.concatenate([np.diff(stroke, axis=0) for stroke in strokes])
    middles = np.concatenate([(stroke[1:] + stroke[:-1]) / 2 for stroke in strokes]) - side_mm / 2
    long_mm, from_centre = np.hypot(*pieces.T), np.hypot(*middles.T)
    # Between these radii the rings are wider than the pen and curve less than a stroke may.
    inner = (from_centre > 6.0) & (from_centre < 25.0) & (long_mm > 0)
    radial = np.abs((pieces * middles).sum(axis=1))[inner] / (long_mm * from_centre)[inner]
    assert long_mm[inner].sum() > 500.0
    # Random directions give 2 / pi.
    assert np.average(radial, weights=long_mm[inner]) < 0.16


@pytest.mark.parametrize("size_mm", [(60.0, 40.0), (90.0, 60.0)])
def test_no_ink_is_laid_twice_and_none_is_missing_in_pale_places(size_mm):
    """At the border of a dark place, one stroke came again and again until the ink for the others was used up."""
    cover = np.repeat(np.linspace(1.0, 0.0, 80)[:, None], 120, axis=1)
    strokes = Strokes().strokes(layer(cover, *size_mm, 0.5))
    long_mm = sum(float(np.hypot(*np.diff(stroke, axis=0).T).sum()) for stroke in strokes)
    ink = inked(strokes, size_mm, pen_mm=0.5, pixel_mm=0.1)
    assert long_mm * 0.5 < 1.15 * ink.sum() * 0.1**2
    bands = ink.reshape(8, -1).mean(axis=1)
    assert bands == pytest.approx(np.linspace(15, 1, 8) / 16, abs=0.12)
