"""`Runs`: strokes divided at cuts into pieces that can be kept or dropped separately.

A stroke without cuts is one run. Strokes are not cut where they cross themselves, and adjacent kept pieces stay one
stroke.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.sources.painting.flatten import Polylines

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class Segmented:
    """Segments of strokes; a dot is a segment of length 0.

    Attributes
    ----------
    at : (m,) int64: index of each segment's first point.
    stroke : (m,) int64.
    begin, end : (m, 2) float64, mm.
    """

    def __init__(self, lines: Polylines) -> None:
        self.lines = lines
        lengths = np.diff(lines.starts)
        self.single = lengths == 1
        count = np.where(self.single, 1, lengths - 1)
        self.stroke = np.repeat(np.arange(len(lines)), count)
        self.at = np.arange(len(self.stroke)) - (np.cumsum(count) - count)[self.stroke] + lines.starts[:-1][self.stroke]
        self.begin = lines.points_mm[self.at]
        self.end = lines.points_mm[np.where(self.single[self.stroke], self.at, self.at + 1)]

    def as_lines(self, chosen: Ints) -> NDArray[np.object_]:
        """(k,) shapely lines of some segments."""
        return np.asarray(shapely.linestrings(np.stack((self.begin[chosen], self.end[chosen]), axis=1)))


class Runs:
    """Strokes divided at cuts.

    Parameters
    ----------
    parts : the strokes.
    segment, share : (c,) positions of the cuts: segment, and share along it, 0 to 1.

    Attributes
    ----------
    stroke : (r,) int64 of each run.
    middle : (r, 2) float64, mm: a point of each run away from its ends.
    along : (r, 2) float64: unit direction of the run there; 0 for dots.
    length_mm : (r,) float64.
    """

    def __init__(self, parts: Segmented, segment: Ints, share: Floats) -> None:
        lines = parts.lines
        self._lines = lines
        points = lines.points_mm
        vertices = len(points)
        # Vertices and cuts in drawing order; a cut at a vertex marks that vertex.
        at = parts.at[segment]
        moves = ~parts.single[parts.stroke[segment]]
        segment, share, at = segment[moves], share[moves], at[moves]
        on_vertex = (share <= 0.0) | (share >= 1.0)
        cut = np.zeros(vertices, dtype=bool)
        cut[at[on_vertex] + (share[on_vertex] >= 1.0)] = True
        inner = ~on_vertex
        segment, share, at = segment[inner], share[inner], at[inner]
        order = np.lexsort((share, at))
        segment, share, at = segment[order], share[order], at[order]
        place = np.searchsorted(at, np.arange(vertices), side="left")  # cuts before each vertex
        node_of_vertex = np.arange(vertices) + place
        total = vertices + len(at)
        self._is_vertex = np.zeros(total, dtype=bool)
        self._is_vertex[node_of_vertex] = True
        self._points = np.empty((total, 2))
        self._points[node_of_vertex] = points
        self._points[~self._is_vertex] = parts.begin[segment] + share[:, None] * (
            parts.end[segment] - parts.begin[segment]
        )
        # Position of each piece: its segment, and the share at which it starts.
        segment_of_vertex = np.full(vertices, -1, dtype=np.int64)
        segment_of_vertex[parts.at] = np.arange(len(parts.at))
        node_segment = np.empty(total, dtype=np.int64)
        node_segment[node_of_vertex], node_segment[~self._is_vertex] = segment_of_vertex, segment
        node_share = np.zeros(total)
        node_share[~self._is_vertex] = share
        stroke = np.empty(total, dtype=np.int64)
        stroke[node_of_vertex] = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
        stroke[~self._is_vertex] = parts.stroke[segment]
        breaks = np.ones(total, dtype=bool)
        breaks[node_of_vertex] = cut
        begins = np.ones(total, dtype=bool)
        begins[1:] = stroke[1:] != stroke[:-1]
        # A piece leads from a node to the next of its stroke; a dot is a piece of its own.
        piece = np.flatnonzero(np.concatenate((stroke[1:] == stroke[:-1], [False])))
        dots = node_of_vertex[lines.starts[:-1][parts.single]]
        self._from = np.sort(np.concatenate((piece, dots)))
        self._to = np.where(parts.single[stroke[self._from]], self._from, self._from + 1)
        self.run = np.cumsum((begins | breaks)[self._from]) - 1 if len(self._from) else np.empty(0, np.int64)
        self._piece_stroke = stroke[self._from]
        delta = self._points[self._to] - self._points[self._from]
        lengths = np.hypot(*delta.T)
        count = int(self.run[-1]) + 1 if len(self.run) else 0
        self.length_mm = np.bincount(self.run, weights=lengths, minlength=count)
        longest = np.lexsort((-lengths, self.run))
        longest = longest[np.searchsorted(self.run[longest], np.arange(count))]
        self.stroke = self._piece_stroke[longest]
        self.middle = (self._points[self._from[longest]] + self._points[self._to[longest]]) / 2.0
        self._segment = node_segment[self._from[longest]]
        until = np.where(self._is_vertex[self._to[longest]], 1.0, node_share[self._to[longest]])
        self._share = (node_share[self._from[longest]] + until) / 2.0
        size = lengths[longest, None]
        self.along = np.divide(delta[longest], size, out=np.zeros((count, 2)), where=size > 0.0)

    def __len__(self) -> int:
        """Number of runs."""
        return len(self.stroke)

    def in_stretches(self, segment: Ints, stretch: Floats) -> tuple[Ints, Ints]:
        """Runs that lie in stretches (d,) of segments, from ``stretch[:, 0]`` to ``stretch[:, 1]``."""
        order = np.argsort(self._segment, kind="stable")
        low = np.searchsorted(self._segment[order], segment, side="left")
        count = np.searchsorted(self._segment[order], segment, side="right") - low
        which = np.repeat(np.arange(len(segment)), count)
        run = order[np.repeat(low, count) + np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)]
        within = (self._share[run] >= stretch[which, 0]) & (self._share[run] <= stretch[which, 1])
        return run[within], which[within]

    def smoothed(self, seen: Bools, gap_mm: float, bit_mm: float) -> Bools:
        """(r,) bool: hidden gaps and visible bits too short for a pen lift take the state of their neighbours."""
        seen = seen.copy()
        if len(seen) < 3:
            return seen
        same = np.zeros(len(seen), dtype=bool)  # has neighbours on both sides in its stroke
        same[1:-1] = (self.stroke[1:-1] == self.stroke[:-2]) & (self.stroke[1:-1] == self.stroke[2:])
        around = np.zeros(len(seen), dtype=bool)
        around[1:-1] = seen[:-2] == seen[2:]
        inner = same & around & (seen != np.roll(seen, 1))
        flip = inner & np.where(seen, self.length_mm < bit_mm, self.length_mm < gap_mm)
        # Adjacent runs must not flip together, because each depends on the other.
        flip[1:] &= ~flip[:-1]
        seen[flip] = ~seen[flip]
        return seen

    def kept(self, seen: Bools, group: Ints | None = None) -> tuple[Polylines, Ints, Bools]:
        """The strokes that remain when only some runs are visible.

        Parameters
        ----------
        group : (r,) int64: runs of different groups become separate strokes.

        Returns
        -------
        The strokes; the first run of each; for each given stroke whether it lost something.
        """
        strokes = len(self._lines)
        lost = np.zeros(strokes, dtype=bool)
        lost[self.stroke[~seen]] = True
        if group is None and not lost.any():
            return self._lines, np.searchsorted(self.stroke, np.arange(strokes)), lost
        shown = np.flatnonzero(seen[self.run])
        joined = np.zeros(len(shown), dtype=bool)
        joined[1:] = (shown[1:] == shown[:-1] + 1) & (self._piece_stroke[shown[1:]] == self._piece_stroke[shown[:-1]])
        if group is not None:
            joined[1:] &= group[self.run[shown[1:]]] == group[self.run[shown[:-1]]]
        # A cut with both sides kept needs no point.
        middle = joined & ~self._is_vertex[self._from[shown]]
        moves = self._to[shown] != self._from[shown]
        begins = ~joined
        emitted = begins.astype(np.int64) + moves
        position = np.cumsum(emitted) - emitted
        points = np.empty((int(emitted.sum()), 2))
        keep = np.ones(len(points), dtype=bool)
        points[position[begins]] = self._points[self._from[shown[begins]]]
        points[(position + begins)[moves]] = self._points[self._to[shown[moves]]]
        keep[position[middle] - 1] = False
        starts = np.concatenate((position[begins], [len(points)])).astype(np.int64)
        source = self._piece_stroke[shown[begins]]
        kept_before = np.concatenate(([0], np.cumsum(keep)))
        left = Polylines(points[keep], kept_before[starts].astype(np.int64), self._lines.owner[source])
        return left, self.run[shown[begins]], lost


def crossings(
    begin: Floats, end: Floats, other_begin: Floats, other_end: Floats, near_mm: float
) -> tuple[Ints, Floats, Ints, Floats]:
    """Intersections of segments with others, pair by pair.

    Parameters
    ----------
    begin, end, other_begin, other_end : (n, 2) float64, mm.
    near_mm : distance below which segments touch.

    Returns
    -------
    pair, share : (c,) pair, and share along its first segment; one entry for a crossing, two for the ends of an
        overlap.
    common, stretch : (d,) pairs with an overlap, and (d, 2) its ends along the first segment.
    """
    r, q = end - begin, other_end - other_begin
    gap = other_begin - begin
    length = np.hypot(*r.T)
    other_length = np.hypot(*q.T)
    cross = r[:, 0] * q[:, 1] - r[:, 1] * q[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (gap[:, 0] * q[:, 1] - gap[:, 1] * q[:, 0]) / cross
        other = (gap[:, 0] * r[:, 1] - gap[:, 1] * r[:, 0]) / cross
        slack, other_slack = near_mm / length, near_mm / other_length
        # Over their common length they diverge by less than the tolerance: they overlap.
        along = np.abs(cross) <= near_mm * np.maximum(length, other_length)
        meets = (share >= -slack) & (share <= 1 + slack) & (other >= -other_slack) & (other <= 1 + other_slack)
        meets &= (length > 0.0) & (np.abs(cross) > 1e-12 * length * other_length)
        first = (gap * r).sum(axis=1) / length**2
        second = first + (q * r).sum(axis=1) / length**2
        off = np.abs(gap[:, 0] * r[:, 1] - gap[:, 1] * r[:, 0]) / length
    low, high = np.minimum(first, second), np.maximum(first, second)
    along &= (off <= near_mm) & (length > 0.0)
    low, high = np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
    along &= (high - low) * length > near_mm
    meets &= ~along
    crossing = np.flatnonzero(meets)
    common = np.flatnonzero(along)
    at = np.clip(share[crossing], 0.0, 1.0)
    at = np.where(at <= slack[crossing], 0.0, np.where(at >= 1 - slack[crossing], 1.0, at))
    return (
        np.concatenate((crossing, common, common)),
        np.concatenate((at, low[common], high[common])),
        common,
        np.column_stack((low[common], high[common])),
    )
