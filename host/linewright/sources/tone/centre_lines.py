"""Centre lines of line art: each pen line is drawn as one line, not as two edges.

Ink is detected relative to its own darkness and to the paper's grain, so that pencil, ballpoint and ink all work.

T. Y. Zhang and C. Y. Suen, "A fast parallel algorithm for thinning digital patterns", 1984 (by scikit-image); junctions
are then resolved by `trace`, and each line is moved to the centre of its ink.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.paper import grain
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Picture, Wish
from linewright.sources.preparation import BACKGROUNDS
from linewright.sources.tone.field import Field
from linewright.sources.tone.flow import along, averaged
from linewright.sources.tone.method import TOLERANCE, Layer, ToneMethod, needs_extra
from linewright.sources.tone.trace import chains, smooth, to_strokes

SMOOTH_PX: Final = 1.5
"""Standard deviation of the smoothing along a line: removes pixel steps, keeps corners."""

BRIDGE: Final = 4.0
"""In half widths: largest distance of two junctions that are merged. Two lines that cross at 40 degrees leave junctions
this far apart (measured)."""

SPECK_PX: Final = 6
"""Fewer connected pixels are dust."""


THICK: Final = 2.2
THICK_PENS: Final = 0.8
"""Half width above which ink is solid: in usual half widths of the lines, and in pens. A crossing at 40 degrees is 1.5
times as thick as its lines."""

DOT: Final = 2.0
"""A piece whose thinned line is shorter than this many times its thickness is a dot."""

ALONG_PENS: Final = 0.8
"""Averaging along lines, which closes the grain of a pencil."""

WEAK: Final = 0.3
STRONG: Final = 0.5
"""Threshold as a share of the darkness of ink."""

INK_QUANTILE: Final = 0.9
"""Quantile of everything darker than the grain that is taken as the darkness of ink. Edges of lines are paler."""

GRAIN_WEAK: Final = 3.0
GRAIN_STRONG: Final = 6.0
"""Threshold in standard deviations of the paper's grain."""

SHADOW: Final = 0.65
"""Coverage up to which a solid spot at the border counts as a shadow."""

FAINTEST: Final = 0.06
"""Coverage of the palest visible pencil."""


@dataclass(frozen=True)
class CentreLines(ToneMethod):
    """Centre lines of a drawing."""

    contrast: str = settings.choice(
        "none: unchanged; stretch: full range from black to white; adaptive: evens out local contrast",
        "none",
        "none",
        "stretch",
        "adaptive",
    )
    background: str = settings.choice(BACKGROUNDS, "even", "even", "keep", "clear")
    level: float = settings.number("lowest darkness of ink; 0: automatic", 0.0, 0.0, 1.0)
    least: float = settings.number("shorter lines are left out, in pen widths", 2.0, 0.0, 200.0, "pens")

    def read(self, source: str, wish: Wish) -> Picture:
        """The lines of a photograph of a drawing, or of a drawing file, whose filled shapes become lines as well."""
        from pathlib import Path

        from linewright.sources.photograph import looks_like_one

        if looks_like_one(Path(source)):
            return super().read(source, wish)
        from linewright.sources.tone.hull_lines import centred

        needs_extra()
        return centred(source, wish, self.least)

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One stroke per line from end to end, through crossings; solid spots are filled."""
        from scipy import ndimage
        from skimage.morphology import remove_small_objects, skeletonize

        from linewright.sources.tone.hull_lines import solid, spots_of

        layer.report("finding ink", 0.0)
        field = layer.field
        ink = remove_small_objects(inked_pixels(field, self.level), max_size=SPECK_PX)
        if not ink.any():
            return []
        layer.report("thinning", 0.3)
        depth = ndimage.distance_transform_edt(ink)
        thin = skeletonize(ink, method="zhang")
        # The usual half width of the lines: the median over the skeleton.
        half = float(np.median(depth[thin]))
        pixel = float(np.mean(field.pixel_mm))
        spots = _spots(ink, depth, thin, half, field.pen_mm / pixel)
        layer.report("tracing", 0.5)
        lines = [
            smooth(line, max(SMOOTH_PX, half / 2))
            for line in chains(thin & ~spots, joint_px=BRIDGE * half + 1, spur_px=1.5 * half + 1)
        ]
        strokes = to_strokes(lines, field.pixel_mm, TOLERANCE * field.pen_mm, self.least * field.pen_mm)
        spots = _without_shadows(spots, field.coverage)
        for spot in spots_of(spots):
            strokes += solid(spot, field.pen_mm, pixel, fill=True)
        return [np.clip(stroke, 0.0, [field.width_mm, field.height_mm]) for stroke in strokes]


def _spots(
    ink: NDArray[np.bool_], depth: NDArray[np.float64], thin: NDArray[np.bool_], half: float, pen_px: float
) -> NDArray[np.bool_]:
    """(h, w) ink that is no line: areas far thicker than lines, and dots, which thinning would remove."""
    from scipy import ndimage

    core = depth > max(THICK * half, THICK_PENS * pen_px)
    reach = ndimage.distance_transform_edt(~core) if core.any() else np.full(ink.shape, np.inf)
    spots = ink & (reach <= max(THICK * half, THICK_PENS * pen_px))
    pieces, count = ndimage.label(ink, structure=np.ones((3, 3)))
    if count:
        at = np.arange(count + 1)
        long = ndimage.sum_labels(thin, pieces, at)
        thick = 2.0 * np.asarray(ndimage.maximum(depth, pieces, at))
        spots |= np.isin(pieces, np.flatnonzero(long < DOT * thick)) & ink
    return np.asarray(spots)


def _without_shadows(spots: NDArray[np.bool_], cover: Floats32) -> NDArray[np.bool_]:
    """The spots without those at the border that are paler than ink: corners of shadows, too small for illumination
    correction.
    """
    from scipy import ndimage

    pieces, _ = ndimage.label(spots, structure=np.ones((3, 3)))
    rim = np.unique(np.concatenate((pieces[0], pieces[-1], pieces[:, 0], pieces[:, -1])))
    rim = rim[rim > 0]
    pale = rim[np.asarray(ndimage.mean(cover, pieces, rim)) < SHADOW] if len(rim) else rim
    return np.asarray(spots & ~np.isin(pieces, pale))


def inked_pixels(field: Field, level: float = 0.0) -> NDArray[np.bool_]:
    """Mask of ink: as dark as the lines and darker than the grain, or above a given level.

    Coverage is first averaged along the lines, which closes the grain of a pencil and keeps line widths. Then two
    thresholds with hysteresis (Canny 1986) are applied, in shares of the ink's darkness and in standard deviations of
    the paper's grain, whichever is higher.
    """
    from skimage.filters import apply_hysteresis_threshold, threshold_otsu

    cover = field.coverage
    if np.ptp(cover) < 1 / 255:
        return np.zeros(cover.shape, dtype=bool)
    if level:
        return np.asarray(cover > level)
    pen_px = field.pen_mm / float(np.mean(field.pixel_mm))
    cosine, sine = along(cover, max(1.0, pen_px), 45.0)
    seen = averaged(cover, cosine, sine, ALONG_PENS * pen_px)
    noise = grain(seen)
    floor = max(GRAIN_WEAK * noise, FAINTEST)
    some = seen[seen > floor]
    if not len(some):
        return np.zeros(cover.shape, dtype=bool)
    dark = float(np.quantile(some, INK_QUANTILE))
    halfway = float(threshold_otsu(seen))
    weak = max(floor, min(WEAK * dark, halfway))
    strong = max(GRAIN_STRONG * noise, weak, min(STRONG * dark, halfway))
    return np.asarray(apply_hysteresis_threshold(seen, weak, strong))
