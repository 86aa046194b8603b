"""Edges of paint that fades out: gradients that become transparent, and soft masks.

A gradient that becomes white does not count as fading; its edge is drawn.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from linewright.sources.painting.flatten import Floats, Polylines, rearranged, together
from linewright.sources.painting.inks import lightness_at
from linewright.sources.painting.marks import Mark, Paint
from linewright.sources.painting.runs import Runs, Segmented
from linewright.sources.painting.sight import NEAR_MM, Sight

FAINT: Final = 0.05
"""Opacity below which the edge of paint is invisible: 13 of 255 levels of black on white."""


def faded(lines: Polylines, paint_of: Callable[[Mark], Paint | None], sight: Sight, *, sides: bool) -> Polylines:
    """The parts of lines where their paint is visible, cut to a pen's width.

    Parameters
    ----------
    lines : ``owner`` is the mark.
    paint_of : paint of a mark that the lines belong to.
    sides : True if they bound areas, tested on both sides; False if the paint is along the lines.
    """
    marks = np.unique(lines.owner) if len(lines) else np.empty(0, np.int64)
    soft = [int(number) for number in marks if _is_soft(sight, int(number), paint_of)]
    chosen = np.isin(lines.owner, soft)
    if not chosen.any():
        return lines
    some, others = lines.select(chosen), lines.select(~chosen)
    parts = Segmented(some)
    runs = Runs(parts, *sight.finely(parts, np.arange(len(parts.at))))
    across = np.column_stack((-runs.along[:, 1], runs.along[:, 0])) * (2.0 * NEAR_MM)
    seen = np.zeros(len(runs))
    owner = some.owner[runs.stroke]
    for mark in soft:
        at = np.flatnonzero(owner == mark)
        for sign in (1.0, -1.0) if sides else (0.0,):
            points = runs.middle[at] + sign * across[at]
            seen[at] = np.maximum(seen[at], _seen(sight, mark, paint_of, points))
    kept, _, _ = runs.kept(seen >= FAINT)
    both = together((others, kept))
    return rearranged(both, np.argsort(both.owner, kind="stable"))


def _is_soft(sight: Sight, number: int, paint_of: Callable[[Mark], Paint | None]) -> bool:
    """Whether a mark's visibility varies within it."""
    mark = sight.marks[number]
    paint = paint_of(mark)
    # A repeated gradient becomes opaque again.
    clear = (
        paint is not None
        and paint.gradient is not None
        and paint.gradient.spread == "pad"
        and paint.alpha * paint.gradient.least_alpha < FAINT
    )
    return clear or sight.has_mask(mark.clip)


def _seen(sight: Sight, number: int, paint_of: Callable[[Mark], Paint | None], points: Floats) -> Floats:
    mark = sight.marks[number]
    paint = paint_of(mark)
    assert paint is not None
    _, share = lightness_at(paint, points / sight.shapes.placed.zoom)
    return share * sight.let_through(mark.clip, points)
