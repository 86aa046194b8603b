"""The visible edges of fillings: the boundary between inside and outside, clips included, each edge once."""

from __future__ import annotations

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Ints, Polylines, polylines_of, together
from linewright.sources.painting.placed import Placed
from linewright.sources.painting.regions import Bools, boxes_of, pairs_of_boxes
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight

_PAIRS_AT_A_TIME = 2_000_000
"""Pairs of possibly intersecting segments processed at a time: about 400 MB of temporary arrays."""

_MOST_PAIRS = 40_000_000
"""Most such pairs in a picture: half a minute. A drawing with more is too dense to be resolved by eye."""

_SAMPLES = 8
"""Segments of a filling sampled to estimate the number of pairs."""

_OWN, _OF_CLIP, _OF_PAGE, _OF_TILE = 0, 1, 2, 3
"""Origin of a candidate ring."""


def edges(placed: Placed, sight: Sight, marks: Ints, own: Bools) -> Polylines:
    """Closed outlines of fillings, clipped, and closed along the clip's edge.

    Parameters
    ----------
    marks : numbers of marks with a filling.
    own : (k,) bool: include a mark's own outline; False: only the edges made by clips.

    Returns
    -------
    Lines whose ``owner`` is the mark.
    """
    plain: list[Ints] = []
    hard: list[int] = []
    crossing = _crossing(placed, marks)
    for mark, wants_own in zip(marks.tolist(), own.tolist(), strict=True):
        if mark in crossing or _is_cut(placed, sight, mark):
            hard.append(mark)
        elif wants_own:
            plain.append(np.arange(placed.first[mark], placed.first[mark + 1]))
    pairs = {mark: _expected_pairs(placed, mark) for mark in hard}
    if sum(pairs.values()) > _MOST_PAIRS:
        tangles = {mark for mark in crossing if pairs.get(mark, 0.0) > _MOST_PAIRS / len(hard)}
        placed.painting.notes.add(
            "its fillings cross themselves too often to find the visible parts of their outlines; all outlines are "
            "drawn",
            placed.painting.marks[min(tangles)].line_number,
            len(tangles),
        )
        plain += [np.arange(placed.first[mark], placed.first[mark + 1]) for mark in tangles]
        hard = [mark for mark in hard if mark not in tangles]
    chosen = np.zeros(len(placed.lines), dtype=bool)
    if plain:
        chosen[np.concatenate(plain)] = True
    wanted = dict(zip(marks.tolist(), own.tolist(), strict=True))
    found = [_careful(placed, sight, some, wanted) for some in _in_batches(hard, pairs)]
    return together((closed(placed.lines.select(chosen)), *found))


def _expected_pairs(placed: Placed, mark: int) -> float:
    """Estimated number of pairs of intersecting segments of a filling's outline, from a sample."""
    starts, first = placed.lines.starts, placed.first
    points = placed.lines.points_mm[starts[first[mark]] : starts[first[mark + 1]]]
    boxes = boxes_of(points[:-1], points[1:])
    sample = boxes[np.linspace(0, len(boxes) - 1, min(_SAMPLES, len(boxes))).astype(np.int64)]
    meets = (sample[:, None, :2] <= boxes[:, 2:]).all(axis=2) & (sample[:, None, 2:] >= boxes[:, :2]).all(axis=2)
    return float(meets.sum()) / max(len(sample), 1) * len(boxes)


def _in_batches(marks: list[int], pairs: dict[int, float]) -> list[list[int]]:
    """Marks in groups whose pairs of segments fit into memory."""
    batches: list[list[int]] = []
    room = 0.0
    for mark in marks:
        if not batches or pairs[mark] > room:
            batches.append([])
            room = float(_PAIRS_AT_A_TIME)
        batches[-1].append(mark)
        room -= pairs[mark]
    return batches


def closed(lines: Polylines) -> Polylines:
    """The same lines, closed to their first points."""
    first, last = lines.starts[:-1], lines.starts[1:] - 1
    if not len(lines):
        return lines
    open_ended = (lines.points_mm[first] != lines.points_mm[last]).any(axis=1)
    if not open_ended.any():
        return lines
    points = np.insert(lines.points_mm, lines.starts[1:][open_ended], lines.points_mm[first[open_ended]], axis=0)
    return Polylines(points, lines.starts + np.concatenate(([0], np.cumsum(open_ended))), lines.owner)


def _is_cut(placed: Placed, sight: Sight, mark: int) -> bool:
    """Whether a clip may cut or bound a filling."""
    one = placed.painting.marks[mark]
    if one.clip < 0:
        return False
    box = sight.box_of(one.clip)
    # What ends at the edge of its tile may continue in the next one.
    slack = -NEAR_MM if placed.painting.in_tile(one.clip) else NEAR_MM
    low, high = placed.first[mark], placed.first[mark + 1]
    points = placed.lines.points_mm[placed.lines.starts[low] : placed.lines.starts[high]]
    return box is None or not bool(
        (points.min(axis=0) >= np.array(box[:2]) - slack).all()
        and (points.max(axis=0) <= np.array(box[2:]) + slack).all()
    )


def _crossing(placed: Placed, marks: Ints) -> set[int]:
    """Marks filled by winding with self-crossing or multiple rings, of which parts may not be boundaries."""
    found: set[int] = set()
    single: list[int] = []
    for mark in marks.tolist():
        if placed.painting.marks[mark].even_odd:
            continue
        if placed.first[mark + 1] - placed.first[mark] > 1:
            found.add(mark)
        else:
            single.append(mark)
    if single:
        lines = placed.lines
        index = placed.first[single]
        counts = lines.starts[index + 1] - lines.starts[index]
        long = counts > 3
        index, counts = index[long], counts[long]
        points = np.repeat(lines.starts[index], counts) + np.arange(int(counts.sum()))
        points -= np.repeat(np.cumsum(counts) - counts, counts)
        rings = shapely.linearrings(lines.points_mm[points], indices=np.repeat(np.arange(len(index)), counts))
        simple = shapely.is_simple(rings)
        found |= set(lines.owner[index[~simple]].tolist())
    return found


def _rings(placed: Placed, mark: int) -> list[Floats]:
    lines = closed(placed.of_mark(mark))
    return [lines.points_mm[lines.starts[i] : lines.starts[i + 1]] for i in range(len(lines))]


def _careful(placed: Placed, sight: Sight, marks: list[int], wanted: dict[int, bool]) -> Polylines:
    """Boundaries among all candidate rings: the parts with the filled side on exactly one side."""
    strokes: list[Floats] = []
    group: list[int] = []
    kinds: list[int] = []
    for number, mark in enumerate(marks):
        for ring in _rings(placed, mark):
            strokes.append(ring)
            group.append(number)
            kinds.append(_OWN)
        for ring, kind in _clip_rings(placed, sight, placed.painting.marks[mark].clip):
            strokes.append(ring)
            group.append(number)
            kinds.append(kind)
    if not strokes:
        return polylines_of([], [])
    lines = polylines_of(strokes, group)
    parts = Segmented(lines)
    groups = lines.owner[parts.stroke]
    # Move each group to a distant part of the plane, so that only its own segments intersect.
    low, high = lines.points_mm.min(axis=0), lines.points_mm.max(axis=0)
    shift = groups * (2.0 * float(high[0] - low[0]) + 10.0)
    boxes = boxes_of(parts.begin, parts.end, NEAR_MM)
    boxes[:, 0] += shift
    boxes[:, 2] += shift
    first, second = pairs_of_boxes(boxes, boxes)
    apart = first != second
    # Neighbours in a ring meet at their common corner, which is no cut.
    same = parts.stroke[first] == parts.stroke[second]
    count = np.bincount(parts.stroke, minlength=len(lines))[parts.stroke[first]]
    neighbours = np.flatnonzero(same & (np.abs(first - second) % np.maximum(count - 1, 1) <= 1))
    apart[neighbours[_shares_end(parts, first[neighbours], second[neighbours])]] = False
    first, second = first[apart], second[apart]
    pair, share, common, stretch = crossings(
        parts.begin[first], parts.end[first], parts.begin[second], parts.end[second], NEAR_MM
    )
    soft = [i for i, mark in enumerate(marks) if sight.is_soft(placed.painting.marks[mark].clip)]
    cut = first[pair]
    if soft:
        more, places = sight.finely(parts, np.flatnonzero(np.isin(lines.owner, soft)[parts.stroke]))
        cut, share = np.concatenate((cut, more)), np.concatenate((share, places))
    runs = Runs(parts, cut, share)
    inside, points = _sides(placed, sight, runs, lines, marks)
    seen = inside[0] != inside[1]
    kind = np.array(kinds)[runs.stroke]
    tiled = np.array([placed.painting.in_tile(placed.painting.marks[mark].clip) for mark in marks], dtype=bool)[
        lines.owner[runs.stroke]
    ]
    at = np.flatnonzero(seen & tiled)
    outside = np.where(inside[0][at, None], points[1][at], points[0][at])
    seen[at] = ~_goes_on(sight, np.array(marks, dtype=np.int64)[lines.owner[runs.stroke[at]]], outside)
    seen &= (kind != _OWN) | np.array([wanted[mark] for mark in marks])[lines.owner[runs.stroke]]
    seen &= kind != _OF_PAGE
    # Of two coinciding stretches only the first is kept.
    run, which = runs.in_stretches(first[common], stretch)
    later = parts.stroke[second[common[which]]] < runs.stroke[run]
    seen[run[later]] = False
    kept, _, _ = runs.kept(runs.smoothed(seen, sight.pen_mm / 3, sight.pen_mm / 3))
    return Polylines(kept.points_mm, kept.starts, np.array(marks, dtype=np.int64)[kept.owner])


def _shares_end(parts: Segmented, first: Ints, second: Ints) -> Bools:
    """Whether two segments of a ring share an end."""
    return np.asarray(
        (np.abs(parts.end[first] - parts.begin[second]) <= 1e-12).all(axis=1)
        | (np.abs(parts.begin[first] - parts.end[second]) <= 1e-12).all(axis=1)
    )


def _clip_rings(placed: Placed, sight: Sight, clip: int) -> list[tuple[Floats, int]]:
    """Rings that bound a clip, and whether each is the edge of the page, where a filling is left open."""
    found: list[tuple[Floats, int]] = []
    while clip >= 0:
        one = placed.painting.clips[clip]
        kind = {"page": _OF_PAGE, "tile": _OF_TILE}.get(one.kind, _OF_CLIP)
        for member in one.members:
            for region in sight.shapes.of_mark(member):
                found += [(ring, kind) for ring in sight.shapes.rings_of(region)]
            found += _clip_rings(placed, sight, placed.painting.marks[member].clip)
        clip = one.parent
    return found


def _sides(
    placed: Placed, sight: Sight, runs: Runs, lines: Polylines, marks: list[int]
) -> tuple[list[Bools], list[Floats]]:
    """Whether the mark's filling is visible on either side of each run, and the tested points."""
    aside = np.column_stack((-runs.along[:, 1], runs.along[:, 0])) * (2.0 * NEAR_MM)
    group = lines.owner[runs.stroke]
    regions = np.array([sight.shapes.fill_of(mark) for mark in marks], dtype=np.int64)[group]
    clips = np.array([placed.painting.marks[mark].clip for mark in marks], dtype=np.int64)[group]
    sides, looked_at = [], []
    for sign in (1.0, -1.0):
        points = runs.middle + sign * aside
        inside = sight.regions.inside(regions, points)
        for clip in np.unique(clips[inside]):
            at = np.flatnonzero(inside & (clips == clip))
            inside[at] = sight.inside_clip(int(clip), points[at])
        sides.append(inside)
        looked_at.append(points)
    return sides, looked_at


def _goes_on(sight: Sight, marks: Ints, points: Floats) -> Bools:
    """Whether a pattern's filling continues in another copy of it at (k, 2) points just outside."""
    found = np.zeros(len(points), dtype=bool)
    if not len(points):
        return found
    copies: dict[object, list[int]] = {}
    for number, mark in enumerate(sight.marks):
        if mark.fill is not None and not mark.silent and mark.clip >= 0 and sight.shapes.encloses(number):
            copies.setdefault(mark.origin, []).append(number)
    origin = [sight.marks[int(mark)].origin for mark in marks]
    for one in dict.fromkeys(origin):
        mine = np.array([i for i, other in enumerate(origin) if other is one])
        numbers = np.array(copies[one], dtype=np.int64)
        regions = np.array([sight.shapes.fill_of(int(number)) for number in numbers], dtype=np.int64)
        tree = shapely.STRtree(shapely.box(*sight.regions.boxes_mm[regions].T))
        at, which = tree.query(shapely.points(points[mine]))
        inside = sight.regions.inside(regions[which], points[mine[at]])
        at, which = at[inside], which[inside]
        for number in np.unique(which):
            theirs = mine[at[which == number]]
            clip = sight.marks[int(numbers[number])].clip
            found[theirs] |= sight.inside_clip(clip, points[theirs])
    return found
