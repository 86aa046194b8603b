"""Removes edges of fillings along which a line is drawn later, so that one stroke shows both."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Ints, Polylines, together
from linewright.sources.painting.regions import Bools, boxes_of, pairs_of_boxes
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight

_NEAR_PENS: Final = 0.1
"""Distance, in pens, between an edge and the centre of a line below which its ink covers the edge, allowing for
different flattening."""

_TURNED: Final = 0.25
"""Sine of the angle above which two segments cross instead of running along each other."""


def without_overdrawn(edges: Polylines, marks: Ints, lines: Polylines, line_marks: Ints, sight: Sight) -> Polylines:
    """Edges without the parts that opaque lines of later marks cover.

    Parameters
    ----------
    edges : edges of fillings.
    marks : (k,) int64: the mark of each edge.
    lines : centre lines of the drawn lines.
    line_marks : (l,) int64: the mark of each line.
    """
    if not len(edges) or not len(lines):
        return edges
    near_mm = _NEAR_PENS * sight.pen_mm
    opaque = np.array([mark.line is not None and mark.line.paint.opaque for mark in sight.marks], dtype=bool)
    first, second = pairs_of_boxes(edges.boxes_mm(near_mm), lines.boxes_mm())
    later = (line_marks[second] > marks[first]) & opaque[line_marks[second]]
    chosen, above = np.zeros(len(edges), dtype=bool), np.zeros(len(lines), dtype=bool)
    chosen[first[later]], above[second[later]] = True, True
    parts, over = Segmented(edges.select(chosen)), Segmented(lines.select(above))
    boxes = boxes_of(over.begin, over.end)
    if not chosen.any() or not sight.can_compare(parts, boxes):
        return edges
    mark_of_part, mark_of_over = marks[chosen], line_marks[above][over.stroke]
    first, second = pairs_of_boxes(boxes_of(parts.begin, parts.end, near_mm), boxes)
    along = mark_of_over[second] > mark_of_part[parts.stroke[first]]
    along &= _alike(parts.end[first] - parts.begin[first], over.end[second] - over.begin[second])
    first, second = first[along], second[along]
    near = shapely.distance(parts.as_lines(first), over.as_lines(second)) <= near_mm
    first, second = first[near], second[near]
    # If both are the same line, cuts are exact; if they were flattened differently, half a pen is accurate enough.
    hit, share, _, _ = crossings(parts.begin[first], parts.end[first], over.begin[second], over.end[second], NEAR_MM)
    between, places = sight.finely(parts, np.unique(first))
    runs = Runs(parts, np.concatenate((first[hit], between)), np.concatenate((share, places)))
    covering = np.unique(second)
    tree = shapely.STRtree(over.as_lines(covering))
    run, which = tree.query(shapely.points(runs.middle), predicate="dwithin", distance=near_mm)
    which = covering[which]
    below = mark_of_over[which] > mark_of_part[runs.stroke[run]]
    below &= _alike(runs.along[run], over.end[which] - over.begin[which])
    seen = np.ones(len(runs), dtype=bool)
    seen[run[below]] = False
    kept, _, _ = runs.kept(runs.smoothed(seen, sight.pen_mm / 3, sight.pen_mm / 3))
    return together((edges.select(~chosen), kept))


def _alike(these: Floats, those: Floats) -> Bools:
    """(n,) whether pairs of (n, 2) vectors are parallel; vectors of length 0 are not."""
    cross = these[:, 0] * those[:, 1] - these[:, 1] * those[:, 0]
    return np.asarray(np.abs(cross) < _TURNED * np.hypot(*these.T) * np.hypot(*those.T))
