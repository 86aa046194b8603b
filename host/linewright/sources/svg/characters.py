"""The characters of a ``text`` element, each with style, stated position and path."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from linewright.sources.svg.cascade import Cascade, Declared
from linewright.sources.svg.document import Document, href_of, local_name
from linewright.sources.svg.lengths import NUMBER, Axis, angle_deg, fraction, length_px
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.style import Style

_SEPARATORS = re.compile(r"[\s,]+")
_QUANTITY = re.compile(rf"{NUMBER}[a-zA-Z%]*")
_SPACE = "{http://www.w3.org/XML/1998/namespace}space"


@dataclass(eq=False)
class Span:
    """Common properties of one element's characters.

    Parameters
    ----------
    shift_px : upward shift of the baseline.
    baseline : line of the letters aligned with the baseline; ``auto`` for the default.
    decorations : ``(line, span)``: lines along the text, painted like the span that requests them.
    length_px, stretches : ``textLength``, and whether letters are stretched to it.
    around : the enclosing span.
    overrides : ``unicode-bidi: bidi-override``.
    """

    element: Element
    style: Style
    shift_px: float = 0.0
    shift_words: tuple[str, ...] = ()
    baseline: str = "auto"
    decorations: tuple[tuple[str, Span], ...] = ()
    length_px: float | None = None
    stretches: bool = False
    around: Span | None = None
    overrides: bool = False

    def is_in(self, other: Span) -> bool:
        """Whether it is another span or lies within it."""
        return self is other or (self.around is not None and self.around.is_in(other))


@dataclass(eq=False)
class TextPath:
    """A path that text runs along."""

    element: Element
    target: Element
    start: str


@dataclass(slots=True)
class Character:
    """One character; ``x`` to ``rotate`` are None if not stated."""

    text: str
    span: Span
    path: TextPath | None = None
    x: float | None = None
    y: float | None = None
    dx: float = 0.0
    dy: float = 0.0
    rotate: float = 0.0


@dataclass
class _Given:
    """Position lists of one element, and the number of its characters so far."""

    x: list[float]
    y: list[float]
    dx: list[float]
    dy: list[float]
    rotate: list[float]
    met: int = 0


@dataclass
class Collector:
    """Collects the characters of one ``text``.

    Parameters
    ----------
    style : returns the style of a child.
    shown : whether an element is visible by its properties.
    """

    document: Document
    cascade: Cascade
    viewport: tuple[float, float]
    style: Callable[[Declared, Style], Style]
    shown: Callable[[Element, Declared], bool]
    found: list[Character] = field(default_factory=list)
    _lists: list[_Given] = field(default_factory=list)
    _keeps: bool = False

    def collect(self, element: Element, span: Span) -> list[Character]:
        """All characters in document order, with collapsed white space."""
        # The text element itself lies on its baseline; shifts apply to its descendants.
        span.shift_px, span.shift_words = 0.0, ()
        self._element(element, span, None, _preserves(element, self.document), 0)
        return self._collapsed()

    def _element(self, element: Element, span: Span, path: TextPath | None, keeps: bool, depth: int) -> None:
        if depth > 40:
            return
        self._lists.append(self._given(element, span.style))
        self._text(element.text, span, path, keeps)
        for child in element:
            name = local_name(child)
            if name in ("tspan", "a", "textPath", "tref"):
                declared = self.cascade.declared(child)
                if self.shown(child, declared):
                    self._child(child, name, declared, span, path, keeps, depth)
            self._text(child.tail, span, path, keeps)
        self._lists.pop()

    def _child(
        self, child: Element, name: str, declared: Declared, span: Span, path: TextPath | None, keeps: bool, depth: int
    ) -> None:
        inner = self._span(child, declared, span)
        space = child.get(_SPACE)
        keeps = space == "preserve" if space is not None else keeps
        if name == "textPath":
            target = self.document.target(href_of(child))
            if target is None or path is not None or depth > 0:
                return
            path = TextPath(child, target, child.get("startOffset", "0"))
        if name == "tref":
            target = self.document.target(href_of(child))
            if target is not None and local_name(target) == "text":
                self._lists.append(self._given(child, inner.style))
                self._text("".join(target.itertext()), inner, path, keeps)
                self._lists.pop()
            return
        self._element(child, inner, path, keeps, depth + 1)

    def _span(self, element: Element, declared: Declared, parent: Span) -> Span:
        style = self.style(declared, parent.style)
        declared = with_parents(element, declared, self.document, self.cascade)
        made = span_of(element, declared, style, self.viewport)
        made.around = parent
        made.overrides |= parent.overrides
        made.shift_px += parent.shift_px
        made.shift_words = (*parent.shift_words, *made.shift_words)
        made.decorations = (*parent.decorations, *made.decorations)
        if made.baseline == "auto" and "alignment-baseline" not in declared:
            made.baseline = parent.baseline if "dominant-baseline" not in declared else made.baseline
        return made

    def _given(self, element: Element, style: Style) -> _Given:
        def lengths(name: str, axis: Axis) -> list[float]:
            found = []
            for part in _SEPARATORS.split(element.get(name, "").strip()):
                value = length_px(part, axis, self.viewport, style.font_px) if part else None
                if value is None:
                    break
                found.append(value)
            return found

        if local_name(element) == "textPath":  # has no positions (SVG 2, section 11.8.1)
            return _Given([], [], [], [], [])
        turns = [angle_deg(part) for part in _SEPARATORS.split(element.get("rotate", "").strip()) if part]
        rotate = [turn for turn in turns if turn is not None]
        return _Given(
            lengths("x", "x"), lengths("y", "y"), lengths("dx", "x"), lengths("dy", "y"), rotate if rotate else []
        )

    def _text(self, text: str | None, span: Span, path: TextPath | None, keeps: bool) -> None:
        if not text:
            return
        for character in text.replace("\r\n", "\n"):
            if character in "\n\r\t":
                character = " "
            if not keeps and character == " " and (not self.found or self.found[-1].text == " "):
                continue
            one = Character(character, span, path)
            for given in self._lists:  # inner elements last, because they win
                at = given.met
                if at < len(given.x):
                    one.x = given.x[at]
                if at < len(given.y):
                    one.y = given.y[at]
                if at < len(given.dx):
                    one.dx = given.dx[at]
                if at < len(given.dy):
                    one.dy = given.dy[at]
                if given.rotate:
                    one.rotate = given.rotate[min(at, len(given.rotate) - 1)]
                given.met += 1
            self.found.append(one)
            self._keeps = keeps

    def _collapsed(self) -> list[Character]:
        """Without trailing white space."""
        if not self._keeps and self.found and self.found[-1].text == " ":
            self.found.pop()
        return self.found


def with_parents(element: Element, declared: Declared, document: Document, cascade: Cascade) -> Declared:
    """The properties with ``inherit`` resolved for those that are not inherited."""
    found = declared
    for name in ("alignment-baseline", "baseline-shift", "text-decoration"):
        at: Element | None = element
        value = declared.get(name, "")
        while at is not None and value.lower() == "inherit":
            at = document.parent(at)
            value = "" if at is None else cascade.declared(at).get(name, "")
        if value != declared.get(name, ""):
            found = {key: one for key, one in found.items() if key != name} | ({name: value} if value else {})
    return found


def span_of(element: Element, declared: Declared, style: Style, viewport: tuple[float, float]) -> Span:
    """The span of an element."""
    span = Span(element, style)
    shift = declared.get("baseline-shift", "baseline").lower()
    if shift in ("sub", "super"):
        span.shift_words = (shift,)
    elif shift.endswith("%"):
        span.shift_px = (fraction(shift) or 0.0) * style.font_px
    elif shift != "baseline":
        span.shift_px = length_px(shift, "y", viewport, style.font_px) or 0.0
    alignment = declared.get("alignment-baseline", "auto").lower()
    span.baseline = alignment if alignment not in ("auto", "baseline") else style.font.baseline
    lines = declared.get("text-decoration", NONE).lower().split()
    span.decorations = tuple((line, span) for line in lines if line in ("underline", "overline", "line-through"))
    span.overrides = declared.get("unicode-bidi", "").lower() in ("bidi-override", "isolate-override")
    stated = element.get("textLength")
    if stated is not None:
        length = length_px(stated, "x", viewport, style.font_px)
        span.length_px = length if length is not None and length >= 0.0 else None
        span.stretches = element.get("lengthAdjust") == "spacingAndGlyphs"
    return span


def _preserves(element: Element, document: Document) -> bool:
    at: Element | None = element
    while at is not None:
        space = at.get(_SPACE)
        if space is not None:
            return space == "preserve"
        at = document.parent(at)
    return False
