"""`Sight`: the visible parts of strokes: clipped, masked, and not hidden by later paint."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Ints, Polylines, rearranged, together
from linewright.sources.painting.inks import lightness_at
from linewright.sources.painting.regions import Bools, boxes_of, pairs_of_boxes
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.shapes import Shapes

NEAR_MM: Final = 0.005
"""Distance to an edge below which something counts as on it: a quarter of the usual tolerance."""

SEEN: Final = 0.04
"""Smallest share of a mask that counts as visible."""

_MOST_PIECES: Final = 1_000_000

_PAIRS_AT_A_TIME: Final = 4_000_000
"""Pairs of possibly intersecting segments and edges processed at a time: about 800 MB of temporary arrays."""

_MOST_PAIRS: Final = 100_000_000
"""Most pairs of lines and shapes in a picture: a minute. A million lines under ten thousand shapes make a tenth of
it."""

_MOST_AT_ONCE: Final = 20_000_000
"""Most pairs if the work cannot be divided: 4 GB."""

_SAMPLES: Final = 64
"""Segments sampled to estimate the number of pairs."""

_COVERS_AT_A_TIME: Final = 512


class Sight:
    """Computes the visible parts of strokes.

    Parameters
    ----------
    shapes : regions of all relevant marks.
    pen_mm : width of the pen: gaps and bits shorter than a third of it do not justify a pen lift.
    """

    def __init__(self, shapes: Shapes, pen_mm: float) -> None:
        self.shapes = shapes
        self.regions = shapes.regions
        self.marks = shapes.placed.painting.marks
        self.clips = shapes.placed.painting.clips
        self.pen_mm = pen_mm
        self._regions_of_clip: dict[int, tuple[int, ...]] = {}
        self._boxes: dict[int, tuple[float, float, float, float] | None] = {}
        self._pairs_left: float = _MOST_PAIRS

    def regions_of(self, clip: int) -> tuple[int, ...]:
        """All regions that a clip depends on."""
        if clip < 0:
            return ()
        found = self._regions_of_clip.get(clip)
        if found is None:
            one = self.clips[clip]
            every = list(self.regions_of(one.parent))
            for member in one.members:
                every += self.shapes.of_mark(member)
                every += self.regions_of(self.marks[member].clip)
            found = self._regions_of_clip[clip] = tuple(dict.fromkeys(every))
        return found

    def inside_clip(self, clip: int, points: Floats, on_edge: dict[int, Bools] | None = None) -> Bools:
        """(n,) bool: whether (n, 2) points are visible through a clip.

        ``on_edge`` : for some regions, points that count as inside.
        """
        if clip < 0 or not len(points):
            return np.ones(len(points), dtype=bool)
        one = self.clips[clip]
        seen = self.inside_clip(one.parent, points, on_edge)
        at = np.flatnonzero(seen)
        if not len(at):
            return seen
        theirs = points[at]
        edge = None if on_edge is None else {k: v[at] for k, v in on_edge.items()}
        if one.kind in ("mask", "alpha"):
            seen[at] = self._through_mask(one.members, theirs, one.kind == "mask") > SEEN
            return seen
        some = np.zeros(len(at), dtype=bool)
        for member in one.members:
            rest = np.flatnonzero(~some)
            on_rest = None if edge is None else {k: v[rest] for k, v in edge.items()}
            inside = self._inside_mark(member, theirs[rest], on_rest)
            own = self.marks[member].clip
            if own >= 0 and inside.any():
                inside[inside] = self.inside_clip(own, theirs[rest][inside])
            some[rest[inside]] = True
        seen[at] = some
        return seen

    def is_soft(self, clip: int) -> bool:
        """Whether a clip, or an enclosing one, varies within a shape."""
        while clip >= 0:
            one = self.clips[clip]
            if one.kind in ("mask", "alpha"):
                for member in one.members:
                    if any(paint.gradient is not None for _, paint in self.shapes.paints_of(member)):
                        return True
            clip = one.parent
        return False

    def has_mask(self, clip: int) -> bool:
        """Whether a clip, or an enclosing one, is a mask, which may be partly transparent."""
        while clip >= 0:
            if self.clips[clip].kind in ("mask", "alpha"):
                return True
            clip = self.clips[clip].parent
        return False

    def let_through(self, clip: int, points: Floats) -> Floats:
        """(n,) transmission of all masks of a clip at (n, 2) points, 0 to 1; other clips are ignored."""
        share = np.ones(len(points))
        while clip >= 0:
            one = self.clips[clip]
            if one.kind in ("mask", "alpha"):
                share *= self._through_mask(one.members, points, one.kind == "mask")
            clip = one.parent
        return share

    def _inside_mark(self, mark: int, points: Floats, on_edge: dict[int, Bools] | None = None) -> Bools:
        inside = np.zeros(len(points), dtype=bool)
        for region in self.shapes.of_mark(mark):
            inside |= self.regions.inside(np.full(len(points), region), points)
            if on_edge is not None and region in on_edge:
                inside |= on_edge[region]
        return inside

    def _through_mask(self, members: tuple[int, ...], points: Floats, by_luminance: bool) -> Floats:
        """Transmission of a mask at each point, 0 to 1 (CSS Masking 1, section 7.10)."""
        light, alpha = np.zeros(len(points)), np.zeros(len(points))
        for member in members:
            mark = self.marks[member]
            shown = self.inside_clip(mark.clip, points)
            through = self.let_through(mark.clip, points) if self.has_mask(mark.clip) else None
            for region, paint in self.shapes.paints_of(member):
                inside = shown & self.regions.inside(np.full(len(points), region), points)
                if inside.any():
                    tone, share = lightness_at(paint, points[inside] / self.shapes.placed.zoom)
                    share = share if through is None else share * through[inside]
                    light[inside] = light[inside] * (1 - share) + tone * share
                    alpha[inside] = alpha[inside] * (1 - share) + share
        return light if by_luminance else alpha

    def box_of(self, clip: int) -> tuple[float, float, float, float] | None:
        """The box of a clip made of upright rectangles only; None otherwise."""
        if clip < 0:
            return (-np.inf, -np.inf, np.inf, np.inf)
        if clip not in self._boxes:
            self._boxes[clip] = self._box(clip)
        return self._boxes[clip]

    def _box(self, clip: int) -> tuple[float, float, float, float] | None:
        one = self.clips[clip]
        around = self.box_of(one.parent)
        if around is None or one.kind in ("mask", "alpha") or len(one.members) != 1:
            return None
        member = one.members[0]
        regions = self.shapes.of_mark(member)
        if len(regions) != 1 or self.marks[member].clip >= 0:
            return None
        first, last = self.regions.first[regions[0] : regions[0] + 2]
        begin, end = self.regions.begin[first:last], self.regions.end[first:last]
        upright = (np.abs(end - begin) < 1e-9).any(axis=1).all()
        if not upright or last - first != 4:
            return None
        x0, y0, x1, y1 = self.regions.boxes_mm[regions[0]]
        return (max(x0, around[0]), max(y0, around[1]), min(x1, around[2]), min(y1, around[3]))

    def clipped(self, lines: Polylines, order: Ints) -> tuple[Polylines, Bools]:
        """Strokes clipped by the clips of marks ``order`` (k,), and (k,) bool whether each lost something."""
        clip_of_mark = np.array([mark.clip for mark in self.marks], dtype=np.int64)
        clip = clip_of_mark[order] if len(lines) else np.empty(0, np.int64)
        cut = clip >= 0
        if cut.any():
            low, high = np.split(lines.boxes_mm(NEAR_MM), 2, axis=1)
            for number in np.unique(clip[cut]):
                box = self.box_of(int(number))
                if box is not None:
                    mine = clip == number
                    inside = (low + 2 * NEAR_MM >= box[:2]).all(axis=1) & (high - 2 * NEAR_MM <= box[2:]).all(axis=1)
                    cut &= ~(mine & inside)
        if not cut.any():
            return lines, np.zeros(len(lines), dtype=bool)
        affected, others = lines.select(cut), lines.select(~cut)
        clip = clip[cut]
        parts = Segmented(affected)
        wanted = np.unique(clip)
        codes = [
            number * len(self.regions) + np.array(self.regions_of(int(number)), dtype=np.int64) for number in wanted
        ]
        allowed = np.sort(np.concatenate(codes)) if codes else np.empty(0, np.int64)
        regions = np.unique(allowed % len(self.regions))
        edges = np.flatnonzero(np.isin(self.regions.shape, regions))
        pair, edge = self.pairs(parts, edges)
        keep = _member(allowed, clip[parts.stroke[pair]] * len(self.regions) + self.regions.shape[edge])
        soft = np.isin(clip, [number for number in wanted if self.is_soft(int(number))])
        runs, along, along_region = self._runs(parts, pair[keep], edge[keep], soft)
        seen = np.zeros(len(runs), dtype=bool)
        run_clip = clip[runs.stroke]
        for number in wanted:
            at = np.flatnonzero(run_clip == number)
            on_edge: dict[int, Bools] = {}
            for region in np.unique(along_region[run_clip[along] == number]):
                on_edge[int(region)] = _member(np.unique(along[along_region == region]), at)
            seen[at] = self.inside_clip(int(number), runs.middle[at], on_edge)
        kept, first, lost = runs.kept(runs.smoothed(seen, self.pen_mm / 3, self.pen_mm / 3))
        whole_lost = np.zeros(len(cut), dtype=bool)
        whole_lost[np.flatnonzero(cut)[lost]] = True
        was = np.concatenate((np.flatnonzero(cut)[runs.stroke[first]], np.flatnonzero(~cut)))
        return rearranged(together((kept, others)), np.argsort(was, kind="stable")), whole_lost

    def pairs(self, parts: Segmented, edges: Ints) -> tuple[Ints, Ints]:
        """Segments and edges whose boxes intersect."""
        if not len(edges) or not len(parts.at):
            return np.empty(0, np.int64), np.empty(0, np.int64)
        segment, edge = pairs_of_boxes(boxes_of(parts.begin, parts.end, NEAR_MM), self.boxes_of_edges(edges))
        return segment, edges[edge]

    def finely(self, parts: Segmented, segments: Ints) -> tuple[Ints, Floats]:
        """Cuts a pen's width apart in some segments, as for `Runs`."""
        lengths = np.hypot(*(parts.end - parts.begin)[segments].T)
        # Objects far larger than any sheet are cut more coarsely, to bound memory.
        step_mm = max(self.pen_mm, float(lengths.sum()) / _MOST_PIECES)
        pieces = np.ceil(lengths / step_mm).astype(np.int64)
        pieces = np.maximum(pieces, 1)
        segment = np.repeat(segments, pieces)
        number = np.arange(len(segment)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        return segment, number / np.repeat(pieces, pieces)

    def _runs(self, parts: Segmented, segment: Ints, edge: Ints, soft: Bools | None = None) -> tuple[Runs, Ints, Ints]:
        """Strokes cut at edges, finely at ``soft`` ones, and the runs that lie along the edge of a region."""
        pair, share, common, stretch = crossings(
            parts.begin[segment], parts.end[segment], self.regions.begin[edge], self.regions.end[edge], NEAR_MM
        )
        cut = segment[pair]
        if soft is not None and soft.any():
            more, places = self.finely(parts, np.flatnonzero(soft[parts.stroke]))
            cut, share = np.concatenate((cut, more)), np.concatenate((share, places))
        runs = Runs(parts, cut, share)
        run, which = runs.in_stretches(segment[common], stretch)
        return runs, run, self.regions.shape[edge[common[which]]]

    def uncovered(self, lines: Polylines, order: Ints) -> Polylines:
        """The parts of strokes not covered by opaque paint.

        Parameters
        ----------
        order : (k,) int64: mark of each stroke; later marks may hide it.
        """
        covers = self.shapes.covers
        if not len(covers) or not len(lines):
            return lines
        # From the top down, some at a time: what upper covers hide is not tested against lower ones.
        cover_marks = self.shapes.mark_of[covers]
        for high in range(len(covers), 0, -_COVERS_AT_A_TIME):
            low = max(0, high - _COVERS_AT_A_TIME)
            some = covers[low:high]
            near = order < cover_marks[low:high].max()
            if near.any():
                kept, kept_order = self._without(lines.select(near), order[near], some)
                rest = lines.select(~near)
                lines, order = together((kept, rest)), np.concatenate((kept_order, order[~near]))
            if not len(lines):
                break
        return lines

    def _without(self, lines: Polylines, order: Ints, covers: Ints) -> tuple[Polylines, Ints]:
        """Strokes without parts hidden by covers, in portions that fit into memory; unchanged if that is too much
        work.
        """
        parts = Segmented(lines)
        edges = np.flatnonzero(np.isin(self.regions.shape, covers))
        expected = _expected_pairs(parts, self.boxes_of_edges(edges))
        if not self._affords(expected):
            return lines, order
        portions = min(len(lines), math.ceil(expected / _PAIRS_AT_A_TIME)) or 1
        if portions == 1:
            return self._uncovered_portion(lines, order, covers)
        kept = []
        for some in np.array_split(np.arange(len(lines)), portions):
            chosen = np.zeros(len(lines), dtype=bool)
            chosen[some] = True
            kept.append(self._uncovered_portion(lines.select(chosen), order[some], covers))
        return together([part for part, _ in kept]), np.concatenate([part_order for _, part_order in kept])

    def can_compare(self, parts: Segmented, boxes: Floats) -> bool:
        """Whether segments can be tested against boxes in bounded time and memory; notes it if not."""
        expected = _expected_pairs(parts, boxes)
        return self._affords(expected if expected <= _MOST_AT_ONCE else math.inf)

    def _affords(self, expected: float) -> bool:
        if expected > self._pairs_left:
            self.shapes.placed.painting.notes.add(
                "too many shapes overlap to find the hidden lines; hidden lines are drawn as well"
            )
            return False
        self._pairs_left -= expected
        return True

    def boxes_of_edges(self, edges: Ints) -> Floats:
        """(k, 4) bounding boxes of edges of regions."""
        return boxes_of(self.regions.begin[edges], self.regions.end[edges])

    def _uncovered_portion(self, lines: Polylines, order: Ints, covers: Ints) -> tuple[Polylines, Ints]:
        regions, shapes = self.regions, self.shapes
        mark_of_cover = shapes.mark_of[covers]
        back_to = np.array([self.marks[mark].back_to for mark in mark_of_cover], dtype=np.int64)
        # The last mark whose cover has this edge, as its own or as its clip's.
        latest = np.full(len(regions), -1, dtype=np.int64)
        latest[covers] = mark_of_cover
        for mark in mark_of_cover:
            for region in self.regions_of(self.marks[mark].clip):
                latest[region] = max(latest[region], mark)
        parts = Segmented(lines)
        edges = np.flatnonzero(latest[regions.shape] >= 0)
        pair, edge = self.pairs(parts, edges)
        keep = latest[regions.shape[edge]] > order[parts.stroke[pair]]
        runs, along, along_region = self._runs(parts, pair[keep], edge[keep])
        run_order = order[runs.stroke]
        tree = shapely.STRtree(shapely.box(*regions.boxes_mm[covers].T))
        point, cover = tree.query(shapely.points(runs.middle))
        keep = (mark_of_cover[cover] > run_order[point]) & (back_to[cover] <= run_order[point])
        point, cover = point[keep], cover[keep]
        inside = regions.inside(covers[cover], runs.middle[point])
        if len(along):
            codes = np.unique(along * len(regions) + along_region)
            on_edge = _member(codes, point * len(regions) + covers[cover])
            inside = np.where(on_edge, shapes.inked_edge[covers[cover]], inside)
        point, cover = point[inside], cover[inside]
        clip = np.array([self.marks[mark].clip for mark in mark_of_cover], dtype=np.int64)[cover]
        through = np.ones(len(point), dtype=bool)
        for number in np.unique(clip[clip >= 0]):
            at = clip == number
            through[at] = self.inside_clip(int(number), runs.middle[point[at]])
        seen = np.ones(len(runs), dtype=bool)
        seen[point[through]] = False
        seen = runs.smoothed(seen, self.pen_mm / 3, self.pen_mm / 3)
        kept, first, _ = runs.kept(seen)
        return kept, run_order[first]


def _expected_pairs(parts: Segmented, boxes: Floats) -> float:
    """Estimated number of intersecting segments and boxes, from a sample."""
    if not len(parts.at) or not len(boxes):
        return 0.0
    sample = np.linspace(0, len(parts.at) - 1, min(_SAMPLES, len(parts.at))).astype(np.int64)
    found = 0
    for low_x, low_y, high_x, high_y in boxes_of(parts.begin[sample], parts.end[sample]):
        across = (boxes[:, 0] <= high_x) & (boxes[:, 2] >= low_x)
        found += int((across & (boxes[:, 1] <= high_y) & (boxes[:, 3] >= low_y)).sum())
    return found / len(sample) * len(parts.at)


def _member(sorted_codes: Ints, codes: Ints) -> Bools:
    """(n,) bool: membership in sorted codes."""
    if not len(sorted_codes):
        return np.zeros(len(codes), dtype=bool)
    at = np.minimum(np.searchsorted(sorted_codes, codes), len(sorted_codes) - 1)
    return np.asarray(sorted_codes[at] == codes)
