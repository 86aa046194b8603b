"""The tone meter: error of a drawing's coverage, as seen from a distance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright.sources.tone.coverage import inked

if TYPE_CHECKING:
    from collections.abc import Sequence

    from linewright.drawing.strokes import Points
    from linewright.sources.photograph import Floats32
    from linewright.sources.tone.field import Field

ACUITY_RAD: Final = np.pi / 180 / 60
"""One minute of arc: resolution of normal eyesight (6/6). Used as the standard deviation of the blur."""

DISTANCE_M: Final = 4.0
"""Viewing distance, across a room. The blur there is 1.2 mm, about half the spacing of 0.5 mm lines at a coverage of a
fifth."""

PIXELS_PER_PEN: Final = 3.0


@dataclass(frozen=True)
class MeterReading:
    """Result of the meter.

    Parameters
    ----------
    error : mean absolute difference of coverage, 0..1, both blurred equally.
    bias : mean difference; positive for too much ink.
    likeness : structural similarity (Wang et al. 2004), 1 for equal, by scikit-image.
    ink : mean coverage of the drawing.
    """

    error: float
    bias: float
    likeness: float
    ink: float


def read(strokes: Sequence[Points], wanted: Field, *, distance_m: float = DISTANCE_M) -> MeterReading:
    """Compare strokes, rasterised at the pen's true width, with the wanted coverage."""
    from skimage.metrics import structural_similarity

    pixel = wanted.pen_mm / PIXELS_PER_PEN
    ink = inked(strokes, (wanted.width_mm, wanted.height_mm), pen_mm=wanted.pen_mm, pixel_mm=pixel)
    target = wanted.sampled(pixel).coverage
    sigma = distance_m * 1000 * ACUITY_RAD / pixel
    seen, asked = blurred(ink, sigma), blurred(target, sigma)
    difference = seen - asked
    window = min(7, min(seen.shape) - (min(seen.shape) + 1) % 2)
    likeness = float(structural_similarity(seen, asked, data_range=1.0, win_size=window)) if window >= 3 else np.nan
    return MeterReading(float(np.abs(difference).mean()), float(difference.mean()), likeness, float(ink.mean()))


def blurred(values: Floats32, sigma_px: float) -> Floats32:
    """A Gaussian blur; the border is replicated."""
    from scipy import ndimage

    return np.asarray(ndimage.gaussian_filter(values, sigma_px, mode="reflect", truncate=3.0), dtype=np.float32)
