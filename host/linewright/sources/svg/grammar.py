"""Valid values of SVG properties; invalid ones are ignored (CSS Syntax 3)."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Final

from linewright.sources.svg.affine import parse_transform
from linewright.sources.svg.lengths import NotFinite, fraction, length_px, quantity
from linewright.sources.svg.paint import NONE, parse_colour

EVERYWHERE: Final = frozenset(("inherit", "initial", "unset"))
"""Keywords valid for every property."""

FONT_SIZES_PX: Final = {
    "xx-small": 9.0, "x-small": 10.0, "small": 13.0, "medium": 16.0, "large": 18.0, "x-large": 24.0, "xx-large": 32.0,
}  # fmt: skip
"""CSS Fonts 4, section 2.5: the absolute sizes around a medium of 16 px."""

_URL = re.compile(r"url\(\s*(['\"]?)(.*?)\1\s*\)\s*(.*)", re.DOTALL | re.IGNORECASE)


def url_of(value: str) -> tuple[str, str] | None:
    """``("#id", fallback)`` of ``url(#id) fallback``; None for anything else."""
    found = _URL.match(value)
    return None if found is None else (found[2].strip(), found[3].strip())


def _colour(value: str) -> bool:
    return parse_colour(value) is not None


def _paint(value: str) -> bool:
    word = value.lower()
    if word in (NONE, "context-fill", "context-stroke"):
        return True
    link = url_of(value)
    if link is None:
        return _colour(value)
    return link[1] == "" or link[1].lower() == NONE or _colour(link[1])


def _number(value: str) -> bool:
    return fraction(value) is not None


def _length(value: str) -> bool:
    return quantity(value) is not None and length_px(value, "x", (1.0, 1.0)) is not None


def _spacing(value: str) -> bool:
    return value.lower() == "normal" or _length(value)


def _font_size(value: str) -> bool:
    return value.lower() in FONT_SIZES_PX or value.lower() in ("smaller", "larger") or _length(value)


def _font_weight(value: str) -> bool:
    return value.lower() in ("normal", "bold", "bolder", "lighter") or (
        quantity(value) is not None and 1 <= float(quantity(value)[0]) <= 1000  # type: ignore[index]  # is not None
    )


def _shift(value: str) -> bool:
    return value.lower() in ("baseline", "sub", "super") or _length(value)


def _reference(value: str) -> bool:
    return value.lower() == NONE or url_of(value) is not None


def _dashes(value: str) -> bool:
    if value.lower() == NONE:
        return True
    lengths = [length_px(part, "x", (1.0, 1.0)) for part in value.replace(",", " ").split()]
    return bool(lengths) and all(length is not None and length >= 0.0 for length in lengths)


def _transform(value: str) -> bool:
    return parse_transform(value, (1.0, 1.0), 16.0) is not None


def _clip(value: str) -> bool:
    """A reference, or the shapes and boxes of CSS Masking 1, which are valid though unsupported."""
    return _reference(value) or re.match(r"[a-z-]+(\(.*\)|-box\b)", value, re.DOTALL | re.IGNORECASE) is not None


def _anything(_value: str) -> bool:
    return True


def _words(*words: str) -> Callable[[str], bool]:
    known = frozenset(words)
    return lambda value: value.lower() in known


_VALID: Final[dict[str, Callable[[str], bool]]] = {
    "fill": _paint, "stroke": _paint, "color": _colour, "stop-color": _colour,
    "fill-opacity": _number, "stroke-opacity": _number, "opacity": _number, "stop-opacity": _number,
    "fill-rule": _words("nonzero", "evenodd"), "clip-rule": _words("nonzero", "evenodd"),
    "stroke-width": _length, "stroke-dashoffset": _length, "stroke-miterlimit": _number,
    "stroke-linecap": _words("butt", "round", "square"),
    "stroke-linejoin": _words("miter", "miter-clip", "round", "bevel", "arcs"),
    "visibility": _words("visible", "hidden", "collapse"),
    "font-size": _font_size, "font-weight": _font_weight, "letter-spacing": _spacing, "word-spacing": _spacing,
    "font-style": lambda value: value.lower().split()[:1] in (["normal"], ["italic"], ["oblique"]),
    "text-anchor": _words("start", "middle", "end"), "direction": _words("ltr", "rtl"), "baseline-shift": _shift,
    "marker-start": _reference, "marker-mid": _reference, "marker-end": _reference,
    "mask-type": _words("luminance", "alpha"),
    "stroke-dasharray": _dashes, "transform": _transform, "clip-path": _clip,
    "writing-mode": _words("lr", "lr-tb", "rl", "rl-tb", "tb", "tb-rl", "horizontal-tb", "vertical-rl", "vertical-lr",
                           "sideways-rl", "sideways-lr"),
    "overflow": lambda value: set(value.lower().split()) <= {"visible", "hidden", "clip", "scroll", "auto"},
    # CSS Display 3, section 2; the keywords of tables and ruby are recognised by prefix.
    "display": lambda value: all(
        re.fullmatch(r"none|contents|(inline|block|run-in|flow|flex|grid|table|ruby|list-item|math)(-[a-z-]+)?", word)
        for word in value.lower().split()
    ),
}  # fmt: skip


@lru_cache(maxsize=8192)
def valid(name: str, value: str) -> bool:
    """Whether a value is valid; non-finite numbers pass, to be refused later with their position."""
    if value.lower() in EVERYWHERE:
        return True
    try:
        return _VALID.get(name, _anything)(value)
    except NotFinite:
        return True
