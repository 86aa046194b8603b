"""Hatching: correct tones, and lines only where allowed."""

from __future__ import annotations

import numpy as np
import pytest

from host.photographs import layer
from linewright.sources.tone import meter
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.hatching import CrossHatching, Hatching, ranks


@pytest.mark.parametrize("way", [Hatching(), Hatching(angle_deg=0), CrossHatching(), CrossHatching(directions=2)])
@pytest.mark.parametrize("grey", [0.1, 0.25, 0.5, 0.75, 1.0])
def test_an_even_grey_is_covered_as_it_asks(way, grey):
    given = layer(np.full((60, 80), grey))
    reading = meter.read(way.strokes(given), given.field)
    assert reading.ink == pytest.approx(grey, abs=0.03)


def test_every_share_of_the_lines_is_spread_evenly():
    """The discrepancy of van der Corput's sequence in base 2 over 2^k points is one part in 2^k (Niederreiter 1992)."""
    order = np.argsort(ranks(32))
    for drawn in (2, 4, 8, 16):
        gaps = np.diff(np.sort(order[:drawn]))
        assert set(gaps) == {32 // drawn}


def test_white_leaves_nothing():
    assert len(Hatching().strokes(layer(np.zeros((60, 80))))) == 0


@pytest.mark.parametrize("spacing", [2.0, 4.0])
def test_lines_come_no_closer_than_their_spacing_and_paler_tones_do_not_change(spacing):
    for grey in (0.5 / spacing, 1.0):
        strokes = Hatching(angle_deg=0, spacing=spacing).strokes(layer(np.full((60, 80), grey), pen_mm=0.5))
        ink = inked(strokes, (80.0, 60.0), pen_mm=0.5, pixel_mm=0.25).mean()
        assert ink == pytest.approx(min(grey, 1 / spacing), abs=0.02)
        apart = np.diff(np.unique(np.round(np.concatenate([stroke[:, 1] for stroke in strokes]), 6)))
        assert apart.min() >= 0.5 * spacing - 1e-6
