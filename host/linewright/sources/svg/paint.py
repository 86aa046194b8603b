"""Colours of CSS as ``#rrggbb``, and the names by which people call the common ones."""

from __future__ import annotations

import re
from functools import lru_cache

import tinycss2.color3
import tinycss2.color4

NONE = "none"
CURRENT = "currentColor"

# CSS 2.1, section 4.3.6: the basic colour keywords (aqua and fuchsia under the names that a pen shop uses).
_NAMES = {
    "#000000": "black", "#c0c0c0": "silver", "#808080": "grey", "#ffffff": "white", "#800000": "maroon",
    "#ff0000": "red", "#800080": "purple", "#ff00ff": "magenta", "#008000": "green", "#00ff00": "lime",
    "#808000": "olive", "#ffff00": "yellow", "#ffa500": "orange", "#000080": "navy", "#0000ff": "blue",
    "#008080": "teal", "#00ffff": "cyan",
}  # fmt: skip
_HEX = re.compile(r"#[0-9a-fA-F]{6}")


def colour_name(colour: str) -> str:
    """``"red"`` for ``#ff0000``; colours without a common name keep their digits."""
    return _NAMES.get(colour, colour)


@lru_cache(maxsize=4096)
def parse_colour(text: str) -> str | None:
    """``#rrggbb``, `NONE` for a fully transparent colour, `CURRENT`, or None when it is no colour."""
    if _HEX.fullmatch(text):
        return text.lower()
    colour = tinycss2.color3.parse_color(text)
    if colour == "currentColor":
        return CURRENT
    if colour is None:
        colour = tinycss2.color4.parse_color(text)
        if colour is None or colour == "currentcolor":
            return None
        try:
            colour = colour.to("srgb")
        except (AttributeError, NotImplementedError, ValueError):
            return None
    red, green, blue, alpha = (0.0 if c is None else float(c) for c in colour)
    if alpha <= 0.0:
        return NONE
    levels = (round(255.0 * min(1.0, max(0.0, c))) for c in (red, green, blue))
    return "#" + "".join(f"{level:02x}" for level in levels)
