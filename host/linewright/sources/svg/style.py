"""`Style`: inherited properties as computed for one element."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from linewright.sources.painting.marks import Cap, Join
from linewright.sources.svg.cascade import FONT_PROPERTIES, Declared
from linewright.sources.svg.grammar import FONT_SIZES_PX
from linewright.sources.svg.lengths import DEFAULT_FONT_PX, NUMBER, fraction, length_px
from linewright.sources.svg.paint import CURRENT, NONE, parse_colour

# Text properties that are not inherited.
_OWN = ("text-decoration", "baseline-shift", "alignment-baseline", "unicode-bidi")
INHERITED = frozenset((
    "fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-linecap", "stroke-linejoin",
    "stroke-miterlimit", "stroke-dasharray", "stroke-dashoffset", "color", "visibility", "fill-rule", "clip-rule",
    "paint-order", "marker-start", "marker-mid", "marker-end", *(name for name in FONT_PROPERTIES if name not in _OWN),
))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Font:
    """Font properties: CSS keywords in lower case, except for families."""

    families: str = ""
    size_px: float = DEFAULT_FONT_PX
    style: str = "normal"
    weight: int = 400
    stretch: str = "normal"
    variant: str = "normal"
    kerning: str = "auto"
    letter_spacing: str = "normal"
    word_spacing: str = "normal"
    anchor: str = "start"
    direction: str = "ltr"
    writing: str = "horizontal-tb"
    baseline: str = "auto"
    white_space: str = ""
    variations: tuple[tuple[str, float], ...] = ()
    optical_sizing: bool = True


@dataclass(frozen=True, slots=True)
class Style:
    """Inherited properties, computed. The defaults are the initial values of SVG 2, appendix F.

    Parameters
    ----------
    fill, stroke : text of the paint.
    color : text of the colour that ``currentColor`` means.
    fill_alpha, stroke_alpha : opacity of that paint.
    even_odd, clip_even_odd : even-odd rule instead of winding.
    stroke_width, dash_offset : text of the length.
    dashes : text of the lengths.
    visible : ``visibility: visible``.
    markers : references for the start, the middle and the end.
    paint_order : ``fill``, ``stroke`` and ``markers`` in the order in which they are painted.
    """

    fill: str = "#000000"
    stroke: str = NONE
    color: str = "#000000"
    fill_alpha: float = 1.0
    stroke_alpha: float = 1.0
    even_odd: bool = False
    clip_even_odd: bool = False
    stroke_width: str = "1"
    cap: Cap = "butt"
    join: Join = "miter"
    miter_limit: float = 4.0
    dashes: str = NONE
    dash_offset: str = "0"
    visible: bool = True
    paint_order: tuple[str, ...] = ("fill", "stroke", "markers")
    markers: tuple[str, str, str] = (NONE, NONE, NONE)
    font: Font = Font()

    @property
    def font_px(self) -> float:
        """Font size, px, for ``em``."""
        return self.font.size_px

    @property
    def dots(self) -> bool:
        """Whether a stroke of length 0 is visible: round or square caps."""
        return self.cap != "butt"


_INITIAL = Style()


def inherit_style(parent: Style, declared: Declared) -> Style:
    """The style of an element with parent style ``parent`` and valid properties ``declared``.

    Raises
    ------
    NotFinite
        A number is NaN or infinite.
    """
    changes: dict[str, object] = {}
    font: dict[str, object] = {}
    for name in sorted(declared.keys() & INHERITED):
        value = declared[name]
        word = value.lower()
        if word in ("inherit", "unset"):
            continue
        if name in _FONT_FIELDS:
            field, compute_font = _FONT_FIELDS[name]
            font[field] = getattr(_INITIAL.font, field) if word == "initial" else compute_font(value, parent.font)
        elif name.startswith("marker-"):
            place = ("marker-start", "marker-mid", "marker-end").index(name)
            markers = list(changes.get("markers", parent.markers))  # type: ignore[call-overload]  # a tuple
            markers[place] = value
            changes["markers"] = tuple(markers)
        else:
            field, compute = _FIELDS[name]
            changes[field] = getattr(_INITIAL, field) if word == "initial" else compute(value, parent)
    if font:
        changes["font"] = replace(parent.font, **font)  # type: ignore[arg-type]  # values follow _FONT_FIELDS
    return replace(parent, **changes) if changes else parent  # type: ignore[arg-type]  # values follow _FIELDS


def _text(value: str, _parent: object) -> str:
    return value


def _word(value: str, _parent: object) -> str:
    return value.lower()


def _colour(value: str, parent: Style) -> str:
    return parent.color if parse_colour(value) == CURRENT else value


def _share(value: str, _parent: Style) -> float:
    share = fraction(value)
    return 1.0 if share is None else min(1.0, max(0.0, share))


def _even_odd(value: str, _parent: Style) -> bool:
    return value.lower() == "evenodd"


def _join(value: str, _parent: Style) -> str:
    word = value.lower()
    return word if word in ("round", "bevel") else "miter"


def _limit(value: str, parent: Style) -> float:
    limit = fraction(value)
    return parent.miter_limit if limit is None or limit < 1.0 else limit


def _visible(value: str, _parent: Style) -> bool:
    return value.lower() == "visible"


def _paint_order(value: str, _parent: Style) -> tuple[str, ...]:
    words, usual = value.lower().split(), _INITIAL.paint_order
    if len(set(words)) < len(words) or any(word not in usual for word in words):
        return usual
    return (*words, *(word for word in usual if word not in words))


def _font_px(value: str, parent: Font) -> float:
    word = value.lower()
    if word in FONT_SIZES_PX:
        return FONT_SIZES_PX[word]
    if word in ("smaller", "larger"):
        return parent.size_px * (1.2 if word == "larger" else 1 / 1.2)
    size = length_px(value, "x", (parent.size_px, parent.size_px), parent.size_px)
    return parent.size_px if size is None else size


def _weight(value: str, parent: Font) -> int:
    word = value.lower()
    if word == "bolder":  # CSS Fonts 4, section 2.2.1
        return 400 if parent.weight < 350 else 700 if parent.weight < 550 else 900
    if word == "lighter":
        return 100 if parent.weight < 550 else 400 if parent.weight < 750 else 700
    return {"normal": 400, "bold": 700}.get(word) or int(float(value))


def _baseline(value: str, parent: Font) -> str:
    word = value.lower()
    return parent.baseline if word in ("no-change", "reset-size", "use-script") else word


def _variations(value: str, _parent: Font) -> tuple[tuple[str, float], ...]:
    pairs = (_AXIS.fullmatch(part.strip()) for part in value.split(","))
    return tuple((pair[2], float(pair[3])) for pair in pairs if pair is not None)


_AXIS = re.compile(rf"(['\"])(.{{4}})\1\s+({NUMBER})")

_FIELDS: dict[str, tuple[str, Callable[[str, Style], object]]] = {
    "fill": ("fill", _text), "fill-opacity": ("fill_alpha", _share), "stroke": ("stroke", _text),
    "stroke-opacity": ("stroke_alpha", _share), "stroke-width": ("stroke_width", _text),
    "stroke-linecap": ("cap", _word), "stroke-linejoin": ("join", _join), "stroke-miterlimit": ("miter_limit", _limit),
    "stroke-dasharray": ("dashes", _word), "stroke-dashoffset": ("dash_offset", _text), "color": ("color", _colour),
    "visibility": ("visible", _visible), "fill-rule": ("even_odd", _even_odd),
    "clip-rule": ("clip_even_odd", _even_odd), "paint-order": ("paint_order", _paint_order),
}  # fmt: skip
_FONT_FIELDS: dict[str, tuple[str, Callable[[str, Font], object]]] = {
    "font-family": ("families", _text), "font-size": ("size_px", _font_px), "font-style": ("style", _word),
    "font-weight": ("weight", _weight), "font-stretch": ("stretch", _word), "font-variant": ("variant", _word),
    "font-kerning": ("kerning", _word), "letter-spacing": ("letter_spacing", _word),
    "word-spacing": ("word_spacing", _word), "text-anchor": ("anchor", _word), "direction": ("direction", _word),
    "writing-mode": ("writing", _word), "dominant-baseline": ("baseline", _baseline),
    "white-space": ("white_space", _word),
    # SVG 1.1, section 10.11: 0 disables kerning; other lengths are not used.
    "kerning": ("kerning", lambda value, parent: "none" if fraction(value) == 0.0 else parent.kerning),
    "text-rendering": ("kerning", lambda _value, parent: parent.kerning),
    "font-variation-settings": ("variations", _variations),
    "font-optical-sizing": ("optical_sizing", lambda value, _parent: value.lower() != "none"),
}  # fmt: skip
