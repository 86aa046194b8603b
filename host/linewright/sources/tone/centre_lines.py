"""Centre lines of line art: what a pen drew once is drawn again as one line, not as two edges.

T. Y. Zhang and C. Y. Suen, "A fast parallel algorithm for thinning digital patterns", 1984 (by scikit-image); junctions
are then resolved by `trace`, and each line moved to the middle of the ink on both sides of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.picture import Picture, Wish
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod, needs_extra
from linewright.sources.tone.trace import chains, smooth, to_strokes

SMOOTH_PX: Final = 1.5
"""Along a line: takes the stairs of pixels out and leaves corners."""

TOLERANCE: Final = 0.06
"""In pens: how far vertices may be left out."""

BRIDGE: Final = 4.0
"""In half widths: two lines that cross at 40 degrees leave two junctions so far apart (measured); junctions further
apart are two."""

SPECK_PX: Final = 6
"""Fewer connected pixels are dust."""


@dataclass(frozen=True)
class CentreLines(ToneMethod):
    """Lines where the lines of a drawing are."""

    level: float = settings.number("how dark ink is at least; 0: found by itself", 0.0, 0.0, 1.0)
    least: float = settings.number("shorter lines are left out, in pen widths", 2.0, 0.0, 200.0, "pens")

    def read(self, source: str, wish: Wish) -> Picture:
        """The lines of a photograph of a drawing, or of a drawing file, whose filled shapes become lines, too."""
        from pathlib import Path

        from linewright.sources.photograph import looks_like_one

        if looks_like_one(Path(source)) or not Path(source).is_file():
            return super().read(source, wish)
        from linewright.sources.tone.hull_lines import centred

        needs_extra()
        return centred(source, wish, self.least)

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One stroke for each line between ends, through crossings."""
        from scipy import ndimage
        from skimage.morphology import remove_small_objects, skeletonize

        layer.report("thinning", 0.0)
        field = layer.field
        ink = inked_pixels(field, self.level)
        ink = remove_small_objects(ink, max_size=SPECK_PX)
        if not ink.any():
            return []
        thin = skeletonize(ink, method="zhang")
        # The usual half width of the lines: twice the median distance to the edge, of all pixels of the skeleton.
        half = float(np.median(ndimage.distance_transform_edt(ink)[thin]))
        layer.report("tracing", 0.5)
        lines = [
            smooth(line, max(SMOOTH_PX, half / 2))
            for line in chains(thin, joint_px=BRIDGE * half + 1, spur_px=1.5 * half + 1)
        ]
        return to_strokes(lines, field.pixel_mm, TOLERANCE * field.pen_mm, self.least * field.pen_mm)


def inked_pixels(field: Field, level: float = 0.0) -> NDArray[np.bool_]:
    """Where the picture is ink: darker than a level, or than Otsu's (1979), which parts two tones best."""
    from skimage.filters import threshold_otsu

    if np.ptp(field.coverage) < 1 / 255:
        return np.zeros(field.coverage.shape, dtype=bool)
    return np.asarray(field.coverage > (level or threshold_otsu(field.coverage)))
