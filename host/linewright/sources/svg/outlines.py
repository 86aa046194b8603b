"""`Outlines`: shapes and paths as marks: geometry, fill, stroke and dashes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.marks import Line, Mark, Paint
from linewright.sources.painting.matrices import mean_scale
from linewright.sources.painting.segments import LINE, Segments
from linewright.sources.svg import shapes
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.document import line_of
from linewright.sources.svg.lengths import fraction, length_px
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.path_data import count_segments, parse_path
from linewright.sources.svg.place import Context, Pattern, PatternLine, Place
from linewright.sources.svg.scene import SHAPE_PAINT, SvgScene
from linewright.sources.svg.style import Style
from linewright.sources.svg.tiles import PatternTiles
from linewright.sources.svg.vertices import Vertex, vertices

SHAPES: Final[dict[str, Callable[[shapes.Attributes, Segments], str | None]]] = {
    "rect": shapes.draw_rect, "circle": shapes.draw_circle, "ellipse": shapes.draw_ellipse, "line": shapes.draw_line,
    "polyline": shapes.draw_polyline, "polygon": shapes.draw_polygon,
}  # fmt: skip
"""Drawing functions of the basic shapes."""


_PATTERN_FROM_PENS: Final = 3.0
"""Line width, in pens, above which a pattern is visible within the line."""


class Outlines:
    """Makes marks of shapes."""

    def __init__(self, scene: SvgScene, tiles: PatternTiles) -> None:
        self._scene = scene
        self._tiles = tiles
        # Flat paints by address of the style, opacity around and viewport; styles are kept, so addresses stay valid.
        self._flat: dict[tuple[int, float, tuple[float, float]], tuple[Style, Paint | None, Line | None]] = {}

    def shape(
        self,
        element: Element,
        name: str,
        declared: Declared,
        place: Place,
        markers: Callable[[Place, list[Vertex], Context], None],
    ) -> None:
        """Draw a shape; ``markers`` draws the markers at its vertices."""
        style = place.style
        has_markers = any(reference.lower() != NONE for reference in style.markers)
        if not style.visible or (style.fill == NONE and style.stroke == NONE and not has_markers):
            if self._scene.bounding:
                self._unseen(element, name, declared, place)
            return
        segments = self._scene.painting.segments
        rows_before, outlines_before = len(segments), len(segments.starts)
        try:
            problem = self.draw(element, name, declared, place, segments)
        except shapes.BadShape as bad:
            segments.drop(rows_before, outlines_before)
            self._scene.notes.add(f"<{name}> is not drawn: {bad}", line_of(element))
            return
        if problem is not None:
            self._scene.notes.add(f"<{name}>: {problem}; drawn up to there", line_of(element))
        self._scene.count_segments(element)
        if len(segments.starts) == outlines_before:
            return
        found = vertices(segments, outlines_before) if has_markers else []
        fill, line = self.paints(element, place, self._scene.box_of_new(rows_before))
        one_line = len(segments) == rows_before + 1 and segments.kinds[-1] == LINE
        if line is None and not isinstance(fill, Pattern) and one_line and fill is not None:
            self._scene.notes.add("a line without a stroke colour shows nothing and is not drawn", line_of(element))
            fill = None
        if not found:
            self.mark(element, place, fill, line, rows_before, outlines_before)
            return
        context = Context(fill, line.paint if isinstance(line, Line) else None if line is None else line.pattern)
        outline = segments.copied(rows_before, outlines_before)
        segments.drop(rows_before, outlines_before)
        for part in _in_order(fill, line, style.paint_order):
            if part is None:
                markers(place, found, context)
                continue
            rows, outlines = len(segments), len(segments.starts)
            segments.append(outline)
            self.mark(element, place, *part, rows, outlines)

    def _unseen(self, element: Element, name: str, declared: Declared, place: Place) -> None:
        """Record the box of an unpainted shape."""
        segments = self._scene.painting.segments
        rows, outlines = len(segments), len(segments.starts)
        try:
            self.draw(element, name, declared, place, segments)
            self._scene.count_segments(element)
            box = self._scene.box_of_new(rows)()
            if box is not None:
                self._scene.unseen.append((box, place.matrix))
        except shapes.BadShape:
            pass  # an invalid shape has no box
        segments.drop(rows, outlines)

    def mark(
        self,
        element: Element,
        place: Place,
        fill: Paint | Pattern | None,
        line: Line | PatternLine | None,
        rows: int,
        outlines: int,
        even_odd: bool | None = None,
    ) -> None:
        """Make a mark of the outlines since ``outlines``, after the contents of its patterns."""
        painting, segments = self._scene.painting, self._scene.painting.segments
        if fill is None and line is None:
            segments.drop(rows, outlines)
            return
        mark = Mark(
            place.matrix,
            fill if isinstance(fill, Paint) else None,
            line if isinstance(line, Line) else None,
            place.style.even_odd if even_odd is None else even_odd,
            place.clip,
            place.layer,
            place.back_to,
            origin=element,
            line_number=line_of(element),
        )
        if not isinstance(fill, Pattern) and not isinstance(line, PatternLine):
            painting.add(mark)
            return
        outline = segments.copied(rows, outlines)
        if isinstance(fill, Pattern):
            region = painting.add(replace(mark, fill=SHAPE_PAINT, line=None, silent=True))
            self._tiles.draw(element, place, fill, region)
        elif fill is not None:
            painting.add(mark)
        else:
            segments.drop(rows, outlines)
        if line is None:
            return
        segments.append(outline)
        if isinstance(line, Line):
            painting.add(replace(mark, fill=None))
            return
        region = painting.add(replace(mark, fill=None, line=line.line, silent=True))
        self._tiles.draw(element, place, line.pattern, region)

    def paints(
        self, element: Element, place: Place, box: Callable[[], Box | None]
    ) -> tuple[Paint | Pattern | None, Line | PatternLine | None]:
        """Fill and stroke of a shape.

        Parameters
        ----------
        box : returns the shape's bounding box, for paints that refer to it.
        """
        style = place.style
        key = (id(style), place.alpha, place.viewport)
        if (known := self._flat.get(key)) is not None:
            return known[1:]
        fill, line = self._paints(element, place, box)
        refers = any(word in (style.fill + style.stroke).lower() for word in ("url", "context"))
        if not refers and style.dashes == NONE and not isinstance(fill, Pattern) and not isinstance(line, PatternLine):
            self._flat[key] = style, fill, line
        return fill, line

    def _paints(
        self, element: Element, place: Place, box: Callable[[], Box | None]
    ) -> tuple[Paint | Pattern | None, Line | PatternLine | None]:
        style = place.style
        needs = "url" in style.fill.lower() or "url" in style.stroke.lower()
        around = box() if needs else None
        fill = self._scene.servers.paint(style.fill, style.fill_alpha, place, around, line_of(element))
        stroke = self._scene.servers.paint(style.stroke, style.stroke_alpha, place, around, line_of(element))
        if stroke is None:
            return fill, None
        width = length_px(style.stroke_width, "other", place.viewport, style.font_px)
        if width is not None and width <= 0.0:
            return fill, None
        pattern = stroke if isinstance(stroke, Pattern) else None
        paint = SHAPE_PAINT if isinstance(stroke, Pattern) else stroke
        line = Line(paint, 1.0 if width is None else width, style.cap, style.join, style.miter_limit)
        if style.dashes != NONE:
            line = self._dashed(element, line, place)
        if pattern is None:
            return fill, line
        wide_mm = line.width * mean_scale(place.matrix) * self._scene.zoom
        if wide_mm >= _PATTERN_FROM_PENS * self._scene.wish.pen_width_mm:
            return fill, PatternLine(line, pattern)
        self._scene.notes.add("a thin line painted with a pattern is drawn black", line_of(element))
        return fill, replace(line, paint=Paint("#000000", pattern.alpha * place.alpha, None, False))

    def draw(self, element: Element, name: str, declared: Declared, place: Place, segments: Segments) -> str | None:
        """Append a shape's geometry; returns an error message after drawing the valid part.

        Raises
        ------
        shapes.BadShape
            Nothing of it can be drawn.
        """
        most = self._scene.limits.segments
        if name == "path":
            data = element.get("d", "")
            self._scene.count_segments(element, count_segments(data, most))
            return parse_path(data, segments, most_segments=most)
        if name in ("polyline", "polygon"):
            corners = element.get("points", "").replace(",", " ")  # which may stand in any number
            self._scene.count_segments(element, count_segments(f"M{corners}", most))
        values = {**element.attrib, **declared}
        return SHAPES[name](shapes.Attributes(values, place.viewport, place.style.font_px), segments)

    def _dashed(self, element: Element, line: Line, place: Place) -> Line:
        style = place.style
        lengths = [
            length_px(part, "other", place.viewport, style.font_px) for part in style.dashes.replace(",", " ").split()
        ]
        pattern = tuple(length for length in lengths if length is not None and length >= 0.0)
        if len(pattern) != len(lengths) or not pattern:
            self._scene.notes.add(
                f"stroke-dasharray '{style.dashes[:40]}' is not valid; drawn unbroken", line_of(element)
            )
            return line
        if sum(pattern) <= 0.0:
            return line
        stated = fraction(element.get("pathLength", "")) if element.get("pathLength") else None
        offset = length_px(style.dash_offset, "other", place.viewport, style.font_px) or 0.0
        return replace(
            line,
            dashes=pattern * 2 if len(pattern) % 2 else pattern,
            dash_offset=offset,
            path_length=stated if stated is not None and stated > 0.0 else None,
        )


def _in_order(
    fill: Paint | Pattern | None, line: Line | PatternLine | None, order: tuple[str, ...]
) -> list[tuple[Paint | Pattern | None, Line | PatternLine | None] | None]:
    """Parts painted in order: fill, line, and None for the markers."""
    at = order.index("markers")
    parts: list[tuple[Paint | Pattern | None, Line | PatternLine | None] | None] = [None]
    for names, place in ((order[:at], 0), (order[at + 1 :], len(parts))):
        part = fill if "fill" in names else None, line if "stroke" in names else None
        if part != (None, None):
            parts.insert(place if place == 0 else len(parts), part)
    return parts
