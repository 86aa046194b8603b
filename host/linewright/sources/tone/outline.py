"""Outlines: edges found, thinned to lines and traced.

J. Canny, "A computational approach to edge detection", 1986 (by scikit-image): the crest lines of the gradient of the
smoothed picture, followed from where they are strong to where they become weak.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.photograph import Floats32
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.trace import Chain, chains, smooth, to_strokes

WEAK_SHARE: Final = 0.4
"""Of the strong threshold, down to which an edge is followed (Canny's own advice is a third to a half)."""

SMOOTH_PX: Final = 1.2
"""Along a line: takes the stairs of pixels out and leaves corners."""

TOLERANCE: Final = 0.06
"""In pens: how far vertices may be left out."""

CONTRAST_FLOOR: Final = 0.02
"""Gradient, of full scale to the pixel, below which there are no edges but the grain of the picture."""


@dataclass(frozen=True)
class Outline(ToneMethod):
    """Edges."""

    detail: float = settings.number("how much smaller detail is shown, 0 least, 1 most", 0.5, 0.0, 1.0)
    blur: float = settings.number("smoothing before edges are looked for, in pen widths", 1.5, 0.2, 20.0, "pens")
    least: float = settings.number("shorter lines are left out, in pen widths", 8.0, 0.0, 200.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One stroke for each edge."""
        from scipy import ndimage
        from skimage.feature import canny

        layer.report("finding edges", 0.0)
        field = layer.field
        sigma = max(1.0, self.blur * field.pen_mm / max(field.pixel_mm))
        grey = field.coverage
        blurred = ndimage.gaussian_filter(grey, sigma, mode="nearest")
        slope_y, slope_x = ndimage.sobel(blurred, 0), ndimage.sobel(blurred, 1)
        slope = np.hypot(slope_x, slope_y)
        # Of the slopes that are more than grain, this share is edge enough to begin a line.
        steep = slope[slope > CONTRAST_FLOOR]
        if not len(steep):
            return []
        strong = float(np.quantile(steep, 1.0 - (0.08 + 0.5 * self.detail)))
        edges = canny(grey, sigma, WEAK_SHARE * strong, strong, mode="nearest")
        layer.report("tracing edges", 0.4)
        lines = [smooth(_on_crest(line, slope), SMOOTH_PX) for line in chains(edges, joint_px=2.0, spur_px=sigma)]
        return to_strokes(lines, field.pixel_mm, TOLERANCE * field.pen_mm, self.least * field.pen_mm)


def _on_crest(line: Chain, slope: Floats32) -> Chain:
    """Points moved across the line to the crest of the slope between pixels: the top of a parabola through three."""
    from scipy import ndimage

    if len(line) < 3:
        return line
    way = np.gradient(smooth(line, 2.0), axis=0)
    length = np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    across = np.column_stack((-way[:, 1], way[:, 0])) / length
    low, mid, high = (
        ndimage.map_coordinates(slope, (line + k * across).T[::-1], order=1, mode="nearest") for k in (-1.0, 0.0, 1.0)
    )
    bend = low - 2 * mid + high
    shift = np.where(bend < 0, 0.5 * (low - high) / np.minimum(bend, -1e-9), 0.0)
    moved = line + np.clip(shift, -0.75, 0.75)[:, None] * across
    if (line[0] == line[-1]).all():
        moved[-1] = moved[0]
    return np.asarray(moved)
