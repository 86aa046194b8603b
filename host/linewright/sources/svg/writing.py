"""`Writing`: text as marks: letters in the paint of their span, and lines along them."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import groupby, pairwise
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.marks import Line, Paint
from linewright.sources.painting.matrices import IDENTITY, apply, multiply
from linewright.sources.painting.segments import Segments
from linewright.sources.svg import shapes
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.characters import Collector, Span, span_of, with_parents
from linewright.sources.svg.document import local_name
from linewright.sources.svg.outlines import SHAPES, Outlines
from linewright.sources.svg.place import Place
from linewright.sources.svg.scene import SvgScene, box_around, for_us, shown
from linewright.sources.svg.text_layout import Layout, PlacedCluster, Rail, rail_of, transformed
from linewright.sources.svg.typesetting import STEM_EM


class Writing:
    """Draws text."""

    def __init__(self, scene: SvgScene, outlines: Outlines) -> None:
        self._scene = scene
        self._outlines = outlines

    def text(self, element: Element, declared: Declared, place: Place, *, plain: bool = False) -> None:
        """Draw text; ``plain``: as areas, for clips."""
        scene = self._scene
        collector = Collector(
            scene.document, scene.cascade, place.viewport, scene.style, lambda e, d: shown(d) and for_us(e)
        )
        declared = with_parents(element, declared, scene.document, scene.cascade)
        whole = span_of(element, declared, place.style, place.viewport)
        whole.decorations = (*self._decorations_around(element, place), *whole.decorations)
        characters = collector.collect(element, whole)
        layout = Layout(scene.typesetter, lambda path: self._rail(path.target, place), place.viewport, outlines=plain)
        placed = layout.placed(characters, place.style.font.writing)
        boxes = [self._box_of_letter(one, plain) for one in placed if one.matrix is not None]
        around = box_around(boxes)
        before = len(scene.painting.marks)
        for span, run in groupby(placed, key=lambda one: one.span):
            self._words(list(run), span, replace(place, style=span.style), around)
        if around is not None and len(scene.painting.marks) > before:
            scene.boxes.append((len(scene.painting.marks) - 1, around, place.matrix))
        elif around is not None:
            scene.unseen.append((around, place.matrix))

    def _decorations_around(self, element: Element, place: Place) -> tuple[tuple[str, Span], ...]:
        """Text decorations of enclosing elements, outermost first (CSS Text Decoration 3, 2.1)."""
        scene = self._scene
        found: tuple[tuple[str, Span], ...] = ()
        at = scene.document.parent(element)
        while at is not None:
            declared = scene.cascade.declared(at)
            if "text-decoration" in declared:
                style = scene.style(declared, scene.style_around(at))
                found = (*span_of(at, declared, style, place.viewport).decorations, *found)
            at = scene.document.parent(at)
        return found

    def _box_of_letter(self, one: PlacedCluster, outlines: bool) -> Box:
        """Bounding box of a cluster by its font's metrics, in text units."""
        assert one.matrix is not None
        metrics = self._scene.typesetter.metrics(one.span.style.font, outlines)
        corners = [apply(one.matrix, x, y) for x in (0.0, one.width) for y in (-metrics.ascent, -metrics.descent)]
        xs, ys = [p[0] for p in corners], [p[1] for p in corners]
        return (min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))

    def _words(self, letters: list[PlacedCluster], span: Span, place: Place, around: Box | None) -> None:
        """Draw the letters of one span, and the lines along them."""
        if not place.style.visible:
            return
        for name, asking in span.decorations:
            if name != "line-through":
                self._decoration(letters, name, asking, place, around)
        fill, line = self._outlines.paints(span.element, place, lambda: around)
        segments = self._scene.painting.segments
        for filled in (True, False):
            rows, outlines = len(segments), len(segments.starts)
            for one in letters:
                if one.cluster.filled is filled and one.matrix is not None:
                    for part, scale, dx, dy in one.cluster.parts:
                        own = multiply(one.matrix, (scale, 0.0, 0.0, scale, dx, dy))
                        transformed(part, own, segments)
            if len(segments.starts) == outlines:
                continue
            self._scene.count_segments(span.element)
            if filled:
                self._outlines.mark(span.element, place, fill, line, rows, outlines, even_odd=False)
            else:
                ink = fill if isinstance(fill, Paint) else line.paint if isinstance(line, Line) else None
                width = STEM_EM * span.style.font_px
                thin = None if ink is None else Line(ink, width, "round", "round")
                self._outlines.mark(span.element, place, None, thin, rows, outlines)
        for name, asking in span.decorations:
            if name == "line-through":
                self._decoration(letters, name, asking, place, around)

    def _decoration(
        self, letters: list[PlacedCluster], name: str, asking: Span, place: Place, around: Box | None
    ) -> None:
        """Draw a line along letters, with thickness and paint of the element that requests it."""
        metrics = self._scene.typesetter.metrics(asking.style.font, False)
        at = {"underline": metrics.underline, "line-through": metrics.strike, "overline": metrics.ascent}[name]
        segments = self._scene.painting.segments
        rows, outlines = len(segments), len(segments.starts)
        single = not self._scene.wish.words.outlines
        middle = (metrics.ascent + metrics.descent) / 2.0
        strips: list[list[list[tuple[float, float]]]] = []  # upper and lower points of lines without gaps
        for one in letters:
            if one.matrix is None or one.cluster.advance <= 0.0:
                continue
            width, half = one.width, 0.0 if single else metrics.thickness / 2
            left = [_along(one, 0.0, -at + side, middle) for side in (-half, half)]
            right = [_along(one, width, -at + side, middle) for side in (-half, half)]
            near = 1e-6 * max(width, 1.0)
            if not strips or any(math.dist(a, b) > near for a, b in zip(strips[-1][-1], left, strict=True)):
                strips.append([left])
            strips[-1].append(right)
        for strip in strips:
            upper, lower = [side[0] for side in strip], [side[1] for side in strip]
            ring = upper if single else [*upper, *reversed(lower), upper[0]]
            segments.begin()
            for begin, end in pairwise(ring):
                segments.line(*begin, *end)
            if not single:
                segments.close()
        if len(segments.starts) == outlines:
            return
        painted = replace(place, style=asking.style)
        fill, line = self._outlines.paints(asking.element, painted, lambda: around)
        if single:
            ink = fill if isinstance(fill, Paint) else None
            thin = None if ink is None else Line(ink, metrics.thickness)
            self._outlines.mark(asking.element, painted, None, thin, rows, outlines)
        else:
            self._outlines.mark(asking.element, painted, fill, line, rows, outlines, even_odd=False)

    def _rail(self, target: Element, place: Place) -> Rail | None:
        """The path of a text, finely flattened, in text units."""
        name = local_name(target)
        if name != "path" and name not in SHAPES:
            return None
        declared = self._scene.cascade.declared(target)
        segments = Segments()
        try:
            self._outlines.draw(target, name, declared, place, segments)
        except shapes.BadShape:
            return None
        if not len(segments):
            return None
        own = self._scene.transformed(target, declared, replace(place, matrix=IDENTITY)).matrix
        return rail_of(segments, own)


def _along(one: PlacedCluster, along: float, below: float, middle: float) -> tuple[float, float]:
    """A point relative to a letter: distance along the writing, and below its baseline.

    ``middle`` : height above the baseline for letters centred in a column.
    """
    assert one.matrix is not None
    return apply(one.matrix, -below - middle, along) if one.cluster.upright else apply(one.matrix, along, below)
