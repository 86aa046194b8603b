"""What paints look like: how light, and whether they are the paper's own colour."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.marks import Paint
from linewright.sources.preparation import lightness as lightness_of

Floats = NDArray[np.float64]

PALEST: Final = 0.04
"""Tone below which a paint is the colour of paper: nothing of it is drawn, and no pen asked for."""

OPAQUE: Final = 0.97
"""Opacity from which a paint hides what is below: what is left of black shows as 8 of 255 levels."""

TINT: Final = 0.16
"""Share by which colour counts beside lightness: pure yellow, as light as paper, is seen, and cream paper is paper."""

VEIL: Final = 0.1
"""Opacity from which white is seen on black, as it makes a tenth of it light."""

lightness = lru_cache(maxsize=4096)(lightness_of)
"""As in `preparation`; pictures have few colours, and ask for them often."""


def tone(paint: Paint) -> float:
    """How dark a paint makes white paper at its darkest place, 0 to 1."""
    if paint.gradient is None:
        return paint.alpha * (1.0 - lightness(paint.colour))
    return max(paint.alpha * stop.alpha * (1.0 - lightness(stop.colour)) for stop in paint.gradient.stops)


@lru_cache(maxsize=4096)
def contrast(colour: str) -> float:
    """How much an opaque colour stands out from white paper, 0 to 1: by being dark, or by its tint."""
    least = min(int(colour[i : i + 2], 16) for i in (1, 3, 5)) / 255.0
    return float(max(1.0 - lightness(colour), TINT * (1.0 - least)))


def is_paper(paint: Paint | None) -> bool:
    """Whether a paint leaves paper as it is; nothing at all does, too."""
    if paint is None or paint.gradient is None:
        return paint is None or paint.alpha * contrast(paint.colour) < PALEST
    return max(paint.alpha * stop.alpha * contrast(stop.colour) for stop in paint.gradient.stops) < PALEST


def veils(paint: Paint) -> bool:
    """Whether a paint that is as light as paper shows on what is dark."""
    stops = (1.0,) if paint.gradient is None else tuple(stop.alpha for stop in paint.gradient.stops)
    return paint.alpha * max(stops) >= VEIL


def lightness_at(paint: Paint, page_mm: Floats) -> tuple[Floats, Floats]:
    """Lightness of the paint, and how much it covers, at (n, 2) points of the page; each (n,) or one number."""
    if paint.gradient is None:
        return np.asarray(lightness(paint.colour)), np.asarray(paint.alpha)
    # Colour and opacity change each by itself between stops (SVG 2, section 14.2.4).
    weights = paint.gradient.weights(page_mm)
    alphas = weights @ np.array([stop.alpha for stop in paint.gradient.stops])
    return weights @ np.array([lightness(stop.colour) for stop in paint.gradient.stops]), alphas * paint.alpha


def coverage_at(paint: Paint, page_mm: Floats) -> dict[str, Floats]:
    """Ink wanted at (n, 2) points of the page: for each colour the share of paper it covers, (n,) 0 to 1."""
    if paint.gradient is None:
        return {paint.colour: np.full(len(page_mm), tone(paint))}
    weights = paint.gradient.weights(page_mm)
    alphas = weights @ np.array([stop.alpha for stop in paint.gradient.stops]) * paint.alpha
    found: dict[str, Floats] = {}
    for number, stop in enumerate(paint.gradient.stops):
        dark = 1.0 - lightness(stop.colour)
        if dark >= PALEST:
            found[stop.colour] = found.get(stop.colour, np.zeros(len(page_mm))) + weights[:, number] * alphas * dark
    return found
