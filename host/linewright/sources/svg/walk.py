"""The walk over the element tree: every shape in paint order as a `Painting`; what is not drawn is named in a warning.

One class of a thousand lines, longer than usual: the elements of SVG refer to each other in every direction (a clip
path holds a `use` of a text with a pattern), so that what draws them is one recursion.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import groupby, pairwise
from xml.etree.ElementTree import Element

import numpy as np

from linewright.errors import SourceError
from linewright.sources.painting.bounds import Box, bounds
from linewright.sources.painting.limits import Limits, refuse
from linewright.sources.painting.marks import Clip, Line, Mark, Paint, Painting
from linewright.sources.painting.matrices import (
    IDENTITY,
    Matrix,
    apply,
    flattens,
    inverse,
    multiply,
    scaling,
    translation,
)
from linewright.sources.painting.notes import Notes
from linewright.sources.painting.segments import LINE, ROW, Segments
from linewright.sources.picture import Wish
from linewright.sources.svg import shapes
from linewright.sources.svg.affine import around, fit_view_box, parse_origin, parse_transform, parse_view_box
from linewright.sources.svg.cascade import Cascade, Declared
from linewright.sources.svg.characters import Collector, Span, span_of
from linewright.sources.svg.document import Document, href_of, line_of, local_name, parse_document
from linewright.sources.svg.grammar import url_of
from linewright.sources.svg.images import BadImage, embedded
from linewright.sources.svg.layers import Layers
from linewright.sources.svg.lengths import Axis, NotFinite, angle_deg, fraction, length_px
from linewright.sources.svg.markers import Vertex, vertices
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.path_data import parse_path
from linewright.sources.svg.picture_size import page_boxes, picture_size_px
from linewright.sources.svg.place import Context, Pattern, Place
from linewright.sources.svg.servers import PaintServers
from linewright.sources.svg.style import INHERITED, Style, inherit_style
from linewright.sources.svg.text_layout import Layout, Rail, rail_of, transformed
from linewright.sources.svg.text_layout import Placed as Letter
from linewright.sources.svg.typesetting import STEM_EM, Typesetter
from linewright.units import MM_PER_PX

# The language of a picture's texts decides what <switch> shows. English, whatever the computer's own language is: the
# same file must give the same drawing everywhere.
_LANGUAGE = "en"

_SHAPES: dict[str, Callable[[shapes.Attributes, Segments], str | None]] = {
    "rect": shapes.draw_rect, "circle": shapes.draw_circle, "ellipse": shapes.draw_ellipse, "line": shapes.draw_line,
    "polyline": shapes.draw_polyline, "polygon": shapes.draw_polygon,
}  # fmt: skip
_WITH_MARKERS = frozenset(("path", "line", "polyline", "polygon"))
_ADVICE = {
    "foreignObject": "<foreignObject> is not drawn",
    "script": "<script> is never run",
    **{name: f"<{name}> does not move here; the picture is drawn as it stands at the start"
       for name in ("animate", "animateTransform", "animateMotion", "set")},
}  # fmt: skip
# Elements the walk looks into; all others (definitions, metadata, foreign ones) show nothing by themselves.
_DRAWN = (
    frozenset(("g", "a", "switch", "path", "use", "svg", "symbol", "text", "image")) | _SHAPES.keys() | _ADVICE.keys()
)
# Properties that act on an element with all that is in it.
_EFFECTS = frozenset(("opacity", "clip-path", "mask", "filter", "mix-blend-mode"))
# Copies of a pattern's content: more of them are finer than any pen shows on any sheet.
_MOST_TILES = 10_000


def paint(document: Document, limits: Limits, notes: Notes, wish: Wish) -> Painting:
    """Everything drawable of a document, in paint order.

    Raises
    ------
    SourceError
        For numbers that are not finite, and what passes the limits.
    """
    painting = Painting(document.name, notes, describe=document.describe)
    _Walk(document, limits, painting, wish).run()
    return painting


class _Walk:
    def __init__(self, document: Document, limits: Limits, painting: Painting, wish: Wish) -> None:
        self.document = document
        self.limits = limits
        self.painting = painting
        self.notes = painting.notes
        self.wish = wish
        self.layers = Layers(painting.layers, wish.layers)
        self.cascade = Cascade(document.root, document.sheets, self.notes)
        self.typesetter = Typesetter(wish.words, self.notes)
        self.visited = 0
        self.depth = 0
        self.copied: dict[Element, Declared] = {}
        self.with_context: dict[Element, bool] = {}
        # Thousands of elements are given the same few properties: their styles are computed once.
        self.styles: dict[tuple[int, tuple[tuple[str, str], ...]], Style] = {}
        self.first_style = Style()
        self.servers = PaintServers(document, self.cascade, self.notes)
        self.boxes: list[tuple[int, Box, Matrix]] = []  # of words, which are larger than their ink: mark, box, matrix

    def run(self) -> None:
        root = self.document.root
        try:
            self._root(root)
            self.layers.check(self.painting.name)
        except NotFinite as problem:  # of the root element itself; others are caught where they are known
            raise self._not_finite(root, problem) from None

    # ------------------------------------------------------------------ viewports

    def _root(self, root: Element) -> None:
        declared = self.cascade.declared(root)
        style = self._style(declared, self.first_style)
        box = parse_view_box(root.get("viewBox", ""))
        if "viewBox" in root.attrib and box is None:
            self.notes.add(f"viewBox '{root.get('viewBox', '')[:40]}' is not valid and left out", line_of(root))
        result, limit = self.painting, self.limits.coordinate_mm
        width, height, result.size_stated = picture_size_px(root, declared, box, style.font_px, self.notes)
        width, height, box = self._page(root, width, height, box)
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
        place = Place((MM_PER_PX, 0.0, 0.0, MM_PER_PX, 0.0, 0.0), (width, height), style)
        if result.size_stated and declared.get("overflow") not in ("visible", "auto"):
            place = self._framed(place, 0.0, 0.0, width, height, kind="page")
        if not _shown(declared):
            return
        # The transform of the outermost element acts inside its viewport, around that of the viewBox (SVG 2, 8.2).
        place = self._transformed(root, declared, place)
        inner = self._in_view_box(root, place, box, width, height)
        self._with_effects(root, declared, inner, lambda at: self._children(root, at, top=True))

    def _page(self, root: Element, width: float, height: float, box: Box | None) -> tuple[float, float, Box | None]:
        """Size and view of the page that was asked for."""
        pages = page_boxes(root)
        if len(pages) > 1 and self.wish.page == 1:
            self.notes.add(f"the file has {len(pages)} pages and the first is drawn; --page 2 draws the second")
        if self.wish.page == 1 and len(pages) < 2:
            return width, height, box
        if not 1 <= self.wish.page <= max(1, len(pages)):
            raise SourceError(
                f"there is no page {self.wish.page}; the file has {max(1, len(pages))}",
                where=self.document.name,
                hint=f"take a page from 1 to {max(1, len(pages))}",
            )
        page = pages[self.wish.page - 1]
        share = 1.0 if box is None or box[2] <= 0.0 else width / box[2]
        return page[2] * share, page[3] * share, page

    def _in_view_box(self, element: Element, place: Place, box: Box | None, width: float, height: float) -> Place:
        if box is None:
            return replace(place, viewport=(width, height))
        fit = fit_view_box(box, element.get("preserveAspectRatio", ""), width, height)
        return replace(place, matrix=multiply(place.matrix, fit), viewport=(box[2], box[3]))

    def _framed(self, place: Place, x: float, y: float, width: float, height: float, *, kind: str = "frame") -> Place:
        """A place whose marks are seen in this rectangle only."""
        if flattens(place.matrix) or width <= 0.0 or height <= 0.0:
            return place
        shapes.rectangle(self.painting.segments, x, y, width, height)
        mark = self.painting.add(Mark(place.matrix, fill=_SHAPE, silent=True))
        self.painting.clips.append(Clip((mark,), place.clip, "page" if kind == "page" else "frame"))
        return replace(place, clip=len(self.painting.clips) - 1)

    def _nested_viewport(self, element: Element, declared: Declared, place: Place, use: Declared | None) -> None:
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
            inner = self._framed(inner, 0.0, 0.0, width, height)
        self._children(element, self._in_view_box(element, inner, box, width, height))

    def _length(
        self, element: Element, declared: Declared, name: str, axis: Axis, place: Place, default: float
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

    def _children(self, element: Element, place: Place, *, top: bool = False) -> None:
        for child in element:
            if not top:
                self._element(child, place)
            elif local_name(child) == "g":
                number, drawn = self.layers.enter(child)
                if drawn:
                    self._element(child, replace(place, layer=number), shown=bool(self.wish.layers))
            elif not self.wish.layers:
                self._element(child, place)

    def _element(self, element: Element, place: Place, use: Declared | None = None, *, shown: bool = False) -> None:
        """Draw one element and what is in it.

        Parameters
        ----------
        use : the properties of the use element that shows it.
        shown : draw it even where it is hidden.
        """
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
                self._known_element(element, name, place, use, shown)
            except NotFinite as problem:
                raise self._not_finite(element, problem) from None
        self.depth -= 1

    def _known_element(self, element: Element, name: str, place: Place, use: Declared | None, shown: bool) -> None:
        declared = self._declared(element, place)
        if shown:
            declared = {k: v for k, v in declared.items() if k != "display"}
        if not _shown(declared) or not _for_us(element):
            return
        style = self._style(declared, place.style)
        place = replace(place, style=style) if style is not place.style else place
        if name in _ADVICE:
            if style.visible:
                self.notes.add(_ADVICE[name], line_of(element))
            return
        if name == "symbol" and use is None:
            return
        if "transform" in declared:
            place = self._transformed(element, declared, place)
        if flattens(place.matrix):
            self.notes.add("an element is squeezed to nothing by its transform and not drawn", line_of(element))
        elif _EFFECTS.isdisjoint(declared):
            self._content(element, name, declared, place, use)
        else:
            self._with_effects(element, declared, place, lambda at: self._content(element, name, declared, at, use))

    def _content(self, element: Element, name: str, declared: Declared, place: Place, use: Declared | None) -> None:
        if name == "path" or name in _SHAPES:
            self._shape(element, name, declared, place)
        elif name == "use":
            self._use(element, declared, place)
        elif name in ("svg", "symbol"):
            self._nested_viewport(element, declared, place, use)
        elif name == "switch":
            chosen = next((c for c in element if local_name(c) in _DRAWN and _for_us(c)), None)
            if chosen is not None:
                self._element(chosen, place)
        elif name == "text":
            self._text(element, declared, place)
        elif name == "image":
            self._image(element, declared, place)
        else:
            self._children(element, place)

    def _use(self, element: Element, declared: Declared, place: Place) -> None:
        reference = href_of(element)
        target = self.document.target(reference)
        if target is None:
            why = "is not in the file" if reference.startswith("#") else "is outside the file and never fetched"
            self.notes.add(f"<use> shows nothing: '{reference[:60]}' {why}", line_of(element))
            return
        if target in place.uses or self._is_inside(element, target):
            self.notes.add(
                f"<use> shows '{reference[:60]}', which contains this <use>; it would never end and is left out",
                line_of(element),
            )
            return
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
        if self._wants_context(target):
            box = None
            if "url" in (place.style.fill + place.style.stroke).lower():
                shown = replace(moved, context=Context(_SHAPE, None))
                box = self._measured(place, lambda: self._element(target, shown, use=declared))
            moved = replace(moved, context=self._context(place, box, line_of(element)))
        self._element(target, moved, use=declared)

    def _wants_context(self, target: Element) -> bool:
        """Whether something in an element is painted with ``context-fill`` or ``context-stroke``."""
        found = self.with_context.get(target)
        if found is None:
            found = any("context-" in value for one in target.iter() for value in one.attrib.values())
            self.with_context[target] = found
        return found

    def _context(self, place: Place, box: Box | None, line: int | None) -> Context:
        """The paints that ``context-fill`` and ``context-stroke`` mean in what a ``use`` shows."""
        style = place.style
        fill = self.servers.paint(style.fill, style.fill_alpha, place, box, line)
        return Context(fill, self.servers.paint(style.stroke, style.stroke_alpha, place, box, line))

    def _measured(self, place: Place, draw: Callable[[], None]) -> Box | None:
        """The box around what is drawn, in units of the place; what is drawn is taken back."""
        painting, segments = self.painting, self.painting.segments
        rows, outlines = len(segments), len(segments.starts)
        marks, clips, boxes = len(painting.marks), len(painting.clips), len(self.boxes)
        draw()
        box = self._box_of_marks(marks, place.matrix)
        segments.drop(rows, outlines)
        del painting.owner[outlines:], painting.marks[marks:], painting.clips[clips:], self.boxes[boxes:]
        return box

    def _is_inside(self, element: Element, target: Element) -> bool:
        at: Element | None = element
        while at is not None:
            if at is target:
                return True
            at = self.document.parent(at)
        return False

    # ------------------------------------------------------------------ groups: opacity, clip, mask

    def _with_effects(self, element: Element, declared: Declared, place: Place, draw: Callable[[Place], None]) -> None:
        """Draw what is in an element, and then find out where of it is seen."""
        if _EFFECTS.isdisjoint(declared):
            draw(place)
            return
        painting, line = self.painting, line_of(element)
        if declared.get("filter", NONE).lower() != NONE:
            self.notes.add("filter is not applied", line)
        share = fraction(declared.get("opacity", "1"))
        alpha = 1.0 if share is None else min(1.0, max(0.0, share))
        if alpha < 1.0 or declared.get("mix-blend-mode", "normal").lower() != "normal":
            place = replace(place, alpha=place.alpha * alpha, back_to=len(painting.marks))
        inner = place
        wanted = [(name, self._effect(name, declared, place, line)) for name in ("mask", "clip-path")]
        reserved: list[tuple[str, Element, int]] = []
        for name, target in wanted:
            if target is not None:
                painting.clips.append(Clip((), inner.clip))
                inner = replace(inner, clip=len(painting.clips) - 1)
                reserved.append((name, target, inner.clip))
        if any(name == "mask" for name, _, _ in reserved):
            inner = replace(inner, back_to=max(inner.back_to, len(painting.marks)))
        first = len(painting.marks)
        draw(inner)
        for name, target, number in reserved:
            box = self._box_of_marks(first, place.matrix) if _needs_box(target) else None
            fill = self._mask if name == "mask" else self._clip_path
            fill(target, replace(place, inside=(*place.inside, target)), box, number)

    def _effect(self, name: str, declared: Declared, place: Place, line: int | None) -> Element | None:
        """The clip path or mask that an element has."""
        text = declared.get(name, NONE)
        link = url_of(text)
        if link is None:
            if text.lower() != NONE:
                self.notes.add(f"{name} '{text[:40]}' is not read; the lines are drawn without it", line)
            return None
        target = self.document.target(link[0])
        if target is None or local_name(target) != {"mask": "mask", "clip-path": "clipPath"}[name]:
            self.notes.add(f"{name} '{link[0][:40]}' is not in the file; the lines are drawn without it", line)
            return None
        if target in place.inside:
            self.notes.add(f"{name} '{link[0][:40]}' contains itself and is left out", line)
            return None
        return target

    def _clip_path(self, target: Element, place: Place, box: Box | None, number: int) -> None:
        """Give clip ``number`` the shapes of a ``clipPath`` (CSS Masking 1, section 6)."""
        painting = self.painting
        declared = self.cascade.declared(target)
        parent = painting.clips[number].parent
        style = self._style(declared, self._around(target))
        place = replace(place, clip=-1, style=style, silent=True, alpha=1.0, layer=-1)
        own = self._effect("clip-path", declared, place, line_of(target))
        place = self._transformed(target, declared, place)
        if own is not None:
            painting.clips.append(Clip((), parent))
            parent = len(painting.clips) - 1
            inside = replace(place, inside=(*place.inside, own))
            self._clip_path(own, inside, box, parent)
        if target.get("clipPathUnits") == "objectBoundingBox":
            place = _in_box(place, box)
        members: list[int] = []
        if not flattens(place.matrix):
            for child in target:
                members += self._clip_member(child, place)
        painting.clips[number] = Clip(tuple(members), parent)

    def _clip_member(self, child: Element, place: Place, *, used: bool = False) -> list[int]:
        """Silent marks of one child of a ``clipPath``: a shape, a text, or a ``use`` of one."""
        name = local_name(child)
        if (name not in _SHAPES and name not in ("path", "text", "use")) or (used and name == "use"):
            return []
        declared = self.cascade.declared(child)
        if not _shown(declared) or not _for_us(child):
            return []
        place = replace(place, style=self._style(declared, place.style))
        if "transform" in declared:
            place = self._transformed(child, declared, place)
        own = self._effect("clip-path", declared, place, line_of(child))
        if own is not None:
            self.painting.clips.append(Clip((), place.clip))
            place = replace(place, clip=len(self.painting.clips) - 1)
        first = len(self.painting.marks)
        members: list[int] = []
        if name == "use":
            target = self.document.target(href_of(child))
            if target is not None and target not in place.inside:
                x = self._length(child, declared, "x", "x", place, 0.0)
                y = self._length(child, declared, "y", "y", place, 0.0)
                moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
                members = self._clip_member(target, moved, used=True)
        elif name == "text":
            plain = replace(place.style, fill="#000000", stroke=NONE, fill_alpha=1.0)
            self._text(child, declared, replace(place, style=plain), plain=True)
        elif place.style.visible:
            segments = self.painting.segments
            rows, outlines = len(segments), len(segments.starts)
            try:
                self._draw(child, name, declared, place, segments)
                self._count_segments(child)
                if len(segments.starts) > outlines:
                    mark = Mark(place.matrix, _SHAPE, None, place.style.clip_even_odd, place.clip, silent=True)
                    members = [self.painting.add(replace(mark, origin=child, line_number=line_of(child)))]
            except shapes.BadShape:
                segments.drop(rows, outlines)
        if own is not None:
            box = self._box_of_marks(first, place.matrix, silent=True) if _needs_box(own) else None
            self._clip_path(own, replace(place, inside=(*place.inside, own)), box, place.clip)
        return members

    def _mask(self, target: Element, place: Place, box: Box | None, number: int) -> None:
        """Give clip ``number`` the content of a ``mask`` (CSS Masking 1, section 7)."""
        painting = self.painting
        declared = self.cascade.declared(target)
        parent = painting.clips[number].parent
        style = self._style(declared, self._around(target))
        place = replace(place, clip=-1, style=style, alpha=1.0, back_to=0, layer=-1, context=None)
        by_box = target.get("maskUnits", "objectBoundingBox") != "userSpaceOnUse"
        if (by_box or _needs_box(target)) and (box is None or box[2] <= 0.0 or box[3] <= 0.0):
            painting.clips[number] = Clip((), parent)
            return
        viewport = replace(place, viewport=(1.0, 1.0)) if by_box else place
        across, down = viewport.viewport
        x = self._length(target, declared, "x", "x", viewport, -0.1 * across)
        y = self._length(target, declared, "y", "y", viewport, -0.1 * down)
        width = self._length(target, declared, "width", "x", viewport, 1.2 * across)
        height = self._length(target, declared, "height", "y", viewport, 1.2 * down)
        if by_box and box is not None:
            x, y, width, height = box[0] + x * box[2], box[1] + y * box[3], width * box[2], height * box[3]
        if width <= 0.0 or height <= 0.0:
            painting.clips[number] = Clip((), parent)
            return
        region = self._framed(replace(place, clip=parent), x, y, width, height).clip
        painting.clips[region] = replace(painting.clips[region], kind="clip")
        own = self._effect("mask", declared, place, line_of(target))
        if own is not None:
            painting.clips.append(Clip((), region))
            region = len(painting.clips) - 1
            self._mask(own, replace(place, inside=(*place.inside, own)), box, region)
        if target.get("maskContentUnits") == "objectBoundingBox":
            place = _in_box(place, box)
        first = len(painting.marks)
        self._children(target, replace(place, silent=True))
        members = tuple(i for i in range(first, len(painting.marks)) if not painting.marks[i].silent)
        for i in members:
            painting.marks[i] = replace(painting.marks[i], silent=True)
        alpha = declared.get("mask-type", "luminance").lower() == "alpha"
        painting.clips[number] = Clip(members, region, "alpha" if alpha else "mask")

    def _box_of_marks(self, first: int, matrix: Matrix, *, silent: bool = False) -> Box | None:
        """The box around marks from ``first`` on, in the units that ``matrix`` maps to mm."""
        from linewright.sources.painting.flatten import transform_rows

        painting, segments = self.painting, self.painting.segments
        back = inverse(matrix)
        found = []
        low = int(np.searchsorted(painting.owner, first)) if first < len(painting.marks) else len(painting.owner)
        starts = [*segments.starts[low:], len(segments)]
        by_mark: dict[int, tuple[int, int]] = {}
        for i, (begin, end) in enumerate(pairwise(starts), low):
            owner = painting.owner[i]
            by_mark[owner] = (by_mark.get(owner, (begin, end))[0], end)
        words = {number for number, _, _ in self.boxes}
        for owner, (begin, end) in by_mark.items():
            mark = painting.marks[owner]
            if (mark.silent and not silent) or owner in words:
                continue
            kinds = np.frombuffer(bytes(segments.kinds[begin:end]), dtype=np.uint8)
            rows = np.array(segments.rows[ROW * begin : ROW * end]).reshape(-1, ROW)
            matrices = np.broadcast_to(np.array(multiply(back, mark.matrix)), (len(rows), 6))
            found.append(bounds(kinds, transform_rows(kinds, rows, matrices)))
        for number, box, own in self.boxes:
            if number >= first:
                x, y, width, height = box
                to = multiply(back, own)
                corners = [apply(to, x + i * width, y + j * height) for i in (0, 1) for j in (0, 1)]
                xs, ys = [p[0] for p in corners], [p[1] for p in corners]
                found.append((min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)))
        return _around(found)

    # ------------------------------------------------------------------ shapes

    def _shape(self, element: Element, name: str, declared: Declared, place: Place) -> None:
        style = place.style
        has_markers = name in _WITH_MARKERS and any(reference.lower() != NONE for reference in style.markers)
        if not style.visible or (style.fill == NONE and style.stroke == NONE and not has_markers):
            return
        segments = self.painting.segments
        rows_before, outlines_before = len(segments), len(segments.starts)
        try:
            problem = self._draw(element, name, declared, place, segments)
        except shapes.BadShape as bad:
            segments.drop(rows_before, outlines_before)
            self.notes.add(f"<{name}> is not drawn: {bad}", line_of(element))
            return
        if problem is not None:
            self.notes.add(f"<{name}>: {problem}; drawn up to there", line_of(element))
        self._count_segments(element)
        if len(segments.starts) == outlines_before:
            return
        found = vertices(segments, outlines_before) if has_markers else []
        fill, line = self._paints(element, place, self._box_of_new(rows_before))
        one_line = len(segments) == rows_before + 1 and segments.kinds[-1] == LINE
        if line is None and not isinstance(fill, Pattern) and one_line and fill is not None:
            self.notes.add("a line without a stroke colour shows nothing and is not drawn", line_of(element))
            fill = None
        self._mark(element, place, fill, line, rows_before, outlines_before)
        if found:
            context = Context(fill, line.paint if line is not None else None)
            self._markers(place, found, context)

    def _mark(
        self,
        element: Element,
        place: Place,
        fill: Paint | Pattern | None,
        line: Line | None,
        rows: int,
        outlines: int,
        even_odd: bool | None = None,
    ) -> None:
        """Make a mark of the outlines since ``outlines``, and of patterns their content first."""
        painting, segments = self.painting, self.painting.segments
        if fill is None and line is None:
            segments.drop(rows, outlines)
            return
        mark = Mark(
            place.matrix,
            fill if isinstance(fill, Paint) else None,
            line,
            place.style.even_odd if even_odd is None else even_odd,
            place.clip,
            place.layer,
            place.back_to,
            origin=element,
            line_number=line_of(element),
        )
        if isinstance(fill, Pattern):
            copy = segments.copied(rows, outlines) if line is not None else None
            region = painting.add(replace(mark, fill=_SHAPE, line=None, silent=True))
            self._tiles(element, place, fill, region)
            if copy is None:
                return
            segments.append(copy)
        painting.add(mark)

    def _paints(
        self, element: Element, place: Place, box: Callable[[], Box | None]
    ) -> tuple[Paint | Pattern | None, Line | None]:
        """What a shape is filled and stroked with."""
        style = place.style
        needs = "url" in style.fill.lower() or "url" in style.stroke.lower()
        around = box() if needs else None
        fill = self.servers.paint(style.fill, style.fill_alpha, place, around, line_of(element))
        stroke = self.servers.paint(style.stroke, style.stroke_alpha, place, around, line_of(element))
        if stroke is None:
            return fill, None
        width = length_px(style.stroke_width, "other", place.viewport, style.font_px)
        if width is not None and width <= 0.0:
            return fill, None
        if isinstance(stroke, Pattern):
            self.notes.add("a line painted with a pattern is drawn black", line_of(element))
            stroke = Paint("#000000", stroke.alpha * place.alpha, None, False)
        line = Line(stroke, 1.0 if width is None else width, style.cap, style.join, style.miter_limit)
        return fill, line if style.dashes == NONE else self._dashed(element, line, place)

    def _box_of_new(self, rows_before: int) -> Callable[[], Box | None]:
        segments = self.painting.segments

        def box() -> Box | None:
            kinds = np.frombuffer(bytes(segments.kinds[rows_before:]), dtype=np.uint8)
            return bounds(kinds, np.array(segments.rows[ROW * rows_before :]).reshape(-1, ROW))

        return box

    def _count_segments(self, element: Element) -> None:
        if len(self.painting.segments) > self.limits.segments:
            raise refuse(
                "too many lines and curves",
                len(self.painting.segments),
                self.limits.segments,
                "segments",
                where=self.document.where(element),
                hint="simplify the picture or split it",
            )

    def _draw(self, element: Element, name: str, declared: Declared, place: Place, segments: Segments) -> str | None:
        if name == "path":
            return parse_path(element.get("d", ""), segments, most_segments=self.limits.segments)
        values = {**element.attrib, **declared}
        return _SHAPES[name](shapes.Attributes(values, place.viewport, place.style.font_px), segments)

    def _dashed(self, element: Element, line: Line, place: Place) -> Line:
        style = place.style
        lengths = [
            length_px(part, "other", place.viewport, style.font_px) for part in style.dashes.replace(",", " ").split()
        ]
        pattern = tuple(length for length in lengths if length is not None and length >= 0.0)
        if len(pattern) != len(lengths) or not pattern:
            self.notes.add(f"stroke-dasharray '{style.dashes[:40]}' is not valid; drawn unbroken", line_of(element))
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

    # ------------------------------------------------------------------ what is repeated: patterns and markers

    def _tiles(self, element: Element, place: Place, pattern: Pattern, region: int) -> None:
        """Draw a pattern's content wherever a tile meets the region, a silent mark."""
        painting = self.painting
        painting.clips.append(Clip((region,), place.clip))
        clip = len(painting.clips) - 1
        box = self._box_of_marks(region, pattern.matrix, silent=True)
        if box is None or not any(local_name(c) in _DRAWN for c in pattern.content):
            return
        x, y, width, height = pattern.tile
        left, top = np.floor((box[0] - x) / width), np.floor((box[1] - y) / height)
        right, bottom = np.ceil((box[0] + box[2] - x) / width), np.ceil((box[1] + box[3] - y) / height)
        count = (right - left) * (bottom - top)
        if not np.isfinite(count) or count > _MOST_TILES:
            what = f"a pattern of more than {_MOST_TILES} tiles is too fine for a pen and left out"
            self.notes.add(what, line_of(element))
            return
        style = self._style(self.cascade.declared(pattern.content), self._around(pattern.content))
        alpha = place.alpha * pattern.alpha
        inside = (*place.inside, pattern.content)
        base = replace(place, clip=clip, style=style, alpha=alpha, inside=inside, viewport=pattern.viewport)
        if pattern.alpha < 1.0:
            base = replace(base, back_to=max(base.back_to, len(painting.marks)))
        for row in range(int(top), int(bottom)):
            for column in range(int(left), int(right)):
                moved = multiply(pattern.matrix, translation(x + column * width, y + row * height))
                tile = replace(base, matrix=moved)
                if pattern.cut:
                    tile = self._framed(tile, 0.0, 0.0, width, height)
                    painting.clips[tile.clip] = replace(painting.clips[tile.clip], kind="page")
                self._children(pattern.content, replace(tile, matrix=multiply(moved, pattern.inner)))

    def _markers(self, place: Place, found: list[Vertex], context: Context) -> None:
        for vertex in found:
            link = url_of(place.style.markers[vertex.kind])
            target = None if link is None else self.document.target(link[0])
            if target is None or local_name(target) != "marker" or target in place.inside:
                continue
            self._marker(target, place, vertex, context)

    def _marker(self, target: Element, place: Place, vertex: Vertex, context: Context) -> None:
        declared = self.cascade.declared(target)
        if not _shown(declared):
            return
        values = {**target.attrib, **declared}
        by_stroke = values.get("markerUnits", "strokeWidth") != "userSpaceOnUse"
        scale = 1.0
        if by_stroke:
            scale = length_px(place.style.stroke_width, "other", place.viewport, place.style.font_px) or 0.0
        width = self._length(target, {"w": values.get("markerWidth", "3")}, "w", "x", place, 3.0)
        height = self._length(target, {"h": values.get("markerHeight", "3")}, "h", "y", place, 3.0)
        box = parse_view_box(values.get("viewBox", ""))
        if width <= 0.0 or height <= 0.0 or scale <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        orient = values.get("orient", "0").strip()
        if orient in ("auto", "auto-start-reverse"):
            angle = vertex.angle_deg + (180.0 if orient != "auto" and vertex.kind == 0 else 0.0)
        else:
            angle = angle_deg(orient) or 0.0
        fit = IDENTITY if box is None else fit_view_box(box, values.get("preserveAspectRatio", ""), width, height)
        viewport = (width, height) if box is None else (box[2], box[3])
        inner = replace(place, viewport=viewport)
        words = {"left": "0%", "center": "50%", "right": "100%", "top": "0%", "bottom": "100%"}
        reference = [words.get(values.get(name, "0"), values.get(name, "0")) for name in ("refX", "refY")]
        at = apply(
            fit,
            self._length(target, {"x": reference[0]}, "x", "x", inner, 0.0),
            self._length(target, {"y": reference[1]}, "y", "y", inner, 0.0),
        )
        turn = parse_transform(f"rotate({angle:.12g})", place.viewport, 1.0) or IDENTITY
        matrix = multiply(multiply(translation(vertex.x, vertex.y), turn), scaling(scale, scale))
        matrix = multiply(place.matrix, multiply(matrix, translation(-at[0], -at[1])))
        style = self._style(declared, self._around(target))
        inner = replace(
            inner, matrix=matrix, style=style, inside=(*place.inside, target), context=context, viewport=viewport
        )
        if declared.get("overflow", "hidden") not in ("visible", "auto"):
            inner = self._framed(inner, 0.0, 0.0, width, height)
        inner = replace(inner, matrix=multiply(matrix, fit))
        self._with_effects(target, declared, inner, lambda at: self._children(target, at))

    def _around(self, element: Element) -> Style:
        """The style that a definition inherits from where it stands in the file."""
        chain = []
        at = self.document.parent(element)
        while at is not None:
            chain.append(self.cascade.declared(at))
            at = self.document.parent(at)
        style = self.first_style
        for declared in reversed(chain):
            style = self._style(declared, style)
        return style

    # ------------------------------------------------------------------ photographs and words

    def _image(self, element: Element, declared: Declared, place: Place) -> None:
        if not place.style.visible:
            return
        try:
            found = embedded(href_of(element), self.limits)
        except BadImage as problem:
            self.notes.add(f"<image> is not drawn: {problem}", line_of(element))
            return
        x = self._length(element, declared, "x", "x", place, 0.0)
        y = self._length(element, declared, "y", "y", place, 0.0)
        if found.svg is not None:
            self._nested_svg(element, declared, found.svg, place, x, y)
            return
        assert found.pixels is not None
        rows, columns = found.pixels.shape[:2]
        width, height = self._image_size(element, declared, place, columns, rows)
        if width <= 0.0 or height <= 0.0:
            return
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        aspect = element.get("preserveAspectRatio", "")
        if "slice" in aspect:
            moved = self._framed(moved, 0.0, 0.0, width, height)
        fit = fit_view_box((0.0, 0.0, columns, rows), aspect, width, height)
        matrix = multiply(moved.matrix, multiply(fit, scaling(columns, rows)))
        shapes.rectangle(self.painting.segments, 0.0, 0.0, 1.0, 1.0)
        opaque = found.pixels.shape[2] == 3 and place.alpha >= 1.0
        mark = Mark(matrix, Paint("#000000", place.alpha, None, opaque), None, False, moved.clip, place.layer)
        self.painting.add(
            replace(
                mark,
                back_to=place.back_to,
                photograph=found.pixels,
                origin=element,
                line_number=line_of(element),
            )
        )

    def _image_size(
        self, element: Element, declared: Declared, place: Place, own_width: float, own_height: float
    ) -> tuple[float, float]:
        """Width and height of an image; a side that is left to it keeps its proportion."""
        width = self._length(element, declared, "width", "x", place, -1.0)
        height = self._length(element, declared, "height", "y", place, -1.0)
        width_given = declared.get("width", "auto") != "auto"
        height_given = declared.get("height", "auto") != "auto"
        if not width_given:
            width = own_width * height / own_height if height_given else own_width
        if not height_given:
            height = own_height * width / own_width
        return width, height

    def _nested_svg(self, element: Element, declared: Declared, data: bytes, place: Place, x: float, y: float) -> None:
        """An SVG inside the SVG: drawn like a picture of its own, in its place."""
        if len(place.inside) > 4:
            self.notes.add("an image within an image within an image is not drawn", line_of(element))
            return
        try:
            document = parse_document(data, f"{self.document.name}, line {line_of(element)}", self.limits, self.notes)
        except SourceError as problem:
            self.notes.add(f"<image> is not drawn: {problem}", line_of(element))
            return
        inner = _Walk(document, self.limits, self.painting, Wish(words=self.wish.words))
        inner.visited, inner.depth = self.visited, self.depth + 1
        root = document.root
        box = parse_view_box(root.get("viewBox", ""))
        own_width, own_height, _ = picture_size_px(root, inner.cascade.declared(root), box, 16.0, self.notes)
        width, height = self._image_size(element, declared, place, own_width, own_height)
        if min(width, height, own_width, own_height) <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        moved = self._framed(moved, 0.0, 0.0, width, height)
        fit = fit_view_box((0.0, 0.0, own_width, own_height), element.get("preserveAspectRatio", ""), width, height)
        style = inner._style(inner.cascade.declared(root), inner.first_style)
        matrix = multiply(moved.matrix, fit)
        moved = replace(moved, matrix=matrix, style=style, inside=(*place.inside, element), uses=())
        moved = inner._in_view_box(root, moved, box, own_width, own_height)
        root_declared = inner.cascade.declared(root)
        inner._with_effects(root, root_declared, moved, lambda at: inner._children(root, at))
        self.visited = inner.visited

    def _text(self, element: Element, declared: Declared, place: Place, *, plain: bool = False) -> None:
        """Words; ``plain``: as areas, for clips."""
        collector = Collector(
            self.document, self.cascade, place.viewport, self._style, lambda e, d: _shown(d) and _for_us(e)
        )
        characters = collector.collect(element, span_of(element, declared, place.style, place.viewport))
        layout = Layout(self.typesetter, lambda path: self._rail(path.target, place), place.viewport, outlines=plain)
        placed = layout.placed(characters)
        boxes = [self._box_of_letter(one, plain) for one in placed if one.matrix is not None]
        around = _around(boxes)
        for span, run in groupby(placed, key=lambda one: one.span):
            self._words(list(run), span, replace(place, style=span.style), around)
        if around is not None and len(self.painting.marks):
            self.boxes.append((len(self.painting.marks) - 1, around, place.matrix))

    def _box_of_letter(self, one: Letter, outlines: bool) -> Box:
        """The box of a cluster as its font states it, in units of the text."""
        assert one.matrix is not None
        metrics = self.typesetter.metrics(one.span.style.font, outlines)
        corners = [
            apply(one.matrix, x, y) for x in (0.0, one.cluster.advance) for y in (-metrics.ascent, -metrics.descent)
        ]
        xs, ys = [p[0] for p in corners], [p[1] for p in corners]
        return (min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))

    def _words(self, letters: list[Letter], span: Span, place: Place, around: Box | None) -> None:
        """The letters of one span, and the lines along them."""
        if not place.style.visible:
            return
        for name, asking in span.decorations:
            if name != "line-through":
                self._decoration(letters, name, asking, place, around)
        fill, line = self._paints(span.element, place, lambda: around)
        segments = self.painting.segments
        for filled in (True, False):
            rows, outlines = len(segments), len(segments.starts)
            for one in letters:
                if one.cluster.filled is filled and one.matrix is not None:
                    for part, scale, dx, dy in one.cluster.parts:
                        own = multiply(one.matrix, (scale, 0.0, 0.0, scale, dx, dy))
                        transformed(part, own, segments)
            if len(segments.starts) == outlines:
                continue
            self._count_segments(span.element)
            if filled:
                self._mark(span.element, place, fill, line, rows, outlines, even_odd=False)
            else:
                ink = fill if isinstance(fill, Paint) else line.paint if line is not None else None
                width = STEM_EM * span.style.font_px
                thin = None if ink is None else Line(ink, width, "round", "round")
                self._mark(span.element, place, None, thin, rows, outlines)
        for name, asking in span.decorations:
            if name == "line-through":
                self._decoration(letters, name, asking, place, around)

    def _decoration(self, letters: list[Letter], name: str, asking: Span, place: Place, around: Box | None) -> None:
        """A line along letters, as thick as the font of whoever asks for it says, in its paint."""
        metrics = self.typesetter.metrics(asking.style.font, False)
        at = {"underline": metrics.underline, "line-through": metrics.strike, "overline": metrics.ascent}[name]
        segments = self.painting.segments
        rows, outlines = len(segments), len(segments.starts)
        single = not self.wish.words.outlines
        for one in letters:
            if one.matrix is None or one.cluster.advance <= 0.0:
                continue
            width, top = one.cluster.advance, -at - metrics.thickness / 2
            begin, end = apply(one.matrix, 0.0, -at), apply(one.matrix, width, -at)
            last = segments.rows[-2:] if len(segments) > rows else None
            joins = last is not None and math.hypot(last[0] - begin[0], last[1] - begin[1]) < 1e-6 * max(width, 1.0)
            if single:
                if not joins:
                    segments.begin()
                segments.line(*begin, *end)
            else:
                box = Segments()
                shapes.rectangle(box, 0.0, top, width, metrics.thickness)
                transformed(box, one.matrix, segments)
        if len(segments.starts) == outlines:
            return
        painted = replace(place, style=asking.style)
        fill, line = self._paints(asking.element, painted, lambda: around)
        if single:
            ink = fill if isinstance(fill, Paint) else None
            thin = None if ink is None else Line(ink, metrics.thickness)
            self._mark(asking.element, painted, None, thin, rows, outlines)
        else:
            self._mark(asking.element, painted, fill, line, rows, outlines, even_odd=False)

    def _rail(self, target: Element, place: Place) -> Rail | None:
        """The path of a text, flattened finely, in units of the text."""
        name = local_name(target)
        if name != "path" and name not in _SHAPES:
            return None
        declared = self.cascade.declared(target)
        segments = Segments()
        try:
            self._draw(target, name, declared, place, segments)
        except shapes.BadShape:
            return None
        if not len(segments):
            return None
        own = self._transformed(target, declared, replace(place, matrix=IDENTITY)).matrix
        return rail_of(segments, own)

    # ------------------------------------------------------------------ properties

    def _declared(self, element: Element, place: Place) -> Declared:
        """The element's own properties; remembered for what ``use`` may show a thousand times."""
        if not place.uses and not place.inside:
            return self.cascade.declared(element)
        declared = self.copied.get(element)
        if declared is None:
            declared = self.copied[element] = self.cascade.declared(element)
        return declared

    def _style(self, declared: Declared, parent: Style) -> Style:
        given = tuple((name, value) for name, value in declared.items() if name in INHERITED)
        if not given:
            return parent
        # All styles are kept for as long as the walk lasts, so their addresses stay theirs.
        style = self.styles.get((id(parent), given))
        if style is None:
            style = self.styles[id(parent), given] = inherit_style(parent, declared)
        return style

    def _transformed(self, element: Element, declared: Declared, place: Place) -> Place:
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

    def _not_finite(self, element: Element, problem: NotFinite) -> SourceError:
        return SourceError(
            f"the number '{str(problem)[:60]}' is not finite",
            where=self.document.where(element),
            hint="correct the number, or delete the element and save again",
        )


_SHAPE = Paint("#000000")
"""What the shapes of clips are filled with."""


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


def _needs_box(target: Element) -> bool:
    """Whether a clip path or mask refers to the box of what it is for."""
    if local_name(target) == "clipPath":
        return True  # its own clip-path may
    return (
        target.get("maskUnits", "objectBoundingBox") != "userSpaceOnUse"
        or target.get("maskContentUnits", "") == "objectBoundingBox"
    )


def _in_box(place: Place, box: Box | None) -> Place:
    if box is None:
        return replace(place, matrix=(0.0,) * 6)
    unit = (box[2], 0.0, 0.0, box[3], box[0], box[1])
    return replace(place, matrix=multiply(place.matrix, unit), viewport=(1.0, 1.0))


def _around(boxes: Sequence[Box | None]) -> Box | None:
    found = [box for box in boxes if box is not None]
    if not found:
        return None
    x, y = min(box[0] for box in found), min(box[1] for box in found)
    return (x, y, max(box[0] + box[2] for box in found) - x, max(box[1] + box[3] for box in found) - y)
