"""Line directions that follow the picture's form: along edges if there are any, straight elsewhere.

The structure tensor (Bigun and Granlund 1987) is the local mean of products of the gradient; its weaker eigenvector
runs along edges and folds. Directions have no sign, so they are mixed as double angles.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.tone.field import Field

NOISE: Final = 2e-4
"""Squared gradient, of coverage per pixel of the grid, below which there is no form: a ramp of 1.4 % per pixel."""

GRID_PENS: Final = 2.0
"""Pixel of the direction grid, in pens: lines cannot turn faster anyway."""


def directions(field: Field, angle_deg: float, form: float, reach_mm: float) -> tuple[Points, Points]:
    """Cosine and sine of the double angle, (h, w) each, on a grid over the picture.

    Parameters
    ----------
    angle_deg : direction where there is no form; 0 is horizontal, 45 rises to the right.
    form : 0: that direction everywhere; 1: along the form wherever there is some.
    reach_mm : averaging distance.
    """
    from scipy import ndimage

    grid = field.sampled(GRID_PENS * field.pen_mm)
    sigma = max(1.0, reach_mm / max(grid.pixel_mm))
    values = blurred(grid.coverage.astype(np.float64), 1.0)
    slope_y, slope_x = (ndimage.sobel(values, axis, mode="nearest") / 8.0 for axis in (0, 1))
    yy, xy, xx = (blurred(product, sigma) for product in (slope_y * slope_y, slope_x * slope_y, slope_x * slope_x))
    # The gradient's double angle has (xx - yy, 2 xy); the edge is a quarter turn from it, which changes both signs.
    along_x, along_y = yy - xx, -2.0 * xy
    strength = np.hypot(along_x, along_y)
    weight = form * strength / (strength + NOISE)
    safe = np.maximum(strength, 1e-12)
    plain = np.deg2rad(-2.0 * angle_deg)
    cosine = weight * along_x / safe + (1.0 - weight) * np.cos(plain)
    sine = weight * along_y / safe + (1.0 - weight) * np.sin(plain)
    # Smooth again, so that directions change smoothly where form begins.
    cosine, sine = (blurred(part, sigma / 2) for part in (cosine, sine))
    length = np.hypot(cosine, sine)
    broken = length < 1e-6
    length[broken], cosine[broken], sine[broken] = 1.0, np.cos(plain), np.sin(plain)
    return np.ascontiguousarray(cosine / length), np.ascontiguousarray(sine / length)
