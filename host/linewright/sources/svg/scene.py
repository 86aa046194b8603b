"""`SvgScene`: shared state of the walk: document, styles, lengths, and the growing painting."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, Protocol
from xml.etree.ElementTree import Element

import numpy as np

from linewright.errors import SourceError
from linewright.sources.painting.bounds import Box, bounds
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.marks import Clip, Mark, Paint, Painting
from linewright.sources.painting.matrices import IDENTITY, Matrix, apply, flattens, inverse, multiply
from linewright.sources.painting.segments import ROW
from linewright.sources.picture import Wish
from linewright.sources.svg import shapes
from linewright.sources.svg.affine import around, fit_view_box, parse_origin, parse_transform
from linewright.sources.svg.cascade import Cascade, Declared
from linewright.sources.svg.document import Document, line_of, local_name
from linewright.sources.svg.grammar import EVERYWHERE
from linewright.sources.svg.lengths import Axis, NotFinite, fraction, length_px
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.place import Place
from linewright.sources.svg.servers import PaintServers
from linewright.sources.svg.style import INHERITED, Style, inherit_style
from linewright.sources.svg.typesetting import Typesetter

SHAPE_PAINT: Final = Paint("#000000")
"""Fill of clip shapes."""

DRAWN: Final = frozenset((
    "g", "a", "switch", "path", "use", "svg", "symbol", "text", "image", "foreignObject", "script", "animate",
    "animateTransform", "animateMotion", "set", "rect", "circle", "ellipse", "line", "polyline", "polygon",
))  # fmt: skip
"""Elements that the walk visits; all others (definitions, metadata, foreign ones) are not shown by themselves."""

_LANGUAGE: Final = "en"
"""Language for <switch>. It is always English, so that the same file gives the same drawing on every computer."""


class Walker(Protocol):
    """Interface to the recursion, for parts that draw contained elements."""

    def children(self, element: Element, place: Place) -> None:
        """Draw the children of an element."""


class SvgScene:
    """A document and its painting.

    Attributes
    ----------
    boxes : boxes of words, which exceed their ink: mark, box, matrix.
    bounding : number of enclosing effects that need a bounding box.
    unseen : box and matrix of unpainted elements, which count for bounding boxes (SVG 2, section 8.10).
    zoom : mm on the sheet per mm of the page.
    visited, depth : number of elements drawn, and depth of the walk, for the limits.
    """

    def __init__(self, document: Document, limits: FileLimits, painting: Painting, wish: Wish) -> None:
        self.document = document
        self.limits = limits
        self.painting = painting
        self.notes = painting.notes
        self.wish = wish
        self.cascade = Cascade(document, self.notes)
        self.typesetter = Typesetter(wish.words, self.notes)
        self.servers = PaintServers(document, self.cascade, self.notes)
        self.zoom = 1.0
        self.visited = 0
        self.depth = 0
        self.first_style = Style()
        self.boxes: list[tuple[int, Box, Matrix]] = []
        self.bounding = 0
        self.unseen: list[tuple[Box, Matrix]] = []
        self._copied: dict[Element, Declared] = {}
        # Thousands of elements have the same few properties, so styles are cached.
        self._styles: dict[tuple[int, tuple[tuple[str, str], ...]], Style] = {}

    def hides_overflow(self, element: Element, declared: Declared) -> bool:
        """Whether overflow of an element's viewport is hidden (SVG 2, section 14.1)."""
        word = declared.get("overflow", "").lower()
        at: Element | None = element
        while at is not None and word in ("inherit", "unset"):
            at = self.document.parent(at)
            word = "" if at is None else self.cascade.declared(at).get("overflow", "").lower()
        if word or at is None:
            return word not in ("visible", "auto", "initial", "")
        return at is not self.document.root and local_name(at) in ("svg", "symbol", "marker", "pattern", "image")

    def in_view_box(self, element: Element, place: Place, box: Box | None, width: float, height: float) -> Place:
        """The place inside a ``viewBox`` shown at size ``width`` x ``height``."""
        if box is None:
            return replace(place, viewport=(width, height))
        fit = fit_view_box(box, element.get("preserveAspectRatio", ""), width, height)
        return replace(place, matrix=multiply(place.matrix, fit), viewport=(box[2], box[3]))

    def framed(self, place: Place, x: float, y: float, width: float, height: float, *, kind: str = "frame") -> Place:
        """A place whose marks are visible within this rectangle only."""
        if flattens(place.matrix) or width <= 0.0 or height <= 0.0:
            return place
        shapes.rectangle(self.painting.segments, x, y, width, height)
        mark = self.painting.add(Mark(place.matrix, fill=SHAPE_PAINT, silent=True))
        self.painting.clips.append(Clip((mark,), place.clip, "page" if kind == "page" else "frame"))
        return replace(place, clip=len(self.painting.clips) - 1)

    def length(
        self, element: Element, declared: Declared, name: str, axis: Axis, place: Place, default: float
    ) -> float:
        """A length in user units; ``default`` if missing or invalid."""
        text = declared.get(name)
        if text is None or text == "auto" or text.lower() in EVERYWHERE:
            return default
        value = length_px(text, axis, place.viewport, place.style.font_px)
        if value is None:
            self.notes.add(f'{name}="{text[:40]}" is not a length; {default:g} stands for it', line_of(element))
            return default
        return value

    def measured(self, place: Place, draw: Callable[[], None]) -> Box | None:
        """Bounding box of what ``draw`` draws, in units of the place; the drawing is undone."""
        painting, segments = self.painting, self.painting.segments
        rows, outlines = len(segments), len(segments.starts)
        marks, clips, boxes, unseen = len(painting.marks), len(painting.clips), len(self.boxes), len(self.unseen)
        draw()
        box = self.box_of_marks(marks, place.matrix, unseen=unseen)
        segments.drop(rows, outlines)
        del painting.owner[outlines:], painting.marks[marks:], painting.clips[clips:], self.boxes[boxes:]
        del self.unseen[unseen:]
        return box

    def box_of_marks(self, first: int, matrix: Matrix, *, unseen: int, silent: bool = False) -> Box | None:
        """Bounding box of marks from ``first`` on, and of ``unseen`` boxes, in the units that ``matrix`` maps to mm."""
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
        for box, own in (*((box, own) for number, box, own in self.boxes if number >= first), *self.unseen[unseen:]):
            x, y, width, height = box
            to = multiply(back, own)
            corners = [apply(to, x + i * width, y + j * height) for i in (0, 1) for j in (0, 1)]
            xs, ys = [p[0] for p in corners], [p[1] for p in corners]
            found.append((min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)))
        return box_around(found)

    def box_of_new(self, rows_before: int) -> Callable[[], Box | None]:
        """A function that returns the bounding box of all segments from ``rows_before`` on."""
        segments = self.painting.segments

        def box() -> Box | None:
            kinds = np.frombuffer(bytes(segments.kinds[rows_before:]), dtype=np.uint8)
            return bounds(kinds, np.array(segments.rows[ROW * rows_before :]).reshape(-1, ROW))

        return box

    def count_segments(self, element: Element, more: int = 0) -> None:
        """Raise a `SourceError` if the picture with ``more`` segments exceeds the limit."""
        if len(self.painting.segments) + more > self.limits.segments:
            raise refuse(
                "too many lines and curves",
                None,
                self.limits.segments,
                "segments",
                where=self.document.where(element),
                hint="simplify the picture or split it",
            )

    def declared(self, element: Element, place: Place) -> Declared:
        """The element's own properties; cached, because ``use`` may show it many times."""
        if not place.uses and not place.inside:
            return self.cascade.declared(element)
        return self.declared_in_copies(element)

    def declared_in_copies(self, element: Element) -> Declared:
        """The own properties of an element shown by ``use``."""
        declared = self._copied.get(element)
        if declared is None:
            declared = self._copied[element] = self.cascade.declared(element)
        return declared

    def style(self, declared: Declared, parent: Style) -> Style:
        """The style of an element with properties ``declared`` and parent style ``parent``."""
        given = tuple((name, value) for name, value in declared.items() if name in INHERITED)
        if not given:
            return parent
        # All styles are kept during the walk, so their addresses stay valid.
        style = self._styles.get((id(parent), given))
        if style is None:
            style = self._styles[id(parent), given] = inherit_style(parent, declared)
        return style

    def style_around(self, element: Element) -> Style:
        """The style that a definition inherits from its position in the file."""
        chain = []
        at = self.document.parent(element)
        while at is not None:
            chain.append(self.cascade.declared(at))
            at = self.document.parent(at)
        style = self.first_style
        for declared in reversed(chain):
            style = self.style(declared, style)
        return style

    def transformed(self, element: Element, declared: Declared, place: Place) -> Place:
        """The place inside an element's ``transform``."""
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

    def not_finite(self, element: Element, problem: NotFinite) -> SourceError:
        """The error for a number that is NaN or infinite."""
        return SourceError(
            f"the number '{str(problem)[:60]}' is not finite",
            where=self.document.where(element),
            hint="correct the number, or delete the element and save again",
        )


def shown(declared: Declared) -> bool:
    """False for ``display: none`` and for a group or shape whose own opacity is 0."""
    return declared.get("display", "").lower() != NONE and not is_clear(declared)


def is_clear(declared: Declared) -> bool:
    """Whether the opacity of a group or shape is 0."""
    opacity = declared.get("opacity")
    share = fraction(opacity) if opacity is not None else None
    return share is not None and share <= 0.0


def for_us(element: Element) -> bool:
    """Conditional processing (SVG 2, section 5.8): language matches, no extensions required."""
    if element.get("requiredExtensions", "").strip():
        return False
    languages = element.get("systemLanguage")
    if languages is None:
        return True
    wanted = [tag.strip().lower() for tag in languages.split(",")]
    return any(tag == _LANGUAGE or tag.startswith(_LANGUAGE + "-") for tag in wanted)


def box_around(boxes: Sequence[Box | None]) -> Box | None:
    """Bounding box of boxes; None if there are none."""
    found = [box for box in boxes if box is not None]
    if not found:
        return None
    x, y = min(box[0] for box in found), min(box[1] for box in found)
    return (x, y, max(box[0] + box[2] for box in found) - x, max(box[1] + box[3] for box in found) - y)
