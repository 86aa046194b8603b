"""`Style`: the properties that children inherit, as they stand on one element."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.lengths import DEFAULT_FONT_PX, fraction, length_px, quantity
from linewright.sources.svg.notes import Notes
from linewright.sources.svg.paint import CURRENT, NONE, parse_colour

_URL = re.compile(r"url\(\s*(['\"]?)(.*?)\1\s*\)\s*(.*)", re.DOTALL)
INHERITED = frozenset((
    "fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-linecap", "stroke-dasharray",
    "stroke-dashoffset", "color", "font-size", "visibility", "fill-rule",
))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Style:
    """Inherited properties, computed. The defaults are the initial values of SVG 2, appendix F.

    Parameters
    ----------
    fill, stroke : ``#rrggbb``, ``"none"`` or ``"currentColor"``.
    color : ``#rrggbb``: what ``currentColor`` means.
    fill_seen, stroke_seen : False where the opacity of that paint is 0.
    even_odd : whether what an outline encloses is counted by crossings and not by winding.
    stroke_width : text of the length; only zero matters, since the pen decides how wide a line is.
    dots : whether a stroke without length shows: line caps that are round or square.
    dashes, dash_offset : texts of the lengths.
    visible : ``visibility: visible``.
    font_px : font size, px, for lengths in ``em``.
    """

    fill: str = "#000000"
    stroke: str = NONE
    color: str = "#000000"
    fill_seen: bool = True
    even_odd: bool = False
    stroke_seen: bool = True
    stroke_width: str = "1"
    dots: bool = False
    dashes: str = NONE
    dash_offset: str = "0"
    visible: bool = True
    font_px: float = DEFAULT_FONT_PX

    def stroke_colour(self, viewport: tuple[float, float]) -> str | None:
        """Colour of the stroke, or None where no stroke is seen (no paint, no opacity or no width)."""
        if self.stroke == NONE or not self.stroke_seen:
            return None
        width = length_px(self.stroke_width, "other", viewport, self.font_px)
        if width is not None and width <= 0.0:
            return None
        return self._resolved(self.stroke)

    def fill_colour(self) -> str | None:
        """Colour of the filling, or None where it is not seen."""
        return None if self.fill == NONE or not self.fill_seen else self._resolved(self.fill)

    def _resolved(self, paint: str) -> str | None:
        colour = self.color if paint == CURRENT else paint
        return None if colour == NONE else colour


_INITIAL = Style()


def inherit_style(
    parent: Style,
    declared: Declared,
    server_colour: Callable[[str, int | None], str | None],
    notes: Notes,
    line: int | None,
) -> Style:
    """The style of an element whose parent has ``parent`` and which was given ``declared``.

    Parameters
    ----------
    server_colour : one colour that stands for a gradient or pattern, by the target of its ``url()``; None when it
        does not exist.
    line : line of the element in the file, for the notes.

    Raises
    ------
    NotFinite
        When a number is NaN or infinite.
    """
    changes: dict[str, object] = {}
    for name in sorted(declared.keys() & INHERITED):
        value = declared[name]
        word = value.lower()
        if word in ("inherit", "unset"):
            continue
        field = _FIELDS[name]
        if word == "initial":
            changes[field] = getattr(_INITIAL, field)
        elif name in ("fill", "stroke"):
            paint = _paint(value, server_colour, line)
            if paint is None:
                notes.add(f"{name} '{value[:40]}' is not a colour; it is ignored", line)
            else:
                changes[field] = paint
        else:
            computed = _COMPUTE[name](value, parent)
            if computed is not None:
                changes[field] = computed
    return replace(parent, **changes) if changes else parent  # type: ignore[arg-type]  # values follow _COMPUTE


def _paint(value: str, server_colour: Callable[[str, int | None], str | None], line: int | None) -> str | None:
    if value.lower() == NONE:
        return NONE
    if value in ("context-fill", "context-stroke"):
        return NONE  # outside of markers there is no context (SVG 2, section 13.3)
    found = _URL.match(value)
    if found is None:
        return parse_colour(value)
    fallback = found[3].strip()
    colour = server_colour(found[2].strip(), line)
    if colour is not None:
        return colour
    if fallback == "":
        return NONE
    return NONE if fallback.lower() == NONE else parse_colour(fallback)


def _colour(value: str, parent: Style) -> str | None:
    colour = parse_colour(value)
    return parent.color if colour == CURRENT else colour


def _seen(value: str, _parent: Style) -> bool | None:
    share = fraction(value)
    return None if share is None else share > 0.0


def _text_of_length(value: str, _parent: Style) -> str | None:
    return None if quantity(value) is None else value


def _dashes(value: str, _parent: Style) -> str:
    return value.lower()


def _even_odd(value: str, _parent: Style) -> bool:
    return value.lower() == "evenodd"


def _dots(value: str, _parent: Style) -> bool:
    return value.lower() in ("round", "square")


def _visible(value: str, _parent: Style) -> bool:
    return value.lower() == "visible"


def _font_px(value: str, parent: Style) -> float | None:
    return length_px(value, "x", (parent.font_px, parent.font_px), parent.font_px)


_FIELDS = {
    "fill": "fill", "fill-opacity": "fill_seen", "stroke": "stroke", "stroke-opacity": "stroke_seen",
    "stroke-width": "stroke_width", "stroke-linecap": "dots", "stroke-dasharray": "dashes",
    "stroke-dashoffset": "dash_offset", "color": "color", "font-size": "font_px", "visibility": "visible",
    "fill-rule": "even_odd",
}  # fmt: skip
_COMPUTE: dict[str, Callable[[str, Style], object]] = {
    "fill-opacity": _seen, "stroke-opacity": _seen, "stroke-width": _text_of_length, "stroke-linecap": _dots,
    "stroke-dasharray": _dashes, "stroke-dashoffset": _text_of_length, "color": _colour, "font-size": _font_px,
    "visibility": _visible, "fill-rule": _even_odd,
}  # fmt: skip
