"""Appearance of paints: lightness, and whether they match the paper."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.marks import Paint
from linewright.sources.preparation import lightness as lightness_of

Floats = NDArray[np.float64]

PALEST: Final = 0.04
"""Tone below which a paint matches the paper: it is not drawn and needs no pen."""

OPAQUE: Final = 0.97
"""Opacity above which a paint hides what is below: black shows through with 8 of 255 levels."""

TINT: Final = 0.16
"""Weight of chroma relative to lightness: pure yellow, as light as paper, is visible, while cream paper counts as
paper."""

VEIL: Final = 0.1
"""Opacity above which white is visible on black: a tenth of full lightness."""

lightness = lru_cache(maxsize=4096)(lightness_of)
"""As in `preparation`, cached, because pictures have few colours."""


def tone(paint: Paint) -> float:
    """Largest darkness of a paint on white paper, 0 to 1."""
    if paint.gradient is None:
        return paint.alpha * (1.0 - lightness(paint.colour))
    return max(paint.alpha * stop.alpha * (1.0 - lightness(stop.colour)) for stop in paint.gradient.stops)


@lru_cache(maxsize=4096)
def contrast(colour: str) -> float:
    """Contrast of an opaque colour with white paper, 0 to 1, by darkness or tint."""
    least = min(int(colour[i : i + 2], 16) for i in (1, 3, 5)) / 255.0
    return float(max(1.0 - lightness(colour), TINT * (1.0 - least)))


def is_paper(paint: Paint | None) -> bool:
    """Whether a paint, or none, leaves the paper unchanged."""
    if paint is None or paint.gradient is None:
        return paint is None or paint.alpha * contrast(paint.colour) < PALEST
    return max(paint.alpha * stop.alpha * contrast(stop.colour) for stop in paint.gradient.stops) < PALEST


def veils(paint: Paint) -> bool:
    """Whether a paint as light as paper is visible on dark areas."""
    stops = (1.0,) if paint.gradient is None else tuple(stop.alpha for stop in paint.gradient.stops)
    return paint.alpha * max(stops) >= VEIL


def lightness_at(paint: Paint, page_mm: Floats) -> tuple[Floats, Floats]:
    """Lightness and opacity of a paint at (n, 2) points of the page; each (n,) or a number."""
    if paint.gradient is None:
        return np.asarray(lightness(paint.colour)), np.asarray(paint.alpha)
    # Colour and opacity are interpolated separately between stops (SVG 2, section 14.2.4).
    weights = paint.gradient.weights(page_mm)
    alphas = weights @ np.array([stop.alpha for stop in paint.gradient.stops])
    return weights @ np.array([lightness(stop.colour) for stop in paint.gradient.stops]), alphas * paint.alpha


def coverage_at(paint: Paint, page_mm: Floats) -> dict[str, Floats]:
    """Wanted ink at (n, 2) points of the page: coverage by colour, (n,) 0 to 1."""
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
