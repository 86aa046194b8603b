"""Where paint fades until nobody sees it: under gradients that become clear or light, and behind soft masks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from linewright.sources.painting.flatten import Floats, Polylines, rearranged, together
from linewright.sources.painting.inks import PALEST, contrast_at, fades
from linewright.sources.painting.marks import Mark, Paint
from linewright.sources.painting.runs import Runs, Segmented
from linewright.sources.painting.sight import NEAR_MM, Sight


def faded(
    lines: Polylines, paint_of: Callable[[Mark], Paint | None], sight: Sight, *, sides: bool
) -> tuple[Polylines, Polylines]:
    """Lines where their paint is seen, and those where it is not, cut to a pen's width.

    Parameters
    ----------
    lines : ``owner`` is the mark.
    paint_of : the paint of a mark that the lines stand for.
    sides : whether they bound areas, of which either side counts; else the paint lies along them.
    """
    marks = np.unique(lines.owner) if len(lines) else np.empty(0, np.int64)
    soft = [int(number) for number in marks if _is_soft(sight, int(number), paint_of)]
    chosen = np.isin(lines.owner, soft)
    if not chosen.any():
        return lines, lines.select(chosen)
    some, others = lines.select(chosen), lines.select(~chosen)
    parts = Segmented(some)
    runs = Runs(parts, *sight.finely(parts, np.ones(len(some), dtype=bool)))
    across = np.column_stack((-runs.along[:, 1], runs.along[:, 0])) * (2.0 * NEAR_MM)
    seen = np.zeros(len(runs))
    owner = some.owner[runs.stroke]
    for mark in soft:
        at = np.flatnonzero(owner == mark)
        for sign in (1.0, -1.0) if sides else (0.0,):
            points = runs.middle[at] + sign * across[at]
            seen[at] = np.maximum(seen[at], _seen(sight, mark, paint_of, points))
    kept, _, _ = runs.kept(seen >= PALEST)
    lost, _, _ = runs.kept(seen < PALEST)
    return _joined(others, kept), lost


def _joined(first: Polylines, second: Polylines) -> Polylines:
    both = together((first, second))
    return rearranged(both, np.argsort(both.owner, kind="stable"))


def _is_soft(sight: Sight, number: int, paint_of: Callable[[Mark], Paint | None]) -> bool:
    """Whether a mark may be seen in one place and not in another."""
    mark = sight.marks[number]
    paint = paint_of(mark)
    return (paint is not None and fades(paint)) or sight.has_mask(mark.clip)


def _seen(sight: Sight, number: int, paint_of: Callable[[Mark], Paint | None], points: Floats) -> Floats:
    mark = sight.marks[number]
    paint = paint_of(mark)
    assert paint is not None
    return contrast_at(paint, points / sight.shapes.placed.zoom) * sight.let_through(mark.clip, points)
