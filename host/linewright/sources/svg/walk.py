"""The walk over the element tree: shapes in paint order as a `Painting`; omissions are reported in warnings.

SVG elements refer to each other in all directions (a clip path contains a `use` of a text with a pattern). So the walk
is one recursion, and its parts get the walk itself::

    Walk -> Embedding, Markers -> Effects -> Writing -> Outlines -> Tiles -> Scene, which all share
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final
from xml.etree.ElementTree import Element

from linewright.errors import SourceError
from linewright.sources.painting.bounds import Box
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.marks import Painting
from linewright.sources.painting.matrices import flattens, multiply, translation
from linewright.sources.painting.notes import Notes
from linewright.sources.picture import Wish
from linewright.sources.svg.affine import parse_view_box
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.copies import Copies
from linewright.sources.svg.document import Document, href_of, line_of, local_name
from linewright.sources.svg.effects import EFFECTS, Effects
from linewright.sources.svg.embedding import Embedding
from linewright.sources.svg.layers import Layers
from linewright.sources.svg.lengths import NotFinite
from linewright.sources.svg.markers import Markers
from linewright.sources.svg.outlines import SHAPES, Outlines
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.picture_size import page_boxes, picture_size_px
from linewright.sources.svg.place import Context, Place
from linewright.sources.svg.scene import DRAWN, SHAPE_PAINT, SvgScene, for_us, is_clear, shown
from linewright.sources.svg.tiles import PatternTiles
from linewright.sources.svg.writing import Writing
from linewright.units import MM_PER_PX

_ADVICE: Final = {
    "foreignObject": "<foreignObject> is not drawn",
    "script": "<script> is never run",
    **{name: f"<{name}> does not move here; the picture is drawn as it stands at the start"
       for name in ("animate", "animateTransform", "animateMotion", "set")},
}  # fmt: skip


def paint(document: Document, limits: FileLimits, notes: Notes, wish: Wish) -> Painting:
    """Everything drawable of a document, in paint order.

    Raises
    ------
    SourceError
        A number is not finite, or a limit is exceeded.
    """
    painting = Painting(document.name, notes, describe=document.describe)
    Walk(document, limits, painting, wish).run()
    return painting


class Walk:
    """Walks one document."""

    def __init__(self, document: Document, limits: FileLimits, painting: Painting, wish: Wish) -> None:
        self.scene = scene = SvgScene(document, limits, painting, wish)
        self._layers = Layers(painting.layers, wish.layers)
        self._outlines = Outlines(scene, PatternTiles(scene, self))
        self._writing = Writing(scene, self._outlines)
        self._effects = Effects(scene, self, self._outlines, self._writing)
        self._markers = Markers(scene, self, self._effects)
        self._embedding = Embedding(scene, self._nested)
        self._with_context: dict[Element, bool] = {}
        self._styled: tuple[Place, Place] | None = (
            None  # the last place, and the one derived from it with an element's style
        )
        self._copies = Copies(
            document, most=limits.expanded + 1, shown=lambda element: shown(scene.declared_in_copies(element))
        )

    def _nested(self, document: Document) -> Walk:
        """A walk over a document embedded in this one."""
        inner = Walk(document, self.scene.limits, self.scene.painting, Wish(words=self.scene.wish.words))
        inner.scene.zoom = self.scene.zoom
        inner.scene.visited, inner.scene.depth = self.scene.visited, self.scene.depth + 1
        return inner

    def show(self, place: Place) -> None:
        """Draw the root element's content with the effects on it."""
        root = self.scene.document.root
        self._effects.applied(root, self.scene.cascade.declared(root), place, lambda at: self.children(root, at))

    def run(self) -> None:
        """Draw the whole document.

        Raises
        ------
        SourceError
            A number is not finite, or a limit is exceeded.
        """
        root = self.scene.document.root
        try:
            self._root(root)
            self._layers.check(self.scene.painting.name)
        except NotFinite as problem:  # from the root element; others are handled at their elements
            raise self.scene.not_finite(root, problem) from None

    def _root(self, root: Element) -> None:
        declared = self.scene.cascade.declared(root)
        style = self.scene.style(declared, self.scene.first_style)
        box = parse_view_box(root.get("viewBox", ""))
        if "viewBox" in root.attrib and box is None:
            self.scene.notes.add(f"viewBox '{root.get('viewBox', '')[:40]}' is not valid and left out", line_of(root))
        result, limit = self.scene.painting, self.scene.limits.coordinate_mm
        width, height, result.size_stated = picture_size_px(root, declared, box, style.font_px, self.scene.notes)
        width, height, box = self._page(root, width, height, box)
        result.width_mm, result.height_mm = width * MM_PER_PX, height * MM_PER_PX
        if max(result.width_mm, result.height_mm) > limit:
            raise refuse(
                "the picture is too large",
                max(result.width_mm, result.height_mm),
                limit,
                "mm",
                where=self.scene.document.where(root),
                hint="check width and height of the <svg>",
            )
        if min(width, height) <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            raise SourceError(
                f"the picture is {result.width_mm:g} x {result.height_mm:g} mm"
                + (f" with a viewBox of {box[2]:g} x {box[3]:g}" if box else "")
                + "; nothing of it can be seen",
                where=self.scene.document.where(root),
                hint="give the <svg> a width and a height above zero",
            )
        if result.size_stated:
            self.scene.zoom = self.scene.wish.on_sheet_mm(result.width_mm, result.height_mm)[0] / result.width_mm
        place = Place((MM_PER_PX, 0.0, 0.0, MM_PER_PX, 0.0, 0.0), (width, height), style)
        if result.size_stated and declared.get("overflow") not in ("visible", "auto"):
            place = self.scene.framed(place, 0.0, 0.0, width, height, kind="page")
        if not shown(declared):
            return
        if not for_us(root):
            self.scene.notes.add("the picture says that it is for readers of another language; drawn all the same")
        # The root element's transform acts inside its viewport, around that of the viewBox (SVG 2, 8.2).
        place = self.scene.transformed(root, declared, place)
        inner = self.scene.in_view_box(root, place, box, width, height)
        self._effects.applied(root, declared, inner, lambda at: self.children(root, at, top=True))

    def _page(self, root: Element, width: float, height: float, box: Box | None) -> tuple[float, float, Box | None]:
        """Size and view of the requested page."""
        pages = page_boxes(root)
        if len(pages) > 1 and self.scene.wish.page == 1:
            self.scene.notes.add(f"the file has {len(pages)} pages and the first is drawn; --page 2 draws the second")
        if self.scene.wish.page == 1 and len(pages) < 2:
            return width, height, box
        if not 1 <= self.scene.wish.page <= max(1, len(pages)):
            raise SourceError(
                f"there is no page {self.scene.wish.page}; the file has {max(1, len(pages))}",
                where=self.scene.document.name,
                hint=f"take a page from 1 to {max(1, len(pages))}",
            )
        page = pages[self.scene.wish.page - 1]
        share = 1.0 if box is None or box[2] <= 0.0 else width / box[2]
        return page[2] * share, page[3] * share, page

    def _nested_viewport(self, element: Element, declared: Declared, place: Place, use: Declared | None) -> None:
        """A nested ``svg``, or a ``symbol`` shown by ``use``."""
        given = {**declared, **{k: v for k, v in (use or {}).items() if k in ("width", "height")}}
        is_symbol = local_name(element) == "symbol"
        x = 0.0 if is_symbol else self.scene.length(element, declared, "x", "x", place, 0.0)
        y = 0.0 if is_symbol else self.scene.length(element, declared, "y", "y", place, 0.0)
        width = self.scene.length(element, given, "width", "x", place, place.viewport[0])
        height = self.scene.length(element, given, "height", "y", place, place.viewport[1])
        box = parse_view_box(element.get("viewBox", ""))
        if width <= 0.0 or height <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        inner = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        if self.scene.hides_overflow(element, declared):
            inner = self.scene.framed(inner, 0.0, 0.0, width, height)
        self.children(element, self.scene.in_view_box(element, inner, box, width, height))

    def children(self, element: Element, place: Place, *, top: bool = False) -> None:
        """Draw the children of an element; ``top``: of the root, whose groups are layers."""
        for child in element:
            if not top:
                self.element(child, place)
            elif local_name(child) == "g":
                number, drawn = self._layers.enter(child)
                if drawn:
                    self.element(child, replace(place, layer=number), reveal=bool(self.scene.wish.layers))
            elif not self.scene.wish.layers:
                self.element(child, place)

    def element(self, element: Element, place: Place, use: Declared | None = None, *, reveal: bool = False) -> None:
        """Draw one element with its contents.

        Parameters
        ----------
        use : properties of the use element that shows it.
        reveal : draw it even if hidden.
        """
        self.scene.visited += 1
        self.scene.depth += 1
        if self.scene.depth > self.scene.limits.depth:
            raise refuse(
                "elements nested too deeply once <use> is expanded",
                None,
                self.scene.limits.depth,
                "levels",
                where=self.scene.document.where(element),
                hint="ungroup the picture before saving it",
            )
        self._bounded(self.scene.visited, element)
        name = local_name(element)
        if name is not None and name in DRAWN:
            try:
                self._known_element(element, name, place, use, reveal)
            except NotFinite as problem:
                raise self.scene.not_finite(element, problem) from None
        self.scene.depth -= 1

    def _bounded(self, elements: int, element: Element) -> None:
        """Refuse a picture with too many elements, found at ``element``."""
        if elements > self.scene.limits.expanded:
            raise refuse(
                "too many elements once every <use> is expanded",
                None,
                self.scene.limits.expanded,
                "elements",
                where=self.scene.document.where(element),
                hint="the picture repeats itself too often; draw fewer copies",
            )

    def _known_element(self, element: Element, name: str, place: Place, use: Declared | None, reveal: bool) -> None:
        declared = self.scene.declared(element, place)
        if reveal:
            declared = {k: v for k, v in declared.items() if k != "display"}
        if not for_us(element):
            return
        if shown(declared):
            self._shown(element, name, declared, place, use)
        elif self.scene.bounding and is_clear(declared) and declared.get("display", "").lower() != NONE:
            seen = {key: value for key, value in declared.items() if key != "opacity"}
            box = self.scene.measured(place, lambda: self._shown(element, name, seen, place, use))
            if box is not None:
                self.scene.unseen.append((box, place.matrix))

    def _shown(self, element: Element, name: str, declared: Declared, place: Place, use: Declared | None) -> None:
        """Draw an element that is neither skipped nor hidden."""
        style = self.scene.style(declared, place.style)
        if style is not place.style:
            # Consecutive shapes mostly have the same style.
            if self._styled is None or self._styled[0] is not place or self._styled[1].style is not style:
                self._styled = place, replace(place, style=style)
            place = self._styled[1]
        if name in _ADVICE:
            if style.visible:
                self.scene.notes.add(_ADVICE[name], line_of(element))
            return
        if name == "symbol" and use is None:
            return
        if "transform" in declared:
            place = self.scene.transformed(element, declared, place)
        if flattens(place.matrix):
            self.scene.notes.add("an element is squeezed to nothing by its transform and not drawn", line_of(element))
        elif EFFECTS.isdisjoint(declared):
            self._content(element, name, declared, place, use)
        else:
            self._effects.applied(element, declared, place, lambda at: self._content(element, name, declared, at, use))

    def _content(self, element: Element, name: str, declared: Declared, place: Place, use: Declared | None) -> None:
        if name == "path" or name in SHAPES:
            self._outlines.shape(element, name, declared, place, self._markers.draw)
        elif name == "use":
            self._use(element, declared, place)
        elif name in ("svg", "symbol"):
            self._nested_viewport(element, declared, place, use)
        elif name == "switch":
            chosen = next((c for c in element if local_name(c) in DRAWN and for_us(c)), None)
            if chosen is not None:
                self.element(chosen, place)
        elif name == "text":
            self._writing.text(element, declared, place)
        elif name == "image":
            self._embedding.image(element, declared, place)
        else:
            self.children(element, place)

    def _use(self, element: Element, declared: Declared, place: Place) -> None:
        reference = href_of(element)
        target = self.scene.document.target(reference)
        if target is None:
            why = "is not in the file" if reference.startswith("#") else "is outside the file and never fetched"
            self.scene.notes.add(f"<use> shows nothing: '{reference[:60]}' {why}", line_of(element))
            return
        if target in place.uses or self._is_inside(element, target):
            self.scene.notes.add(
                f"<use> shows '{reference[:60]}', which contains this <use>; it would never end and is left out",
                line_of(element),
            )
            return
        if len(place.uses) >= self.scene.limits.use_depth:
            raise refuse(
                "<use> inside <use> too deeply",
                None,
                self.scene.limits.use_depth,
                "levels",
                where=self.scene.document.where(element),
                hint="ungroup the clones before saving",
            )
        self._bounded(self.scene.visited + self._copies.least(target), element)
        x = self.scene.length(element, declared, "x", "x", place, 0.0)
        y = self.scene.length(element, declared, "y", "y", place, 0.0)
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)), uses=(*place.uses, target))
        if self._wants_context(target):
            box = None
            if "url" in (place.style.fill + place.style.stroke).lower():
                filled = replace(moved, context=Context(SHAPE_PAINT, None))
                box = self.scene.measured(place, lambda: self.element(target, filled, use=declared))
            moved = replace(moved, context=self._context(place, box, line_of(element)))
        self.element(target, moved, use=declared)

    def _wants_context(self, target: Element) -> bool:
        """Whether an element contains paint ``context-fill`` or ``context-stroke``."""
        found = self._with_context.get(target)
        if found is None:
            found = any("context-" in value for one in target.iter() for value in one.attrib.values())
            self._with_context[target] = found
        return found

    def _context(self, place: Place, box: Box | None, line: int | None) -> Context:
        """Paints for ``context-fill`` and ``context-stroke`` in the contents of a ``use``."""
        style = place.style
        fill = self.scene.servers.paint(style.fill, style.fill_alpha, place, box, line)
        return Context(fill, self.scene.servers.paint(style.stroke, style.stroke_alpha, place, box, line))

    def _is_inside(self, element: Element, target: Element) -> bool:
        at: Element | None = element
        while at is not None:
            if at is target:
                return True
            at = self.scene.document.parent(at)
        return False
