"""What is below an edge: the dark filling or wide line on which a paper-coloured shape is painted."""

from __future__ import annotations

import numpy as np
import shapely

from linewright.sources.painting.flatten import Ints, Polylines, polylines_of
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight


def over(lines: Polylines, dark: list[int], sight: Sight) -> tuple[Polylines, Ints]:
    """The parts of lines that lie on something dark painted before them.

    Parameters
    ----------
    lines : edges of paper-coloured shapes; ``owner`` is their mark.
    dark : visible dark regions.

    Returns
    -------
    The parts, and (k,) int64 the topmost region below each.
    """
    regions, shapes = sight.regions, sight.shapes
    dark_regions = np.array(dark, dtype=np.int64)
    # Opaque paint in between hides the dark, even if it is as light as paper.
    every = np.union1d(dark_regions, shapes.covers)
    # A mark's line is painted after its filling, and regions of lines come after all of fillings.
    rank = shapes.mark_of * (2 * len(regions) + 1) + np.arange(len(regions))
    # The first mark for which the edge of a region counts, as its own or as its clip's.
    first_mark = np.full(len(regions), len(sight.marks), dtype=np.int64)
    first_mark[every] = shapes.mark_of[every]
    for mark in np.unique(shapes.mark_of[every]).tolist():
        for region in sight.regions_of(sight.marks[mark].clip):
            first_mark[region] = min(first_mark[region], mark)
    parts = Segmented(lines)
    order = lines.owner
    edges = np.flatnonzero(first_mark[regions.shape] < len(sight.marks))
    if not sight.can_compare(parts, sight.boxes_of_edges(edges)):
        return polylines_of([], []), np.empty(0, dtype=np.int64)
    pair, edge = sight.pairs(parts, edges)
    keep = first_mark[regions.shape[edge]] < order[parts.stroke[pair]]
    pair, edge = pair[keep], edge[keep]
    hit, share, _, _ = crossings(parts.begin[pair], parts.end[pair], regions.begin[edge], regions.end[edge], NEAR_MM)
    runs = Runs(parts, pair[hit], share)
    tree = shapely.STRtree(shapely.box(*regions.boxes_mm[every].T))
    point, which = tree.query(shapely.points(runs.middle))
    keep = shapes.mark_of[every[which]] < order[runs.stroke[point]]
    point, which = point[keep], which[keep]
    inside = regions.inside(every[which], runs.middle[point])
    point, below = point[inside], every[which[inside]]
    clip = np.array([sight.marks[m].clip for m in shapes.mark_of[below]], dtype=np.int64)
    through = np.ones(len(point), dtype=bool)
    for number in np.unique(clip[clip >= 0]) if len(clip) else ():
        at = clip == number
        through[at] = sight.inside_clip(int(number), runs.middle[point[at]])
    point, below = point[through], below[through]
    top = np.full(len(runs), -1, dtype=np.int64)
    # With several assignments the last in paint order wins.
    painted = np.argsort(rank[below], kind="stable")
    top[point[painted]] = below[painted]
    # A part on two of them is cut where one ends.
    kept, first, _ = runs.kept(np.isin(top, dark_regions), top)
    return kept, top[first]
