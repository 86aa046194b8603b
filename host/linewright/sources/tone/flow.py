"""Directions along visible structures, fine at sharp edges and broad at soft ones; and dark lines along them.

Directions: the smoothed structure tensor (Bigun and Granlund 1987), weighted over several scales by its coherence.
Lines: H. Kang, S. Lee and C. Chui, "Coherent line drawing", NPAR 2007, in the extended form of H. Winnemoeller, J. E.
Kyprianidis and S. C. Olsen, "XDoG: an extended difference-of-Gaussians compendium", Computers & Graphics 36, 2012: a
difference of Gaussians across the direction, averaged along it. A dark feature gives one line, while an edge detector
gives two.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32

Scales = tuple[tuple[float, float, float], ...]

FINE: Final[Scales] = ((0.4, 0.8, 5e-6), (0.6, 2.0, 5e-6), (1.5, 8.0, 5e-6))
"""Smoothing of the picture and of the tensor, in pens; and the squared gradient, of coverage per pixel, at which a
scale has half weight. The finest follows eyelids and strands of hair, the broadest cheeks."""

WHOLE_FACE_PENS: Final = 128.0
"""Width of a face, in pens, above which `calm` uses its broadest scale; smaller faces have smaller forms."""

BLEND_PENS: Final = 0.6
"""Final smoothing of directions, so that they change smoothly where scales meet."""

WIDER: Final = 1.6
"""Ratio of the two Gaussians: their difference is then close to the Laplacian (Marr and Hildreth 1980). Both have equal
weight (tau of Winnemoeller et al. is 1), so that constant tones give no line, however dark."""

ALONG: Final = 3.0
"""Averaging along a line, in widths of the narrower Gaussian, as in Kang et al."""


BEST_ANSWER: Final = 0.3
"""Response to a black line of the best width, as a share of full scale."""


def calm(face_pens: float) -> Scales:
    """Scales of sharp edges and broad forms only, for shading skin: the scales in between, of pores, grain and folds,
    turn strokes into wrinkles.

    Parameters
    ----------
    face_pens : width of the largest face; 0 if there is none.
    """
    share = min(1.0, face_pens / WHOLE_FACE_PENS) if face_pens > 0 else 1.0
    return (0.4, 0.8, 3e-4), (max(0.6, 3.0 * share), max(2.0, 16.0 * share), 5e-6)


def along(coverage: Floats32, pen_px: float, angle_deg: float, scales: Scales = FINE) -> tuple[Points, Points]:
    """Cosine and sine of the double angle of the direction, (h, w) each.

    Parameters
    ----------
    pen_px : width of the pen in pixels.
    angle_deg : direction where there is no structure; 45 rises to the right.
    """
    from scipy import ndimage

    values = coverage.astype(np.float32)
    cosine, sine = np.zeros_like(values), np.zeros_like(values)
    left = np.ones_like(values)
    for fine, broad, noise in scales:
        soft = blurred(values, fine * pen_px)
        slope_y, slope_x = (ndimage.sobel(soft, axis, mode="nearest") / 8 for axis in (0, 1))
        yy, xy, xx = (
            blurred(product, broad * pen_px, truncate=3.0)
            for product in (slope_y * slope_y, slope_x * slope_y, slope_x * slope_x)
        )
        # The gradient's double angle has (xx - yy, 2 xy); the edge is a quarter turn from it, which changes both signs.
        c, s = yy - xx, -2 * xy
        strength = np.hypot(c, s)
        coherence = strength / (xx + yy + np.float32(1e-12))
        weight = left * coherence * strength / (strength + np.float32(noise))
        cosine += weight * c / np.maximum(strength, 1e-12)
        sine += weight * s / np.maximum(strength, 1e-12)
        left -= weight
    plain = np.deg2rad(-2.0 * angle_deg)  # y points down
    even_cosine, even_sine = (
        blurred(part + left * rest, BLEND_PENS * pen_px).astype(np.float64)
        for part, rest in ((cosine, np.float32(np.cos(plain))), (sine, np.float32(np.sin(plain))))
    )
    length = np.hypot(even_cosine, even_sine)
    broken = length < 1e-6
    length[broken], even_cosine[broken], even_sine[broken] = 1.0, np.cos(plain), np.sin(plain)
    return even_cosine / length, even_sine / length


def dark_lines(coverage: Floats32, cosine: Points, sine: Points, width_px: float) -> Floats32:
    """(h, w) darkness of each place relative to both of its sides: about 1 for a black line on white, 0 for none.

    Parameters
    ----------
    cosine, sine : double angle of the direction, as `along` gives it.
    width_px : standard deviation of the narrower Gaussian.
    """
    (offsets, weights), _ = _weights(width_px)
    angle = 0.5 * np.arctan2(sine, cosine) + np.pi / 2
    across = _weighed(coverage, angle, offsets, weights)
    smooth = averaged(across, cosine, sine, ALONG * width_px)
    return np.asarray(np.clip(smooth / np.float32(BEST_ANSWER), 0.0, 1.0))


def averaged(values: Floats32, cosine: Points, sine: Points, sigma_px: float) -> Floats32:
    """(h, w) values averaged along the direction by a Gaussian, along straight lines."""
    return _weighed(values, 0.5 * np.arctan2(sine, cosine), *_along(sigma_px))


def _weighed(values: Floats32, angle: Points, steps: Points, weights: Points) -> Floats32:
    """Weighted sum of values at these pixel offsets in the direction of each place."""
    import cv2

    values = np.ascontiguousarray(values, dtype=np.float32)
    rows, columns = np.indices(values.shape, dtype=np.float32)
    dx, dy = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    total = np.zeros_like(values)
    for step, weight in zip(steps.astype(np.float32), weights.astype(np.float32), strict=True):
        # OpenCV takes places to a thirty-second of a pixel, in a fifth of the time of scipy.
        across, down, rim = columns + step * dx, rows + step * dy, cv2.BORDER_REPLICATE
        total += weight * np.asarray(cv2.remap(values, across, down, cv2.INTER_LINEAR, borderMode=rim))
    return np.asarray(total)


def noise_of_lines(coverage: Floats32, width_px: float) -> float:
    """Standard deviation of the picture's grain in the result of `dark_lines`.

    The grain is assumed to be independent between pixels. It is measured by a mask that gives 0 on even slopes and
    straight edges (J. Immerkaer, "Fast noise variance estimation", Computer Vision and Image Understanding 64, 1996),
    with the median instead of the mean, so that lines do not count.
    """
    from scipy import ndimage

    if min(coverage.shape) < 3:
        return 0.0
    second = np.array([1.0, -2.0, 1.0], dtype=np.float32)
    rough = ndimage.convolve1d(ndimage.convolve1d(coverage, second, axis=0), second, axis=1)[1:-1, 1:-1]
    grain = float(np.median(np.abs(rough))) / (0.6745 * 6.0)  # of a normal distribution; the mask's root of squares
    (_, weights), (_, shares) = _weights(width_px)
    return grain * float(np.hypot.reduce(weights) * np.hypot.reduce(shares)) / BEST_ANSWER


def _weights(width_px: float) -> tuple[tuple[Points, Points], tuple[Points, Points]]:
    """Offsets and weights across a line, and along it."""
    reach = int(np.ceil(2.5 * WIDER * width_px))
    offsets = np.arange(-reach, reach + 1, dtype=np.float64)
    narrow = np.exp(-(offsets**2) / (2 * width_px**2))
    wide = np.exp(-(offsets**2) / (2 * (WIDER * width_px) ** 2))
    return (offsets, narrow / narrow.sum() - wide / wide.sum()), _along(ALONG * width_px)


def _along(sigma_px: float) -> tuple[Points, Points]:
    """Steps of two pixels and the weights of a Gaussian, which is accurate from a sigma of two pixels on."""
    furthest = max(2, int(2 * sigma_px))
    steps = np.arange(-furthest, furthest + 1, 2 if sigma_px >= 2 else 1, dtype=np.float64)
    shares = np.exp(-(steps**2) / (2 * sigma_px**2))
    return steps, shares / shares.sum()
