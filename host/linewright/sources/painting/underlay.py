"""What lies below an edge: the dark filling that a paper-coloured shape is painted on."""

from __future__ import annotations

import numpy as np
import shapely

from linewright.sources.painting.flatten import Ints, Polylines
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight


def over(lines: Polylines, dark: list[int], sight: Sight) -> tuple[Polylines, Ints]:
    """The parts of lines that lie on a dark filling painted before them.

    Parameters
    ----------
    lines : edges of paper-coloured shapes; ``owner`` is their mark.
    dark : marks whose filling is seen, in paint order.

    Returns
    -------
    The parts, and (k,) int64 the mark below each: the last one painted there before it.
    """
    regions = sight.regions
    marks = np.array(dark, dtype=np.int64)
    region_of = np.array([sight.shapes.fill_of(mark) for mark in dark], dtype=np.int64)
    mark_of_region = np.full(len(regions), -1, dtype=np.int64)
    mark_of_region[region_of] = marks
    # What is painted between hides the filling: an opaque one that is as light as paper, too.
    others = np.array([r for r in sight.shapes.covers.tolist() if mark_of_region[r] < 0], dtype=np.int64)
    mark_of_region[others] = sight.shapes.mark_of[others]
    every = np.concatenate((region_of, others))
    parts = Segmented(lines)
    order = lines.owner
    edges = np.flatnonzero(mark_of_region[regions.shape] >= 0)
    pair, edge = sight.pairs(parts, edges)
    keep = mark_of_region[regions.shape[edge]] < order[parts.stroke[pair]]
    pair, edge = pair[keep], edge[keep]
    hit, share, _, _ = crossings(parts.begin[pair], parts.end[pair], regions.begin[edge], regions.end[edge], NEAR_MM)
    runs = Runs(parts, pair[hit], share)
    tree = shapely.STRtree(shapely.box(*regions.boxes_mm[every].T))
    point, which = tree.query(shapely.points(runs.middle))
    keep = mark_of_region[every[which]] < order[runs.stroke[point]]
    point, which = point[keep], which[keep]
    inside = regions.inside(every[which], runs.middle[point])
    point, which = point[inside], which[inside]
    clip = np.array([sight.marks[m].clip for m in mark_of_region[every[which]]], dtype=np.int64)
    through = np.ones(len(point), dtype=bool)
    for number in np.unique(clip[clip >= 0]) if len(clip) else ():
        at = clip == number
        through[at] = sight.inside_clip(int(number), runs.middle[point[at]])
    top = np.full(len(runs), -1, dtype=np.int64)
    np.maximum.at(top, point[through], mark_of_region[every[which[through]]])
    # A part that lies on two fillings is cut where one ends.
    kept, first, _ = runs.kept(np.isin(top, marks), top)
    return kept, top[first]
