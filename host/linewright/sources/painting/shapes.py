"""`Shapes`: the regions of a placed painting: fillings of its marks, and areas covered by their lines."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Ints, Polylines, polylines_of, together
from linewright.sources.painting.hulls import hull
from linewright.sources.painting.inks import is_paper
from linewright.sources.painting.marks import Mark, Paint
from linewright.sources.painting.matrices import mean_scale, multiply, scaling
from linewright.sources.painting.placed import Placed
from linewright.sources.painting.regions import Bools, Regions, pairs_of_boxes

HULL_SHARE = 0.09
"""Width of a filled shape divided by its size, below which it looks like a line: 1/24 to 1/12 in icons."""

_LEAST_MM = 1e-3
"""Area divided by edge length; a thinner region is a line."""


class Shapes:
    """The regions of a painting, numbered.

    Parameters
    ----------
    dashed : returns the stroked polylines of a mark, mm.
    lines_cover_from_mm : lines of at least this width hide what is below them; paper-coloured ones always do.
    wide_mm : lines of at least this width are areas on which paper-coloured shapes may be visible.

    Attributes
    ----------
    regions : all regions; fillings first, in paint order.
    mark_of : (r,) int64: mark of each region.
    covers : regions that hide what is below, in paint order.
    inked_edge : (r,) bool: a pen draws along its edge, so lines along it need not be drawn again.
    """

    def __init__(
        self,
        placed: Placed,
        dashed: Callable[[int], Polylines],
        *,
        lines_cover_from_mm: float,
        wide_mm: float,
        tolerance_mm: float,
        hides: bool,
    ) -> None:
        self.placed = placed
        marks = placed.painting.marks
        there = np.diff(placed.first) > 0
        filled = np.array([mark.fill is not None for mark in marks], dtype=np.bool_) & there
        fill_marks = np.flatnonzero(filled)
        self._fill = np.full(len(marks), -1, dtype=np.int64)
        self._fill[fill_marks] = np.arange(len(fill_marks))
        rings = placed.lines.select(filled[placed.lines.owner])
        rings = Polylines(rings.points_mm, rings.starts, self._fill[rings.owner])
        self._hull: dict[int, int] = {}
        hull_marks: list[int] = []
        strokes: list[Floats] = []
        owners: list[int] = []
        below = _below_paper(placed, wide_mm) if hides else set()
        covering_lines: list[bool] = []
        for number, mark in enumerate(marks):
            if mark.line is None or not there[number]:
                continue
            covers_below = hides and _line_covers(mark, placed.zoom, lines_cover_from_mm)
            if not (mark.silent or covers_below or number in below):
                continue
            matrix = multiply(scaling(placed.zoom, placed.zoom), mark.matrix)
            found = hull(dashed(number), mark.line, matrix, tolerance_mm)
            if found:
                self._hull[number] = len(fill_marks) + len(hull_marks)
                strokes += found
                owners += [len(fill_marks) + len(hull_marks)] * len(found)
                hull_marks.append(number)
                covering_lines.append(covers_below)
        rings = together((rings, polylines_of(strokes, owners)))
        even_odd = [marks[number].even_odd for number in fill_marks] + [True] * len(hull_marks)
        self._rings = rings
        self._first_ring = np.searchsorted(rings.owner, np.arange(len(even_odd) + 1))
        self.regions = Regions(rings, np.array(even_odd, dtype=np.bool_))
        self.mark_of: Ints = np.concatenate((fill_marks, np.array(hull_marks, dtype=np.int64))).astype(np.int64)
        # A pattern's filling may continue beyond its tile, so no pen draws at the tile's edge.
        tiles = [placed.painting.in_tile(marks[number].clip) for number in fill_marks]
        inked = [_has_inked_edge(marks[n]) and not tile for n, tile in zip(fill_marks, tiles, strict=True)]
        inked += [False] * len(hull_marks)
        self.inked_edge: Bools = np.array(inked, dtype=np.bool_)
        covering = [hides and _fill_covers(marks[number]) for number in fill_marks]
        covering += covering_lines
        # A region without area hides nothing, though its edge coincides with a line.
        self._thick = self._are_thick()
        covers = np.flatnonzero(np.array(covering, dtype=np.bool_) & self._thick)
        self.covers: Ints = covers[np.argsort(self.mark_of[covers], kind="stable")]

    def _are_thick(self) -> Bools:
        """(r,) regions with more area than a line."""
        thick = self.regions.thickness_mm() > _LEAST_MM
        # Lobes of a self-crossing ring with opposite directions may cancel.
        for region in np.flatnonzero(~thick & (np.diff(self.regions.first) >= 4)).tolist():
            rings = [ring for ring in self.rings_of(region) if len(ring) >= 4]
            area = sum(shapely.make_valid(shapely.Polygon(ring)).area for ring in rings)
            thick[region] = area > _LEAST_MM * self.regions.length_mm[region]
        return thick

    def of_mark(self, mark: int) -> tuple[int, ...]:
        """The regions of a mark: filling, line."""
        found = () if self._fill[mark] < 0 else (int(self._fill[mark]),)
        return (*found, self._hull[mark]) if mark in self._hull else found

    def rings_of(self, region: int) -> list[Floats]:
        """The rings of a region, closed."""
        rings = self._rings
        found = []
        for i in range(self._first_ring[region], self._first_ring[region + 1]):
            ring = rings.points_mm[rings.starts[i] : rings.starts[i + 1]]
            found.append(ring if (ring[0] == ring[-1]).all() else np.concatenate((ring, ring[:1])))
        return found

    def hull_share(self, marks: Ints) -> float:
        """Share of all filled edges that belongs to shapes much thinner than their size."""
        regions = self._fill[marks]
        sides = self.regions.boxes_mm[regions, 2:] - self.regions.boxes_mm[regions, :2]
        # A hull of width w and length l has an area of w l and an edge of 2 l.
        width = 2.0 * self.regions.thickness_mm(net=True)[regions]
        edge = self.regions.length_mm[regions]
        thin = width < HULL_SHARE * sides.max(axis=1, initial=0.0)
        return float(edge[thin].sum() / edge.sum()) if len(marks) and edge.sum() > 0.0 else 0.0

    def hull_of(self, mark: int) -> int | None:
        """The region covered by a mark's line, if it has one."""
        return self._hull.get(mark)

    def encloses(self, mark: int) -> bool:
        """Whether a mark fills more than a line."""
        return bool(self._fill[mark] >= 0 and self._thick[self._fill[mark]])

    def fill_of(self, mark: int) -> int | None:
        """The region that a mark fills."""
        return None if self._fill[mark] < 0 else int(self._fill[mark])

    def paints_of(self, mark: int) -> list[tuple[int, Paint]]:
        """The regions of a mark with their paints, in paint order."""
        one = self.placed.painting.marks[mark]
        found = []
        if self._fill[mark] >= 0 and one.fill is not None:
            found.append((int(self._fill[mark]), one.fill))
        if mark in self._hull and one.line is not None:
            found.append((self._hull[mark], one.line.paint))
        return found


def _has_inked_edge(mark: Mark) -> bool:
    return not is_paper(mark.fill) or (mark.line is not None and not is_paper(mark.line.paint))


def _fill_covers(mark: Mark) -> bool:
    return not mark.silent and mark.fill is not None and mark.fill.opaque


def _below_paper(placed: Placed, wide_mm: float) -> set[int]:
    """Wide dark lines partly covered by later paper-coloured shapes, so that rims remain: roads on maps."""
    marks, lines = placed.painting.marks, placed.lines
    if not len(lines):
        return set()
    low, high = np.split(lines.boxes_mm(), 2, axis=1)
    dark, light = [], []
    for number, mark in enumerate(marks):
        if mark.silent or placed.first[number] == placed.first[number + 1] or mark.photograph is not None:
            continue
        if mark.line is not None and not is_paper(mark.line.paint):
            if mark.line.width * mean_scale(mark.matrix) * placed.zoom >= wide_mm:
                dark.append(number)
        elif (mark.line is not None and mark.line.paint.opaque) or (_fill_covers(mark) and is_paper(mark.fill)):
            light.append(number)
    if not dark or not light:
        return set()

    def boxes(numbers: list[int]) -> Floats:
        first, last = placed.first[numbers], placed.first[np.array(numbers) + 1]
        corners = [(*low[i:j].min(axis=0), *high[i:j].max(axis=0)) for i, j in zip(first, last, strict=True)]
        return np.array(corners)

    one, other = pairs_of_boxes(boxes(dark), boxes(light))
    over = np.array(light)[other] > np.array(dark)[one]
    return set(np.array(dark)[one[over]].tolist())


def _line_covers(mark: Mark, zoom: float, from_mm: float) -> bool:
    """Whether the area covered by a line hides what is below."""
    if mark.silent or mark.line is None or not mark.line.paint.opaque:
        return False
    return is_paper(mark.line.paint) or mark.line.width * mean_scale(mark.matrix) * zoom >= from_mm
