"""Tidy strokes: nothing drawn twice, ends that touch joined, no needless vertex, little travel."""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing import Drawing
from linewright.errors import InputError
from linewright.tidy.dedupe import dedupe
from linewright.tidy.join import join
from linewright.tidy.order import order, travel_mm
from linewright.tidy.simplify import simplify

__all__ = ["dedupe", "join", "order", "simplify", "tidy", "travel_mm"]

# Shares of the tolerance, so that the three together keep it: a copy that is dropped lies within the first of the one
# that stays; a gap that is closed adds ink at most half its own width from either end; a vertex that is dropped lies
# within the last of the line that stays.
_COPY_SHARE: Final = 1 / 8
_GAP_SHARE: Final = 1.0
_VERTEX_SHARE: Final = 3 / 8


def tidy(drawing: Drawing, *, tolerance_mm: float = 0.05, start_mm: tuple[float, float] = (0.0, 0.0)) -> Drawing:
    """All of it: dedupe, join, simplify and order, pen by pen.

    Parameters
    ----------
    drawing : strokes, mm.
    tolerance_mm : no ink moves further than this, and ends this close are joined. 0.05 mm is a tenth of a common pen
        line and not seen. 0 drops and joins only what coincides exactly.
    start_mm : where the pen starts.

    Returns
    -------
    Drawing
        Every point of it lies within the tolerance of the given ink and the other way round (Hausdorff distance), in
        the same pen. Pens draw in the order of ``drawing.pens``. The same input gives the same output.

    Raises
    ------
    InputError
        If a coordinate is not a finite number.
    """
    _refuse_damage(drawing)
    once = dedupe(drawing, tolerance_mm=tolerance_mm * _COPY_SHARE)
    joined = join(once, tolerance_mm=tolerance_mm * _GAP_SHARE)
    lean = simplify(joined, tolerance_mm=tolerance_mm * _VERTEX_SHARE)
    return order(lean, start_mm=start_mm)


def _refuse_damage(drawing: Drawing) -> None:
    """Raise `InputError` if a coordinate is NaN or infinite: no order and no distance holds for those."""
    finite = np.isfinite(drawing.points_mm).all(axis=1)
    if not finite.all():
        at = int(np.argmin(finite))
        x, y = drawing.points_mm[at]
        raise InputError(
            f"stroke {drawing.stroke_at(at)} has a point at ({x}, {y}) mm, which is no place",
            hint="the picture is damaged",
        )
