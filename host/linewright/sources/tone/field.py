"""`Field`: wanted coverage by position, at the size on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32


@dataclass(frozen=True, eq=False)
class Field:
    """Wanted coverage, 0 for bare paper and 1 for solid ink.

    Parameters
    ----------
    coverage : (h, w) float32, 0..1; pixel (i, j) covers the rectangle from (j, i) to (j + 1, i + 1) pixels.
    width_mm, height_mm : size of the whole.
    pen_mm : pen width.
    """

    coverage: Floats32
    width_mm: float
    height_mm: float
    pen_mm: float

    @property
    def pixel_mm(self) -> tuple[float, float]:
        """Width and height of a pixel."""
        rows, columns = self.coverage.shape
        return self.width_mm / columns, self.height_mm / rows

    def at(self, points_mm: Points, *, beyond: float | None = None) -> NDArray[np.float64]:
        """Coverage at (..., 2) points, bilinear; outside of the picture ``beyond``, or that of the nearest border pixel
        if None.
        """
        from scipy import ndimage

        x, y = points_mm[..., 0] / self.pixel_mm[0] - 0.5, points_mm[..., 1] / self.pixel_mm[1] - 0.5
        found = ndimage.map_coordinates(self.coverage, [y, x], order=1, mode="nearest", output=np.float64)
        if beyond is not None:
            found[~self.inside(points_mm)] = beyond
        return np.asarray(found)

    def inside(self, points_mm: Points) -> NDArray[np.bool_]:
        """Whether (..., 2) points are on the picture, border included."""
        x, y = points_mm[..., 0], points_mm[..., 1]
        return np.asarray((x >= 0) & (y >= 0) & (x <= self.width_mm) & (y <= self.height_mm))

    def smoothed(self, sigma_mm: float) -> Field:
        """The field blurred, for methods that cannot follow finer detail."""
        sigma = (sigma_mm / self.pixel_mm[1], sigma_mm / self.pixel_mm[0])
        if max(sigma) < 0.3:  # less changes neighbours by under 0.4 %
            return self
        return Field(blurred(self.coverage, sigma, truncate=3.0), self.width_mm, self.height_mm, self.pen_mm)

    def sampled(self, pixel_mm: float) -> Field:
        """The field resampled to pixels of about this size, by averaging."""
        from PIL import Image

        size = (max(1, round(self.width_mm / pixel_mm)), max(1, round(self.height_mm / pixel_mm)))
        image = Image.fromarray(np.ascontiguousarray(self.coverage))
        filter_ = Image.Resampling.BOX if size[0] < image.width else Image.Resampling.BILINEAR
        values = np.clip(np.asarray(image.resize(size, filter_), dtype=np.float32), 0.0, 1.0)
        return Field(values, self.width_mm, self.height_mm, self.pen_mm)
