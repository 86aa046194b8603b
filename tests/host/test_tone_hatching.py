"""Hatching: tones come out as asked for, and every line lies where it may."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.sources.tone import meter
from linewright.sources.tone.field import Field
from linewright.sources.tone.hatching import CrossHatching, Hatching, ranks
from linewright.sources.tone.method import Layer


def layer(coverage: np.ndarray, width_mm: float = 80.0, height_mm: float = 60.0, pen_mm: float = 0.5) -> Layer:
    field = Field(coverage.astype(np.float32), width_mm, height_mm, pen_mm)
    return Layer(field, np.repeat(1 - field.coverage[:, :, None], 3, axis=2), 0, lambda state, done: None)


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
