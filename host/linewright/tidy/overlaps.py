"""Removes parts of strokes that lie on other ink of the same pen, such as borders shared by two shapes.

Longer strokes cover shorter ones, so that short pieces on a line are removed rather than the line. Removed parts cover
nothing themselves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.compiled import available
from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.boxes import COMPILED_FROM, Searched, box_tree
from linewright.tidy.strips import strips

_BESIDE: Final = 3 / 4
_BETWEEN: Final = 1 / 4
"""Shares of the tolerance: largest distance of ink from what covers it, and largest gap between covered parts that are
treated as one. In the middle of such a gap, ink is at most 3/4 + 1/8 of the tolerance away."""

_CROSSING: Final = 0.25
"""Sine of the angle above which two segments are treated as crossing, unless one is covered completely."""

_AT_ONCE: Final = 4096
"""Segments processed at a time; bounds the memory of their neighbours."""

_PAIRS: Final = 1 << 17
"""Pairs found at a time; bounds the memory of what is calculated with them."""

Floats = NDArray[np.float64]
Part = tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Cover:
    """Parts of segments that are covered by other segments; (n,) each.

    Parameters
    ----------
    low, high : share of the covered segment, 0..1.
    along_low, along_high : the same places as shares of the covering segment; descending where it runs in the other
        direction.
    """

    covered: Indices
    by: Indices
    low: Floats
    high: Floats
    along_low: Floats
    along_high: Floats


def without_overlaps(drawing: Drawing, *, tolerance_mm: float, least_mm: float) -> Drawing:
    """Cut out what lies along other ink of the same pen.

    Parameters
    ----------
    drawing : finite coordinates, mm, without repeated vertices.
    tolerance_mm : removed ink is at most this far from remaining ink.
    least_mm : shorter parts are kept unless they are the whole stroke, because cutting them out costs a pen lift.
    """
    if not tolerance_mm > 0.0 or len(drawing) < 2:
        return drawing
    last = drawing.starts[1:] - 1
    leads_on = np.ones(drawing.vertices, dtype=bool)
    leads_on[last] = False
    segment = np.flatnonzero(leads_on)
    if not len(segment):
        return drawing
    stroke = (np.repeat(np.arange(len(drawing)), np.diff(drawing.starts)))[segment]
    length_mm = drawing.stroke_lengths_mm()
    rank = np.empty(len(drawing), dtype=np.int64)
    rank[np.argsort(-length_mm, kind="stable")] = np.arange(len(drawing))
    cover = _covers(drawing.points_mm[segment], drawing.points_mm[segment + 1], stroke, rank, drawing.pen, tolerance_mm)
    if not len(cover.covered):
        return drawing

    size = np.hypot(*(drawing.points_mm[segment + 1] - drawing.points_mm[segment]).T)
    # A stroke is cut only if its covered parts add up to at least the minimum.
    amount = np.bincount(stroke[cover.covered], (cover.high - cover.low) * size[cover.covered], minlength=len(drawing))
    worth = amount >= np.minimum(least_mm, length_mm) - tolerance_mm
    numbers = np.flatnonzero(worth[stroke[cover.covered]])
    if not len(numbers):
        return drawing
    numbers = numbers[np.argsort(stroke[cover.covered[numbers]], kind="stable")]
    covered_strokes, begins = np.unique(stroke[cover.covered[numbers]], return_index=True)
    by_stroke = dict(zip(covered_strokes.tolist(), np.split(numbers, begins[1:]), strict=True))
    first_segment = np.searchsorted(stroke, np.arange(len(drawing)))
    gone: dict[int, list[Part]] = defaultdict(list)  # removed parts of each segment, as shares
    all_gone = np.zeros(len(segment), dtype=bool)
    cut: dict[int, list[Part]] = {}  # parts cut out of each stroke, mm along it
    for one in sorted(by_stroke, key=lambda s: int(rank[s])):
        at = first_segment[one]
        sizes = size[at : at + drawing.starts[one + 1] - drawing.starts[one] - 1]
        places = np.concatenate(([0.0], np.cumsum(sizes)))
        there = by_stroke[one]
        parts = _parts(cover, there[~all_gone[cover.by[there]]].tolist(), gone, int(at), places)
        runs = _runs(parts, places, tolerance_mm * _BETWEEN, least_mm)
        if runs:
            cut[one] = runs
            for v in range(len(sizes)):
                begin, end = float(places[v]), float(places[v + 1])
                for low, high in runs:
                    if low < end and high > begin and end > begin:
                        part = ((max(low, begin) - begin) / (end - begin), (min(high, end) - begin) / (end - begin))
                        gone[int(at) + v].append(part)
                        all_gone[int(at) + v] |= part == (0.0, 1.0)
    return _what_is_left(drawing, cut) if cut else drawing


def _covers(a: Points, b: Points, stroke: Indices, rank: Indices, pen: Indices, tolerance_mm: float) -> _Cover:
    """For every segment, the parts that lie beside a segment of a stroke of lower rank."""
    low, high = np.minimum(a, b) - tolerance_mm, np.maximum(a, b) + tolerance_mm
    ways = b - a
    sizes = np.hypot(ways[:, 0], ways[:, 1])
    beside = tolerance_mm * _BESIDE
    found: list[tuple[NDArray[np.generic], ...]] = []
    lines = Searched(a, b, sizes, low, high, rank[stroke], pen[stroke])
    candidates = _compiled_candidates if len(a) > COMPILED_FROM and available() else _candidates
    for j, i in candidates(lines, 2.0 * beside):
        own_size = sizes[j]
        size = sizes[i]
        u = ways[i] / size[:, None]
        # Across and along the covering segment, at both ends of the covered one; linear in between.
        across = np.stack([u[:, 0] * (p[j] - a[i])[:, 1] - u[:, 1] * (p[j] - a[i])[:, 0] for p in (a, b)])
        along = np.stack([((p[j] - a[i]) * u).sum(axis=1) for p in (a, b)])
        t0, t1 = np.zeros(len(i)), np.ones(len(i))
        for value, least, most in ((across, -beside, beside), (along, 0.0, size)):
            slope = value[1] - value[0]
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                x, y = (least - value[0]) / slope, (most - value[0]) / slope
            level = slope == 0.0
            inside = (value[0] >= least) & (value[0] <= most)
            t0 = np.maximum(t0, np.where(level, np.where(inside, 0.0, 2.0), np.minimum(x, y)))
            t1 = np.minimum(t1, np.where(level, np.where(inside, 1.0, -1.0), np.maximum(x, y)))
        whole = (t0 <= 0.0) & (t1 >= 1.0)
        level_enough = np.abs(across[1] - across[0]) <= _CROSSING * own_size
        keep = (t1 > t0) & (level_enough | whole)
        s = (along[0] + (along[1] - along[0]) * np.stack((t0, t1))) / size
        found.append(tuple(x[keep] for x in (j, i, t0, t1, s[0], s[1])))
    columns = [np.concatenate(column) for column in zip(*found, strict=True)]
    return _Cover(*columns)


def _candidates(lines: Searched, level_mm: float) -> Iterator[tuple[Indices, Indices]]:
    """Pairs of segments, in batches: the second is of lower rank and the same pen, reaches into the box of the first,
    and does not cross it. Those shorter than ``level_mm`` never cross.
    """
    a, b, size, low, high, rank, pen = lines
    for wanted, there in strips(low[:, 0], high[:, 0], low[:, 0], high[:, 0]):
        tree = shapely.STRtree(shapely.linestrings(np.stack((a[there], b[there]), axis=1)))
        for begin in range(0, len(wanted), _AT_ONCE):
            of = wanted[begin : begin + _AT_ONCE]
            j, i = tree.query(shapely.box(low[of, 0], low[of, 1], high[of, 0], high[of, 1]))
            j, i = of[j], there[i]
            fit = (rank[i] < rank[j]) & (pen[i] == pen[j])
            i, j = i[fit], j[fit]
            # Most neighbours cross. They are excluded first, because dense drawings have millions of them.
            one, other = b[i] - a[i], b[j] - a[j]
            apart = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]) / size[i]
            level = apart <= np.maximum(level_mm, _CROSSING * size[j]) * (1.0 + 1e-9)
            yield j[level], i[level]


def _compiled_candidates(lines: Searched, level_mm: float) -> Iterator[tuple[Indices, Indices]]:
    """The same pairs in another order."""
    from linewright.tidy.near_kernel import LEAF, near_level

    tree = box_tree(np.minimum(lines.a, lines.b), np.maximum(lines.a, lines.b), LEAF)
    ones, others = np.empty((2, _PAIRS), dtype=np.int64)
    done = 0
    while done < len(tree.by):
        more, count = near_level(lines, tree.by[done:], level_mm, _CROSSING, tree, ones, others)
        yield ones[:count], others[:count]
        done += more
        if not more:  # one segment has more neighbours than fit
            ones, others = np.empty((2, 2 * len(ones)), dtype=np.int64)


def _parts(cover: _Cover, numbers: list[int], gone: dict[int, list[Part]], at: int, places: Floats) -> list[Part]:
    """Covered parts of one stroke, mm along it, ascending. Cover by ink that is itself removed does not count."""
    parts: list[Part] = []
    for number in numbers:
        low, high = float(cover.low[number]), float(cover.high[number])
        left = [(low, high)]
        s0, s1 = float(cover.along_low[number]), float(cover.along_high[number])
        for g0, g1 in gone.get(int(cover.by[number]), ()):
            if s0 == s1:
                left = [] if g0 <= s0 <= g1 else left
                continue
            x, y = sorted(low + (g - s0) / (s1 - s0) * (high - low) for g in (g0, g1))
            left = [(p, q) for a, b in left for p, q in ((a, min(b, x)), (max(a, y), b)) if q > p]
        v = int(cover.covered[number]) - at
        here, size = float(places[v]), float(places[v + 1] - places[v])
        parts += [(here + p * size, here + q * size) for p, q in left]
    return sorted(parts)


def _runs(parts: list[Part], places: Floats, between_mm: float, least_mm: float) -> list[Part]:
    """Parts to cut out of one stroke: touching parts merged, ends moved to near vertices, short ones dropped."""
    runs: list[Part] = []
    for low, high in parts:
        if runs and low <= runs[-1][1] + between_mm:
            runs[-1] = (runs[-1][0], max(runs[-1][1], high))
        else:
            runs.append((low, high))

    def settled(place: float) -> float:
        near = float(places[np.argmin(np.abs(places - place))])
        return near if abs(near - place) <= between_mm / 2 else place

    end = float(places[-1])
    runs = [(settled(low), settled(high)) for low, high in runs]
    return [(low, high) for low, high in runs if high - low >= least_mm or (low <= 0.0 and high >= end)]


def _what_is_left(drawing: Drawing, cut: dict[int, list[Part]]) -> Drawing:
    closed = drawing.closed()
    strokes: list[Points] = []
    pens: list[int] = []
    for number in range(len(drawing)):
        points = drawing.stroke(number)
        runs = cut.get(number)
        if runs is None:
            strokes.append(points)
            pens.append(int(drawing.pen[number]))
            continue
        places = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
        edges = [0.0, *(place for run in runs for place in run), float(places[-1])]
        pieces = [
            _piece(points, places, low, high) for low, high in zip(edges[::2], edges[1::2], strict=True) if high > low
        ]
        if closed[number] and len(pieces) > 1 and edges[0] < edges[1] and edges[-2] < edges[-1]:
            pieces = [np.vstack((pieces[-1], pieces[0][1:])), *pieces[1:-1]]
        strokes += pieces
        pens += [int(drawing.pen[number])] * len(pieces)
    return Drawing.from_strokes(strokes, pens, drawing.pens)


def _piece(points: Points, places: Floats, low: float, high: float) -> Points:
    """The part of a polyline between two places, mm along it."""

    def at(place: float) -> Points:
        return np.array([np.interp(place, places, points[:, 0]), np.interp(place, places, points[:, 1])])

    inner = points[(places > low) & (places < high)]
    return np.vstack((at(low), inner, at(high)))
