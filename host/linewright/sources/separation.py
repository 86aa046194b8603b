"""Colour separation of a photograph to coverages of a set of pens.

The appearance of several inks on paper is predicted by Neugebauer's model (1937): the eye averages the colours of
paper, inks and overlapping inks, weighted by area, and independently hatched layers overlap at random (Demichel 1924).
Inks of common pens are transparent, so overlapping ones multiply; the average then has a closed form in each channel:
the product over all pens of 1 - c + c * ink.

From a fine grid of mixtures of up to three pens, every colour gets the one with the smallest CIEDE2000 difference
(Sharma, Wu and Dalal 2005; by scikit-image). This is done once for a lattice of colours; in between, coverages are
interpolated.
"""

from __future__ import annotations

import itertools
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Pen
from linewright.sources.photograph import Floats32
from linewright.sources.preparation import linear

LATTICE: Final = 17
"""Points along each axis of the colour lattice, as in colour profiles."""

TOGETHER: Final = 3
"""Most pens in one place; three span colours, more only add ink on ink."""

MIXTURES_HIGH: Final = 60_000
"""Largest number of mixtures."""

CANDIDATES: Final = 24
"""Nearest colours by CIELAB (1976) that are compared by CIEDE2000, which ranks near colours better."""

PER_PEN: Final = 0.6
"""Penalty per pen in a mixture: below the just noticeable difference, it avoids pens without effect."""


def separated(
    rgb: Floats32, pens: tuple[Pen, ...], *, true_tone: bool, together: int = TOGETHER, calm: float = 1.0
) -> list[Floats32]:
    """(h, w) float32 coverage for each pen.

    Parameters
    ----------
    rgb : (h, w, 3) float32, 0..1, sRGB as encoded.
    true_tone : average linear light, as the eye does; False: encoded values, which need less ink, see
        `Preparation.coverage`.
    together : most pens in one place.
    calm : reduction of the weight of lightness against hue and chroma (k_L of CIEDE2000).
    """
    from scipy import ndimage

    table = _table(np.array([_rgb(pen.colour) for pen in pens]), true_tone, together, calm)
    at = [rgb[:, :, axis] * (LATTICE - 1) for axis in range(3)]
    return [
        np.clip(ndimage.map_coordinates(table[..., i], at, order=1, mode="nearest"), 0.0, 1.0).astype(np.float32)
        for i in range(len(pens))
    ]


def predicted(coverages: NDArray[np.float64], inks: NDArray[np.float64], *, true_tone: bool) -> NDArray[np.float64]:
    """(..., 3) sRGB, 0..1, of (..., n) coverages of n inks given as (n, 3) sRGB."""
    light = linear(inks.astype(np.float32)).astype(np.float64) if true_tone else inks
    left = np.prod(1.0 - coverages[..., None] * (1.0 - light), axis=-2)
    return _encoded(left) if true_tone else left


def _table(inks: NDArray[np.float64], true_tone: bool, together: int, calm: float) -> NDArray[np.float32]:
    """(LATTICE, LATTICE, LATTICE, n) coverages of the best mixture for every lattice colour."""
    from scipy.spatial import cKDTree
    from skimage.color import deltaE_ciede2000, rgb2lab

    mixtures = _mixtures(len(inks), together)
    lab = rgb2lab(predicted(mixtures, inks, true_tone=true_tone))
    axis = np.linspace(0.0, 1.0, LATTICE)
    wanted = rgb2lab(np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3))
    count = min(CANDIDATES, len(mixtures))
    shrunk = np.array([1.0 / calm, 1.0, 1.0])
    _, near = cKDTree(lab * shrunk).query(wanted * shrunk, k=count)
    near = near.reshape(len(wanted), count)
    difference = deltaE_ciede2000(wanted[:, None, :], lab[near], kL=calm) + PER_PEN * (mixtures[near] > 0).sum(axis=2)
    best = near[np.arange(len(wanted)), np.argmin(difference, axis=1)]
    return np.asarray(mixtures[best], dtype=np.float32).reshape(LATTICE, LATTICE, LATTICE, len(inks))


def _mixtures(pens: int, together: int) -> NDArray[np.float64]:
    """(m, pens) coverages: all combinations of up to ``together`` pens in equal steps."""
    groups = list(itertools.combinations(range(pens), min(together, pens)))
    steps = int(np.clip((MIXTURES_HIGH / len(groups)) ** (1 / min(together, pens)) - 1, 3, 24))
    levels = np.linspace(0.0, 1.0, steps + 1)
    parts = np.stack(np.meshgrid(*[levels] * len(groups[0]), indexing="ij"), axis=-1).reshape(-1, len(groups[0]))
    found = np.zeros((len(groups), len(parts), pens))
    for number, group in enumerate(groups):
        found[number][:, list(group)] = parts
    return np.unique(found.reshape(-1, pens), axis=0)


def _encoded(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Light, 0..1, to encoded sRGB values (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-12) ** (1 / 2.4) - 0.055)


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue
