"""`strokes_of`: the strokes of a painting, at its size on the sheet.

It draws the centre line of every coloured line, and the edge of every filling without a line. Fillings are left blank,
or shaded on request; then lines wider than the pen are filled at their width. Covered parts are not drawn unless
requested, and paper-coloured shapes cover without being drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import SourceError
from linewright.sources.painting.bounds import bounds
from linewright.sources.painting.covered import covered
from linewright.sources.painting.dashes import cut_dashes, dash_intervals, user_lengths
from linewright.sources.painting.edges import closed, edges
from linewright.sources.painting.equal_paint import told_apart
from linewright.sources.painting.fading import faded
from linewright.sources.painting.flatten import (
    Floats,
    Ints,
    Polylines,
    merge_repeats,
    polylines_of,
    rearranged,
    together,
)
from linewright.sources.painting.hulls import hull
from linewright.sources.painting.inks import is_paper, veils
from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.marks import Mark, Paint, Painting
from linewright.sources.painting.matrices import Matrix, mean_scale, multiply, scaling
from linewright.sources.painting.overdrawn import without_overdrawn
from linewright.sources.painting.photographs import photographed
from linewright.sources.painting.placed import Curves, Placed, on_page, placed, too_many_points
from linewright.sources.painting.runs import Segmented
from linewright.sources.painting.shading import FillHatching, Shading
from linewright.sources.painting.shapes import Shapes
from linewright.sources.painting.sight import Sight
from linewright.sources.painting.steps import steps
from linewright.sources.painting.underlay import over
from linewright.sources.picture import Picture, Wish

_LEAST_SIDE_MM: Final = 1.0
"""Smallest side of a picture without a stated size, because a page needs an area even if all lines lie on one edge."""

_ALONG: Final = 3.0
"""In line widths: an edge of something light along a wide line is drawn if it is longer; a shorter one is only a
crossing."""

FILLED_FROM_PENS: Final = 1.5
"""Line width, in pens, above which one stroke is too thin for it: half a pen is missing."""

_LOOSE: Final = "unlayered"
"""Pen name for marks outside of all layers."""

# CSS 2.1, section 4.3.6: the basic colour keywords (aqua and fuchsia under the common names of inks).
_NAMES: Final = {
    "#000000": "black", "#c0c0c0": "silver", "#808080": "grey", "#ffffff": "white", "#800000": "maroon",
    "#ff0000": "red", "#800080": "purple", "#ff00ff": "magenta", "#008000": "green", "#00ff00": "lime",
    "#808000": "olive", "#ffff00": "yellow", "#ffa500": "orange", "#000080": "navy", "#0000ff": "blue",
    "#008080": "teal", "#00ffff": "cyan",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Ink:
    """Mark and colour of some strokes."""

    mark: int
    colour: str


def strokes_of(
    painting: Painting, wish: Wish, *, hatching: FillHatching | None = None, limits: FileLimits | None = None
) -> Picture:
    """The strokes of a painting.

    Parameters
    ----------
    wish : area on the sheet, pen, and options.
    hatching : how fillings are shaded; None: only their edges are drawn.

    Raises
    ------
    SourceError
        Nothing is left to draw, or a limit is exceeded.
    """
    limits = limits or FileLimits()
    on_sheet, laid = laid_out(painting, wish, limits)
    return Artist(laid, wish, hatching, limits).picture(on_sheet)


def laid_out(painting: Painting, wish: Wish, limits: FileLimits) -> tuple[tuple[float, float], Placed]:
    """Size on the sheet, mm, and the flattened painting.

    Raises
    ------
    SourceError
        A limit is exceeded.
    """
    curves = on_page(painting, limits)
    width_mm, height_mm = _size(painting, curves)
    on_sheet = wish.on_sheet_mm(width_mm, height_mm)
    return on_sheet, placed(painting, curves, on_sheet[0] / width_mm, wish.tolerance_mm, limits)


def _size(painting: Painting, curves: Curves) -> tuple[float, float]:
    """Size of the page, mm; that of its contents if the file states none."""
    if painting.size_stated:
        if not math.isfinite(painting.width_mm + painting.height_mm):
            raise SourceError(
                f"its page is {painting.width_mm:g} x {painting.height_mm:g} mm", hint="its coordinates are damaged"
            )
        return max(painting.width_mm, _LEAST_SIDE_MM), max(painting.height_mm, _LEAST_SIDE_MM)
    owner = np.repeat(np.array(painting.owner, dtype=np.int64), np.diff(curves.starts))
    loud = ~np.array([mark.silent for mark in painting.marks], dtype=bool)[owner]
    box = bounds(curves.kinds[loud], curves.rows[loud])
    if box is None:
        return painting.width_mm, painting.height_mm
    reach = max(box[0] + box[2], 0.0), max(box[1] + box[3], 0.0)
    painting.notes.add(f"the file states no size; its lines reach {reach[0]:.4g} x {reach[1]:.4g} mm from the origin")
    return max(reach[0], _LEAST_SIDE_MM), max(reach[1], _LEAST_SIDE_MM)


class Artist:
    """Makes the strokes of one placed painting."""

    def __init__(self, laid: Placed, wish: Wish, hatching: FillHatching | None, limits: FileLimits) -> None:
        self.laid = laid
        self.painting = laid.painting
        self.marks = laid.painting.marks
        self.notes = laid.painting.notes
        self.wish = wish
        self.hatching = hatching
        self.limits = limits
        self.inks: list[_Ink] = []
        self.points_left: float = limits.vertices - len(laid.lines.points_mm)
        self.pen_mm = wish.pen_width_mm
        self.shapes = Shapes(
            laid,
            self._stroked,
            lines_cover_from_mm=FILLED_FROM_PENS * self.pen_mm if hatching is not None else math.inf,
            wide_mm=FILLED_FROM_PENS * self.pen_mm,
            tolerance_mm=wish.tolerance_mm,
            hides=not wish.see_through,
        )
        self.sight = Sight(self.shapes, self.pen_mm)

    def lines_alone(self) -> tuple[Polylines, list[str]]:
        """The visible lines without anything of fillings, and the colour of each."""
        lines = self._clipped(self._lines())
        drawn = self.sight.uncovered(lines, self._order(lines))
        return drawn, [self.inks[owner].colour for owner in drawn.owner.tolist()]

    def picture(self, size_mm: tuple[float, float]) -> Picture:
        """All visible strokes."""
        lines, edges_seen = self._clipped(self._lines()), self._edges()
        if not self.wish.see_through:
            edges_seen = without_overdrawn(edges_seen, self._order(edges_seen), lines, self._order(lines), self.sight)
        parts = [lines, edges_seen]
        if self.hatching is not None:
            parts.append(self._clipped(self._shading(self.hatching)))
        parts.append(self._clipped(self._steps()))
        parts.append(self._clipped(self._paper_edges()))
        parts.append(self._clipped(self._photographs()))
        drawn = together(parts)
        order = self._order(drawn)
        sequence = np.argsort(order, kind="stable")
        drawn = rearranged(drawn, sequence)
        drawn = self.sight.uncovered(drawn, order[sequence])
        drawn = rearranged(drawn, np.argsort(self._order(drawn), kind="stable"))
        if not len(drawn):
            raise self.nothing()
        pen, pens = self._pens(drawn)
        covers = tuple(covered(self.sight)) if self.wish.covers else ()
        return Picture(Drawing(drawn.points_mm, drawn.starts, pen, pens), *size_mm, self.notes.texts(), covers)

    def _matrix(self, mark: Mark) -> Matrix:
        """Own units to mm on the sheet."""
        return multiply(scaling(self.laid.zoom, self.laid.zoom), mark.matrix)

    def _seen(self, mark: Mark) -> bool:
        """Whether the line of a mark is drawn."""
        return mark.line is not None and not mark.silent and (self.wish.see_through or not is_paper(mark.line.paint))

    def _fill_seen(self, mark: Mark) -> bool:
        return (
            mark.fill is not None
            and not mark.silent
            and mark.photograph is None
            and (self.wish.see_through or not is_paper(mark.fill))
        )

    def _hull_is_filled(self, mark: Mark) -> bool:
        """Whether a line is wide enough to be filled at its width."""
        return (
            self.hatching is not None
            and self._seen(mark)
            and mark.line is not None
            and mark.line.width * mean_scale(mark.matrix) * self.laid.zoom >= FILLED_FROM_PENS * self.pen_mm
        )

    def _ink(self, mark: int, colour: str) -> int:
        self.inks.append(_Ink(mark, colour))
        return len(self.inks) - 1

    def _order(self, lines: Polylines) -> Ints:
        """The mark of each stroke."""
        return np.array([ink.mark for ink in self.inks], dtype=np.int64)[lines.owner]

    def _lines(self) -> Polylines:
        """Centre lines of all lines, with dashes cut."""
        ink_of = np.full(len(self.marks), -1, dtype=np.int64)
        dashed = np.zeros(len(self.marks), dtype=bool)
        dots = np.zeros(len(self.marks), dtype=bool)
        for number, mark in enumerate(self.marks):
            if self._seen(mark) and mark.line is not None and not self._hull_is_filled(mark):
                ink_of[number] = self._ink(number, mark.line.paint.colour)
                dashed[number] = bool(mark.line.dashes)
                dots[number] = mark.line.cap != "butt"
        lines = self.laid.lines
        drawn = ink_of[lines.owner] >= 0
        parts = [lines.select(drawn & ~dashed[lines.owner])]
        parts += [self._stroked(int(number)) for number in np.flatnonzero(dashed)]
        found = together(parts)
        single = np.diff(found.starts) == 1
        invisible = single & ~dots[found.owner]
        if invisible.any():
            first = self.marks[found.owner[np.flatnonzero(invisible)[0]]]
            self.notes.add(
                "a line without length is invisible and not drawn; with round line caps it would be a dot",
                first.line_number,
                int(invisible.sum()),
            )
            found = found.select(~invisible)
        found = faded(found, lambda mark: None if mark.line is None else mark.line.paint, self.sight, sides=False)
        if not self.wish.see_through:
            found = told_apart(found, self.sight, of_fill=False)
        return Polylines(found.points_mm, found.starts, ink_of[found.owner])

    def _stroked(self, number: int) -> Polylines:
        """The outlines stroked by a mark's line, with dashes cut."""
        lines = self.laid.of_mark(number)
        mark = self.marks[number]
        if mark.line is None or not mark.line.dashes:
            return lines
        line, matrix = mark.line, self._matrix(mark)
        pieces: list[Floats] = []
        for i in range(len(lines)):
            stroke = lines.points_mm[lines.starts[i] : lines.starts[i + 1]]
            if len(stroke) < 2:
                pieces.append(stroke)
                continue
            with np.errstate(over="ignore", invalid="ignore"):  # checked for NaN below
                along = user_lengths(stroke, matrix)
                length = float(along[-1])
                scale = length / line.path_length if line.path_length else 1.0
                pattern = [part * scale for part in line.dashes]
                period_mm = sum(pattern) / length * float(np.hypot(*np.diff(stroke, axis=0).T).sum())
            if not self.wish.tolerance_mm <= period_mm < math.inf:
                which = "finer than the tolerance" if period_mm < self.wish.tolerance_mm else "of infinite length"
                self.notes.add(f"dashes {which} are drawn as an unbroken line", mark.line_number)
                pieces.append(stroke)
                continue
            self._spend(2 * math.ceil(length / sum(pattern)) * len(pattern) // 2)
            intervals = dash_intervals(length, pattern, line.dash_offset * scale)
            pieces.extend(cut_dashes(stroke, along, intervals, dots=line.cap != "butt"))
        cut = polylines_of(pieces, [number] * len(pieces))
        return merge_repeats(cut, np.zeros(len(cut), dtype=bool))

    def _spend(self, points: float) -> None:
        self.points_left -= points
        if self.points_left < 0:
            raise too_many_points(self.limits.vertices - self.points_left, self.limits, self.painting.name)

    def _edges(self) -> Polylines:
        """Edges of fillings without a line of their own."""
        wanted = [number for number, mark in enumerate(self.marks) if self._fill_seen(mark)]
        wanted = [number for number in wanted if self.shapes.encloses(number)]
        if not wanted:
            return polylines_of([], [])
        lined = np.array([self._seen(self.marks[number]) for number in wanted], dtype=bool)
        numbers = np.array(wanted, dtype=np.int64)
        ink_of = np.full(len(self.marks), -1, dtype=np.int64)
        for number in wanted:
            fill = self.marks[number].fill
            assert fill is not None
            ink_of[number] = self._ink(number, fill.colour)
        found = edges(self.laid, self.sight, numbers, ~lined)
        found = faded(found, lambda mark: mark.fill, self.sight, sides=True)
        if not self.wish.see_through:
            found = told_apart(found, self.sight, of_fill=True)
        if self.hatching is None and not self.wish.words.outlines and self.shapes.hull_share(numbers[~lined]) > 0.5:
            self.notes.add(
                "most of its shapes look like the filled outlines of thick lines; --as centre-lines draws each line "
                "once"
            )
        closing = self._closing(numbers[lined])
        both = together((found, closing))
        return Polylines(both.points_mm, both.starts, ink_of[both.owner])

    def _closing(self, numbers: Ints) -> Polylines:
        """The straight edge that closes a filling whose outline is open."""
        strokes, owners = [], []
        for number in numbers.tolist():
            lines = self.laid.of_mark(number)
            for i in range(len(lines)):
                points = lines.points_mm[lines.starts[i] : lines.starts[i + 1]]
                # Collinear points enclose no area.
                x, y = (points - points[0]).T
                area = abs(float(x[:-1] @ y[1:] - x[1:] @ y[:-1])) / 2.0
                if area > self.pen_mm**2 and (points[0] != points[-1]).any():
                    strokes.append(points[[-1, 0]])
                    owners.append(number)
        found = polylines_of(strokes, owners)
        return self.sight.clipped(found, found.owner)[0] if len(found) else found

    def _shading(self, hatching: FillHatching) -> Polylines:
        """Lines inside of fillings, and inside of lines wider than the pen."""
        shading = Shading(hatching, self.laid.zoom)
        shaded: list[Floats] = []
        shaded_inks: list[int] = []
        outlines: list[Floats] = []
        outline_inks: list[int] = []
        for number, mark in enumerate(self.marks):
            if self.laid.first[number] == self.laid.first[number + 1]:
                continue
            jobs = []
            if self._fill_seen(mark) and mark.fill is not None:
                jobs.append((closed(self.laid.of_mark(number)), mark.even_odd, mark.fill))
            if self._hull_is_filled(mark) and mark.line is not None:
                # The edge of the ink must match the edge of the line, so the pen's centre is half its width inside.
                rings = hull(
                    self._stroked(number), mark.line, self._matrix(mark), self.wish.tolerance_mm, self.pen_mm / 2
                )
                if rings:
                    inside = polylines_of(rings, [number] * len(rings))
                    jobs.append((inside, True, mark.line.paint))
                    ink = self._ink(number, mark.line.paint.colour)
                    outlines += rings
                    outline_inks += [ink] * len(rings)
            for rings_of_job, even_odd, paint in jobs:
                self._spend(shading.expected_points(rings_of_job, paint))
                for colour, made in shading.shaded(rings_of_job, even_odd, paint).items():
                    shaded += made
                    shaded_inks += [self._ink(number, colour)] * len(made)
        return together((polylines_of(outlines, outline_inks), polylines_of(shaded, shaded_inks)))

    def _steps(self) -> Polylines:
        """Lines inside fillings where a gradient jumps."""
        seen = [number for number, mark in enumerate(self.marks) if self._fill_seen(mark)]
        found, colours = steps(self.sight, seen, self.wish.tolerance_mm)
        inks = [self._ink(mark, colour) for mark, colour in zip(found.owner.tolist(), colours, strict=True)]
        return Polylines(found.points_mm, found.starts, np.array(inks, dtype=np.int64))

    def _paper_edges(self) -> Polylines:
        """Edges of paper-coloured paint on dark fillings, in the filling's ink."""
        papers = [
            (int(region), int(self.shapes.mark_of[region]))
            for region in range(len(self.shapes.regions))
            if not self.shapes.inked_edge[region] and self._is_paper_region(int(region))
        ]
        dark = [region for region in range(len(self.shapes.regions)) if self._is_dark_region(region)]
        if not papers or not dark:
            return polylines_of([], [])
        return self._on_dark(papers, dark)

    def _is_paper_region(self, region: int) -> bool:
        mark = self.marks[self.shapes.mark_of[region]]
        if mark.silent:
            return False
        if self.shapes.fill_of(int(self.shapes.mark_of[region])) == region:
            return is_paper(mark.fill) and mark.photograph is None and mark.fill is not None and veils(mark.fill)
        return mark.line is not None and is_paper(mark.line.paint)

    def _is_dark_region(self, region: int) -> bool:
        number = int(self.shapes.mark_of[region])
        mark = self.marks[number]
        if self.shapes.fill_of(number) == region:
            return self._fill_seen(mark)
        return self._seen(mark)

    def _on_dark(self, papers: list[tuple[int, int]], dark: list[int]) -> Polylines:
        strokes: list[Floats] = []
        owners: list[int] = []
        for region, mark in papers:
            rings = self.shapes.rings_of(region)
            strokes += rings
            owners += [mark] * len(rings)
        lines = polylines_of(strokes, owners)
        found, below = over(lines, dark, self.sight)
        inks: dict[tuple[int, int], int] = {}
        owner = np.empty(len(found), dtype=np.int64)
        steps_mm = np.hypot(*np.diff(found.points_mm, axis=0, append=found.points_mm[-1:]).T)
        steps_mm[found.starts[1:] - 1] = 0.0
        lengths = np.add.reduceat(steps_mm, found.starts[:-1]) if len(found) else steps_mm
        chosen = np.ones(len(found), dtype=bool)
        for i, (mark, under) in enumerate(zip(found.owner.tolist(), below.tolist(), strict=True)):
            paint, width_mm = self._painted(under)
            chosen[i] = lengths[i] > _ALONG * width_mm and not self._is_middle(found, i, under, width_mm)
            if (mark, under) not in inks:
                inks[mark, under] = self._ink(mark, paint.colour)
            owner[i] = inks[mark, under]
        return Polylines(found.points_mm, found.starts, owner).select(chosen)

    def _is_middle(self, lines: Polylines, number: int, region: int, width_mm: float) -> bool:
        """Whether an edge runs along the centre of the wide line below it, which is drawn anyway."""
        if width_mm == 0.0:
            return False
        middle = self.laid.of_mark(int(self.shapes.mark_of[region]))
        stroke = lines.points_mm[lines.starts[number] : lines.starts[number + 1]]
        places = np.linspace(0.0625, 0.9375, 8)
        samples = shapely.line_interpolate_point(shapely.linestrings(stroke), places, normalized=True)
        parts = Segmented(middle)
        whole = shapely.multilinestrings(parts.as_lines(np.arange(len(parts.at))))
        return bool(np.median(shapely.distance(whole, samples)) < width_mm / 4.0)

    def _painted(self, region: int) -> tuple[Paint, float]:
        """The paint of a region, and its width, mm, if it is a line, else 0."""
        number = int(self.shapes.mark_of[region])
        mark = self.marks[number]
        if self.shapes.fill_of(number) == region:
            assert mark.fill is not None
            return mark.fill, 0.0
        assert mark.line is not None
        return mark.line.paint, mark.line.width * mean_scale(mark.matrix) * self.laid.zoom

    def _photographs(self) -> Polylines:
        """Embedded photographs by the methods for photographs, in place."""
        strokes: list[Floats] = []
        owners: list[int] = []
        for number, mark in enumerate(self.marks):
            if mark.photograph is None or mark.silent:
                continue
            for colour, made in photographed(mark, self._matrix(mark), self.wish, self.notes).items():
                ink = self._ink(number, colour)
                strokes += made
                owners += [ink] * len(made)
        self._spend(sum(map(len, strokes)))
        return polylines_of(strokes, owners)

    def _clipped(self, lines: Polylines) -> Polylines:
        """Strokes within their clips; notes how many the picture's edge cut."""
        if not len(lines):
            return lines
        order = self._order(lines)
        found, lost = self.sight.clipped(lines, order)
        framed = np.array([self._only_framed(mark.clip) for mark in self.marks], dtype=bool)
        cut = int((lost & framed[order]).sum())
        if cut:
            self.notes.add(
                f"{cut} line{'s reach' if cut > 1 else ' reaches'} over the edge of the picture and "
                f"{'are' if cut > 1 else 'is'} cut there"
            )
        return found

    def _only_framed(self, clip: int) -> bool:
        while clip >= 0:
            one = self.painting.clips[clip]
            if one.kind not in ("page", "frame"):
                return False
            clip = one.parent
        return True

    def _pens(self, lines: Polylines) -> tuple[Ints, tuple[Pen, ...]]:
        """Pen of each stroke, and the pens in order of first use."""
        number_of: dict[str, int] = {}
        pens: list[Pen] = []
        of_ink = np.full(len(self.inks), -1, dtype=np.int64)
        for owner in dict.fromkeys(lines.owner.tolist()):
            ink = self.inks[owner]
            layer = self.marks[ink.mark].layer
            by_colour = self.wish.pen_by == "colour"
            name = colour_name(ink.colour) if by_colour else self.painting.layers[layer] if layer >= 0 else _LOOSE
            if name not in number_of:
                number_of[name] = len(pens)
                pens.append(Pen(name, ink.colour))
            of_ink[owner] = number_of[name]
        return of_ink[lines.owner], tuple(pens)

    def nothing(self) -> SourceError:
        """The error for a picture without visible strokes."""
        reasons = "; ".join(self.notes.texts()[:3])
        paints = [mark.fill for mark in self.marks if not mark.silent and mark.fill is not None]
        paints += [mark.line.paint for mark in self.marks if not mark.silent and mark.line is not None]
        light = any(is_paper(paint) for paint in paints)
        hint = "turn texts into paths, trace photographs, and show hidden layers"
        if light and not self.wish.see_through:
            hint = "everything is as light as paper; --see-through draws it anyway"
        return SourceError(
            "nothing to draw: the picture has no visible lines" + (f" ({reasons})" if reasons else ""),
            where=self.painting.name,
            hint=hint,
        )


def colour_name(colour: str) -> str:
    """``"red"`` for ``#ff0000``; colours without a common name keep their digits."""
    return _NAMES.get(colour, colour)
