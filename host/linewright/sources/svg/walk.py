"""The walk over the element tree: what is drawn, where, in which colour; everything else is named in a warning."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element

import numpy as np

from linewright.errors import SourceError
from linewright.sources.svg import shapes
from linewright.sources.svg.affine import (
    IDENTITY,
    Box,
    Matrix,
    around,
    fit_view_box,
    flattens,
    multiply,
    parse_origin,
    parse_transform,
    parse_view_box,
    translation,
)
from linewright.sources.svg.cascade import Cascade, Declared
from linewright.sources.svg.clip import half_planes
from linewright.sources.svg.document import Document, href_of, line_of, local_name
from linewright.sources.svg.gradients import PaintServers
from linewright.sources.svg.harvest import Harvest, Outlines
from linewright.sources.svg.lengths import Axis, NotFinite, fraction, length_px
from linewright.sources.svg.limits import Limits, refuse
from linewright.sources.svg.notes import Notes
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.path_data import parse_path
from linewright.sources.svg.picture_size import picture_size_px
from linewright.sources.svg.segments import LINE, Segments
from linewright.sources.svg.style import INHERITED, Style, inherit_style
from linewright.units import MM_PER_PX

# The language of a picture's texts decides what <switch> shows. English, whatever the computer's own language is: the
# same file must give the same drawing everywhere.
_LANGUAGE = "en"

_SHAPES: dict[str, Callable[[shapes.Attributes, Segments], str | None]] = {
    "rect": shapes.draw_rect, "circle": shapes.draw_circle, "ellipse": shapes.draw_ellipse, "line": shapes.draw_line,
    "polyline": shapes.draw_polyline, "polygon": shapes.draw_polygon,
}  # fmt: skip
_ADVICE = {
    "text": "<text> is not drawn; turn it into paths in a drawing program",
    "image": "<image> is not drawn; trace it to lines first",
    "foreignObject": "<foreignObject> is not drawn",
    "script": "<script> is never run",
    **{name: f"<{name}> does not move here; the picture is drawn as it stands at the start"
       for name in ("animate", "animateTransform", "animateMotion", "set")},
}  # fmt: skip
_IGNORED_PROPERTIES = {
    "clip-path": "clip-path is not applied; the lines are drawn unclipped",
    "mask": "mask is not applied; the lines are drawn unmasked",
    "filter": "filter is not applied",
    **{f"marker-{place}": "markers (arrow heads) are not drawn" for place in ("start", "mid", "end")},
}
_IGNORED_NAMES = frozenset(_IGNORED_PROPERTIES)
# Elements the walk looks into; all others (definitions, metadata, foreign ones) show nothing by themselves.
_DRAWN = frozenset(("g", "a", "switch", "path", "use", "svg", "symbol")) | _SHAPES.keys() | _ADVICE.keys()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the walk stands: what the ancestors hand down."""

    matrix: Matrix
    viewport: tuple[float, float]
    style: Style
    layer: int = -1
    clip: int = -1
    uses: tuple[Element, ...] = ()  # targets of the use elements that led here


def harvest(document: Document, limits: Limits, notes: Notes) -> Harvest:
    """Everything drawable of a document, in document order.

    Raises
    ------
    SourceError
        For numbers that are not finite, a ``use`` that contains itself, and what passes the limits.
    """
    return _Walk(document, limits, notes).run()


class _Walk:
    def __init__(self, document: Document, limits: Limits, notes: Notes) -> None:
        self.document = document
        self.limits = limits
        self.notes = notes
        self.cascade = Cascade(document.root, document.sheets, notes)
        self.result = Harvest()
        self.visited = 0
        self.depth = 0
        self.copied: dict[Element, Declared] = {}
        # Thousands of elements are given the same few properties: their styles are computed once.
        self.styles: dict[tuple[Style, tuple[tuple[str, str], ...]], Style] = {}
        self.servers = PaintServers(document, self.cascade, notes)

    def run(self) -> Harvest:
        root = self.document.root
        try:
            self._root(root)
        except NotFinite as problem:  # of the root element itself; others are caught where they are known
            raise self._not_finite(root, problem) from None
        return self.result

    # ------------------------------------------------------------------ viewports

    def _root(self, root: Element) -> None:
        declared = self.cascade.declared(root)
        style = self._style(root, declared, Style())
        box = parse_view_box(root.get("viewBox", ""))
        if "viewBox" in root.attrib and box is None:
            self.notes.add(f"viewBox '{root.get('viewBox', '')[:40]}' is not valid and left out", line_of(root))
        result, limit = self.result, self.limits.coordinate_mm
        width, height, result.size_stated = picture_size_px(root, declared, box, style.font_px, self.notes)
        result.width_mm, result.height_mm = width * MM_PER_PX, height * MM_PER_PX
        if max(result.width_mm, result.height_mm) > limit:
            raise refuse(
                "the picture is too large",
                max(result.width_mm, result.height_mm),
                limit,
                "mm",
                where=self.document.where(root),
                hint="check width and height of the <svg>",
            )
        if min(width, height) <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            raise SourceError(
                f"the picture is {result.width_mm:g} x {result.height_mm:g} mm"
                + (f" with a viewBox of {box[2]:g} x {box[3]:g}" if box else "")
                + "; nothing of it can be seen",
                where=self.document.where(root),
                hint="give the <svg> a width and a height above zero",
            )
        matrix = (MM_PER_PX, 0.0, 0.0, MM_PER_PX, 0.0, 0.0)
        place = _Place(matrix, (width, height), style)
        if result.size_stated and declared.get("overflow", "hidden") not in ("visible", "auto"):
            place = self._clipped(place, 0.0, 0.0, width, height)
        if not _shown(declared):
            return
        # The transform of the outermost element acts inside its viewport, around that of the viewBox (SVG 2, 8.2).
        place = self._transformed(root, declared, place)
        self._children(root, self._in_view_box(root, place, box, width, height), top=True)

    def _in_view_box(self, element: Element, place: _Place, box: Box | None, width: float, height: float) -> _Place:
        if box is None:
            return replace(place, viewport=(width, height))
        fit = fit_view_box(box, element.get("preserveAspectRatio", ""), width, height)
        return replace(place, matrix=multiply(place.matrix, fit), viewport=(box[2], box[3]))

    def _clipped(self, place: _Place, x: float, y: float, width: float, height: float) -> _Place:
        if flattens(place.matrix) or width <= 0.0 or height <= 0.0:
            return place
        planes = half_planes(place.matrix, x, y, width, height)
        clips = self.result.clips
        clips.append(planes if place.clip < 0 else np.concatenate((clips[place.clip], planes)))
        return replace(place, clip=len(clips) - 1)

    def _nested_viewport(self, element: Element, declared: Declared, place: _Place, use: Declared | None) -> None:
        """An ``svg`` inside the picture, or a ``symbol`` shown by a ``use``."""
        given = {**declared, **{k: v for k, v in (use or {}).items() if k in ("width", "height")}}
        is_symbol = local_name(element) == "symbol"
        x = 0.0 if is_symbol else self._length(element, declared, "x", "x", place, 0.0)
        y = 0.0 if is_symbol else self._length(element, declared, "y", "y", place, 0.0)
        width = self._length(element, given, "width", "x", place, place.viewport[0])
        height = self._length(element, given, "height", "y", place, place.viewport[1])
        box = parse_view_box(element.get("viewBox", ""))
        if width <= 0.0 or height <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        inner = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        if declared.get("overflow", "hidden") not in ("visible", "auto"):
            inner = self._clipped(inner, 0.0, 0.0, width, height)
        self._children(element, self._in_view_box(element, inner, box, width, height))

    def _length(
        self, element: Element, declared: Declared, name: str, axis: Axis, place: _Place, default: float
    ) -> float:
        text = declared.get(name)
        if text is None or text == "auto":
            return default
        value = length_px(text, axis, place.viewport, place.style.font_px)
        if value is None:
            self.notes.add(f'{name}="{text[:40]}" is not a length; {default:g} stands for it', line_of(element))
            return default
        return value

    # ------------------------------------------------------------------ elements

    def _children(self, element: Element, place: _Place, *, top: bool = False) -> None:
        for child in element:
            if top and local_name(child) == "g":
                self._element(child, replace(place, layer=self._layer(child)))
            else:
                self._element(child, place)

    def _element(self, element: Element, place: _Place, use: Declared | None = None) -> None:
        """Draw one element and what is in it. ``use``: the properties of the use element that shows it."""
        self.visited += 1
        self.depth += 1
        if self.depth > self.limits.depth:
            raise refuse(
                "elements nested too deeply once <use> is expanded",
                self.depth,
                self.limits.depth,
                "levels",
                where=self.document.where(element),
                hint="ungroup the picture before saving it",
            )
        if self.visited > self.limits.expanded:
            raise refuse(
                "too many elements once every <use> is expanded",
                self.visited,
                self.limits.expanded,
                "elements",
                where=self.document.where(element),
                hint="the picture repeats itself too often; draw fewer copies",
            )
        name = local_name(element)
        if name is not None and name in _DRAWN:
            try:
                self._known_element(element, name, place, use)
            except NotFinite as problem:
                raise self._not_finite(element, problem) from None
        self.depth -= 1

    def _known_element(self, element: Element, name: str, place: _Place, use: Declared | None) -> None:
        declared = self._declared(element, place)
        if not _shown(declared) or not _for_us(element):
            return
        style = self._style(element, declared, place.style)
        place = replace(place, style=style) if style is not place.style else place
        if name in _ADVICE:
            if style.visible:
                self.notes.add(_ADVICE[name], line_of(element))
            return
        if name == "symbol" and use is None:
            return
        self._warn_of_ignored(element, declared)
        if "transform" in declared:
            place = self._transformed(element, declared, place)
        if flattens(place.matrix):
            self.notes.add("an element is squeezed to nothing by its transform and not drawn", line_of(element))
        elif name == "path" or name in _SHAPES:
            self._shape(element, name, declared, place)
        elif name == "use":
            self._use(element, declared, place)
        elif name in ("svg", "symbol"):
            self._nested_viewport(element, declared, place, use)
        elif name == "switch":
            chosen = next((c for c in element if local_name(c) in _DRAWN and _for_us(c)), None)
            if chosen is not None:
                self._element(chosen, place)
        else:
            self._children(element, place)

    def _use(self, element: Element, declared: Declared, place: _Place) -> None:
        reference = href_of(element)
        target = self.document.target(reference)
        if target is None:
            why = "is not in the file" if reference.startswith("#") else "is outside the file and never fetched"
            self.notes.add(f"<use> shows nothing: '{reference[:60]}' {why}", line_of(element))
            return
        if target in place.uses:
            raise SourceError(
                f"<use> shows '{reference[:60]}', which contains this <use>: it would never end",
                where=self.document.where(element),
                hint="remove the copy of itself from the group",
            )
        if len(place.uses) >= self.limits.use_depth:
            raise refuse(
                "<use> inside <use> too deeply",
                len(place.uses) + 1,
                self.limits.use_depth,
                "levels",
                where=self.document.where(element),
                hint="ungroup the clones before saving",
            )
        x = self._length(element, declared, "x", "x", place, 0.0)
        y = self._length(element, declared, "y", "y", place, 0.0)
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)), uses=(*place.uses, target))
        self._element(target, moved, use=declared)

    def _shape(self, element: Element, name: str, declared: Declared, place: _Place) -> None:
        style = place.style
        stroke = style.stroke_colour(place.viewport)
        colour = stroke or style.fill_colour()
        if colour is None or not style.visible:
            return
        segments = self.result.segments
        rows_before, outlines_before = len(segments), len(segments.starts)
        try:
            problem = self._draw(element, name, declared, place, segments)
        except shapes.BadShape as bad:
            segments.drop(rows_before, outlines_before)
            self.notes.add(f"<{name}> is not drawn: {bad}", line_of(element))
            return
        if problem is not None:
            self.notes.add(f"<{name}>: {problem}; drawn up to there", line_of(element))
        if len(segments) > self.limits.segments:
            raise refuse(
                "too many lines and curves",
                len(segments),
                self.limits.segments,
                "segments",
                where=self.document.where(element),
                hint="simplify the picture or split it",
            )
        if len(segments.starts) == outlines_before:
            return
        if stroke is None and len(segments) == rows_before + 1 and segments.kinds[-1] == LINE:
            self.notes.add("a line without a stroke colour shows nothing and is not drawn", line_of(element))
            segments.drop(rows_before, outlines_before)
            return
        dots = stroke is not None and style.dots
        outlines = Outlines(element, place.matrix, colour, place.layer, place.clip, stroke is None, dots)
        outlines = replace(outlines, fill=style.fill_colour(), even_odd=style.even_odd)
        if stroke is not None and style.dashes != NONE:
            outlines = self._dashed(element, outlines, place)
        self.result.outlines.append(outlines)
        self.result.owner.extend([len(self.result.outlines) - 1] * (len(segments.starts) - outlines_before))

    def _draw(self, element: Element, name: str, declared: Declared, place: _Place, segments: Segments) -> str | None:
        if name == "path":
            return parse_path(element.get("d", ""), segments, most_segments=self.limits.segments)
        values = {**element.attrib, **declared}
        return _SHAPES[name](shapes.Attributes(values, place.viewport, place.style.font_px), segments)

    def _dashed(self, element: Element, outlines: Outlines, place: _Place) -> Outlines:
        style = place.style
        lengths = [
            length_px(part, "other", place.viewport, style.font_px) for part in style.dashes.replace(",", " ").split()
        ]
        pattern = tuple(length for length in lengths if length is not None and length >= 0.0)
        if len(pattern) != len(lengths) or not pattern:
            self.notes.add(f"stroke-dasharray '{style.dashes[:40]}' is not valid; drawn unbroken", line_of(element))
            return outlines
        if sum(pattern) <= 0.0:
            return outlines
        stated = fraction(element.get("pathLength", "")) if element.get("pathLength") else None
        offset = length_px(style.dash_offset, "other", place.viewport, style.font_px) or 0.0
        return replace(
            outlines,
            dashes=pattern * 2 if len(pattern) % 2 else pattern,
            dash_offset=offset,
            path_length=stated if stated is not None and stated > 0.0 else None,
        )

    # ------------------------------------------------------------------ properties

    def _declared(self, element: Element, place: _Place) -> Declared:
        """The element's own properties; remembered for what ``use`` may show a thousand times."""
        if not place.uses:
            return self.cascade.declared(element)
        declared = self.copied.get(element)
        if declared is None:
            declared = self.copied[element] = self.cascade.declared(element)
        return declared

    def _style(self, element: Element, declared: Declared, parent: Style) -> Style:
        given = tuple((name, value) for name, value in declared.items() if name in INHERITED)
        if not given:
            return parent
        style = self.styles.get((parent, given))
        if style is None:
            style = inherit_style(parent, declared, self.servers.colour, self.notes, line_of(element))
            self.styles[parent, given] = style
        return style

    def _warn_of_ignored(self, element: Element, declared: Declared) -> None:
        if _IGNORED_NAMES.isdisjoint(declared):
            return
        for name in sorted(_IGNORED_NAMES & declared.keys()):
            if declared[name].lower() != NONE:
                self.notes.add(_IGNORED_PROPERTIES[name], line_of(element))

    def _transformed(self, element: Element, declared: Declared, place: _Place) -> _Place:
        text = declared.get("transform", "none")
        matrix = parse_transform(text, place.viewport, place.style.font_px)
        if matrix is None:
            self.notes.add(f"transform '{text[:60]}' is not valid and left out", line_of(element))
            return place
        if matrix == IDENTITY:
            return place
        if "transform-origin" in declared:
            if declared.get("transform-box", "view-box") != "view-box":
                self.notes.add("transform-box is not read; transform-origin refers to the whole view", line_of(element))
            origin = parse_origin(declared["transform-origin"], place.viewport, place.style.font_px)
            if origin is None:
                self.notes.add(
                    f"transform-origin '{declared['transform-origin'][:40]}' is not valid and left out",
                    line_of(element),
                )
            else:
                matrix = around(origin, matrix)
        return replace(place, matrix=multiply(place.matrix, matrix))

    def _layer(self, group: Element) -> int:
        """Index of the layer that a top-level group makes; groups of the same name are one layer."""
        label = next((v for k, v in group.attrib.items() if k.rpartition("}")[2] == "label"), "").strip()
        title = next((c.text or "" for c in group if local_name(c) == "title"), "").strip()
        layers = self.result.layers
        name = label or title or group.get("id", "").strip() or f"layer {len(layers) + 1}"
        name = " ".join(name.split())[:80]
        if name not in layers:
            layers.append(name)
        return layers.index(name)

    def _not_finite(self, element: Element, problem: NotFinite) -> SourceError:
        return SourceError(
            f"the number '{str(problem)[:60]}' is not finite",
            where=self.document.where(element),
            hint="correct the number, or delete the element and save again",
        )


def _shown(declared: Declared) -> bool:
    """False for ``display: none`` and for a group or shape whose own opacity is 0."""
    if declared.get("display", "").lower() == NONE:
        return False
    opacity = declared.get("opacity")
    share = fraction(opacity) if opacity is not None else None
    return share is None or share > 0.0


def _for_us(element: Element) -> bool:
    """Conditional processing (SVG 2, section 5.8): language fits, no foreign extensions are needed."""
    if element.get("requiredExtensions", "").strip():
        return False
    languages = element.get("systemLanguage")
    if languages is None:
        return True
    wanted = [tag.strip().lower() for tag in languages.split(",")]
    return any(tag == _LANGUAGE or tag.startswith(_LANGUAGE + "-") for tag in wanted)
