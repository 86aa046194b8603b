"""Strokes in another order and direction, and what the other tidy modules ask of a drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.drawing import Drawing, Indices
from linewright.errors import InputError


def refuse_damage(drawing: Drawing) -> None:
    """Raise `InputError` if a coordinate is NaN or infinite: no order and no distance holds for those."""
    finite = np.isfinite(drawing.points_mm).all(axis=1)
    if not finite.all():
        at = int(np.argmin(finite))
        stroke = int(np.searchsorted(drawing.starts, at, side="right")) - 1
        x, y = drawing.points_mm[at]
        raise InputError(
            f"stroke {stroke} has a point at ({x}, {y}) mm, which is no place", hint="the picture is damaged"
        )


def arrange(drawing: Drawing, strokes: Indices, backwards: NDArray[np.bool_]) -> Drawing:
    """The chosen strokes in the given order, some of them backwards.

    Parameters
    ----------
    strokes : (m,) int64, indices of strokes.
    backwards : (m,) bool, whether that stroke is drawn from its end.
    """
    lengths = np.diff(drawing.starts)[strokes]
    starts = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    within = np.arange(starts[-1]) - np.repeat(starts[:-1], lengths)
    turned = np.repeat(backwards, lengths)
    within = np.where(turned, np.repeat(lengths, lengths) - 1 - within, within)
    take = np.repeat(drawing.starts[:-1][strokes], lengths) + within
    return replace(drawing, points_mm=drawing.points_mm[take], starts=starts, pen=drawing.pen[strokes])


def keep_points(drawing: Drawing, keep: NDArray[np.bool_]) -> Drawing:
    """Only the marked points; every stroke must keep one at least."""
    counts = np.add.reduceat(keep, drawing.starts[:-1], dtype=np.int64) if len(drawing) else np.empty(0, np.int64)
    starts = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    return replace(drawing, points_mm=drawing.points_mm[keep], starts=starts)


def closed_strokes(drawing: Drawing) -> NDArray[np.bool_]:
    """(k,) bool: strokes of at least three points that end exactly where they begin."""
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    same = (drawing.points_mm[first] == drawing.points_mm[last]).all(axis=1)
    return np.asarray(same & (last - first >= 2))
