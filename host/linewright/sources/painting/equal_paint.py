"""Removes edges between equal paint: overlapping shapes of one colour, lines on a filling of the same colour."""

from __future__ import annotations

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Ints, Polylines, rearranged, together
from linewright.sources.painting.gradients import Gradient
from linewright.sources.painting.marks import Mark, Paint
from linewright.sources.painting.matrices import mean_scale
from linewright.sources.painting.regions import Bools, pairs_of_boxes
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight

Look = tuple[str | Gradient, float]
"""Colour and opacity."""


def told_apart(lines: Polylines, sight: Sight, *, of_fill: bool) -> Polylines:
    """The parts of lines with another paint on at least one side.

    Parameters
    ----------
    lines : edges of fillings, or centre lines of lines; ``owner`` is the mark.
    of_fill : True for edges of fillings.
    """
    if not len(lines):
        return lines
    paints = {int(number): _own(sight, int(number), of_fill) for number in np.unique(lines.owner)}
    chosen = np.isin(lines.owner, _with_equals(lines, paints, sight, of_fill))
    if not chosen.any():
        return lines
    some, others = lines.select(chosen), lines.select(~chosen)
    parts = Segmented(some)
    regions, shapes = sight.regions, sight.shapes
    # Transparent paint also changes the appearance of what is below it.
    painted = np.array([not sight.marks[mark].silent for mark in shapes.mark_of], dtype=bool)
    every = np.flatnonzero(painted & np.isfinite(regions.boxes_mm[:, 0]))
    first_mark = np.full(len(regions), len(sight.marks), dtype=np.int64)
    first_mark[every] = shapes.mark_of[every]
    for mark in np.unique(shapes.mark_of[every]).tolist():
        for region in sight.regions_of(sight.marks[mark].clip):
            first_mark[region] = min(first_mark[region], mark)
    edges = np.flatnonzero(first_mark[regions.shape] < len(sight.marks))
    if not sight.can_compare(parts, sight.boxes_of_edges(edges)):
        return lines
    pair, edge = sight.pairs(parts, edges)
    keep = first_mark[regions.shape[edge]] <= some.owner[parts.stroke[pair]]
    pair, edge = pair[keep], edge[keep]
    hit, share, _, _ = crossings(parts.begin[pair], parts.end[pair], regions.begin[edge], regions.end[edge], NEAR_MM)
    runs = Runs(parts, pair[hit], share)
    owner = some.owner[runs.stroke]
    half = np.array([0.0 if of_fill else _half_mm(sight, int(mark)) for mark in owner])
    aside = np.column_stack((-runs.along[:, 1], runs.along[:, 0])) * (half + 2.0 * NEAR_MM)[:, None]
    number_of = {look: number for number, look in enumerate(dict.fromkeys(paints.values()))}
    own = np.array([number_of[paints[int(mark)]] for mark in owner])
    # The last entry means no region.
    look_of_region = np.full(len(regions) + 1, -1, dtype=np.int64)
    for region in shapes.covers.tolist():
        look = _look_of_region(sight, region)
        look_of_region[region] = -1 if look is None else number_of.get(look, -1)
    equal = own != number_of.get(None, -1)
    for sign in (1.0, -1.0):
        equal &= look_of_region[_topmost(sight, every, runs.middle + sign * aside, owner)] == own
    kept, _, _ = runs.kept(runs.smoothed(~equal, sight.pen_mm / 3, sight.pen_mm / 3))
    both = together((others, kept))
    return rearranged(both, np.argsort(both.owner, kind="stable"))


def _look(sight: Sight, mark: Mark, paint: Paint | None) -> Look | None:
    """Key of equal paints; None for transparent paint and photographs."""
    if paint is None or not paint.opaque or mark.photograph is not None:
        return None
    # The same gradient at the same position has the same colours.
    colour = paint.colour if paint.gradient is None else paint.gradient
    return None if sight.has_mask(mark.clip) else (colour, round(paint.alpha, 3))


def _own(sight: Sight, number: int, of_fill: bool) -> Look | None:
    mark = sight.marks[number]
    return _look(sight, mark, mark.fill if of_fill else None if mark.line is None else mark.line.paint)


def _look_of_region(sight: Sight, region: int) -> Look | None:
    number = int(sight.shapes.mark_of[region])
    return _own(sight, number, sight.shapes.fill_of(number) == region)


def _half_mm(sight: Sight, number: int) -> float:
    mark = sight.marks[number]
    assert mark.line is not None
    return mark.line.width / 2.0 * mean_scale(mark.matrix) * sight.shapes.placed.zoom


def _with_equals(lines: Polylines, paints: dict[int, Look | None], sight: Sight, of_fill: bool) -> Ints:
    """Marks beside, above or below which a filling of the same colour may be."""
    covers = sight.shapes.covers
    by_look: dict[Look, list[int]] = {}
    for region in covers.tolist():
        look = _look_of_region(sight, region)
        if look is not None:
            by_look.setdefault(look, []).append(region)
    boxes = lines.boxes_mm(2.0 * NEAR_MM)
    found: list[Ints] = []
    number_of = {look: number for number, look in enumerate(by_look)}
    look_of = np.array([-1 if (look := paints[int(n)]) is None else number_of.get(look, -1) for n in lines.owner])
    for look, regions in by_look.items():
        at = np.flatnonzero(look_of == number_of[look])
        if not len(at):
            continue
        theirs = np.array(regions)
        line, region = pairs_of_boxes(boxes[at], sight.regions.boxes_mm[theirs])
        other = sight.shapes.mark_of[theirs[region]]
        earlier = other < lines.owner[at[line]] if of_fill else other <= lines.owner[at[line]]
        found.append(lines.owner[at[line[earlier]]])
    return np.unique(np.concatenate(found)) if found else np.empty(0, np.int64)


def _topmost(sight: Sight, regions: Ints, points: Floats, until: Ints) -> Ints:
    """(k,) the topmost region at each of (k, 2) points, up to mark ``until`` (k,); -1 for none."""
    shapes = sight.shapes
    top = np.full(len(points), -1, dtype=np.int64)
    tree = shapely.STRtree(shapely.box(*sight.regions.boxes_mm[regions].T))
    point, which = tree.query(shapely.points(points))
    marks = shapes.mark_of[regions[which]]
    keep: Bools = marks <= until[point]
    point, region = point[keep], regions[which[keep]]
    inside = sight.regions.inside(region, points[point])
    point, region = point[inside], region[inside]
    clip = np.array([sight.marks[mark].clip for mark in shapes.mark_of[region]], dtype=np.int64)
    through = np.ones(len(point), dtype=bool)
    for number in np.unique(clip[clip >= 0]) if len(clip) else ():
        at = clip == number
        through[at] = sight.inside_clip(int(number), points[point[at]])
    point, region = point[through], region[through]
    order = np.argsort(shapes.mark_of[region], kind="stable")
    top[point[order]] = region[order]
    return top
