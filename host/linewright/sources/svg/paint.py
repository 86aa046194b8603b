"""Colours of CSS as ``#rrggbb`` and alpha."""

from __future__ import annotations

import re
from functools import lru_cache

import tinycss2.color3
import tinycss2.color4

NONE = "none"
CURRENT = "currentColor"

_HEX = re.compile(r"#[0-9a-fA-F]{6}")


@lru_cache(maxsize=4096)
def colour_and_alpha(text: str) -> tuple[str, float] | None:
    """``("#rrggbb", alpha)``, ``(CURRENT, 1)``, or None if it is no colour."""
    if _HEX.fullmatch(text):
        return text.lower(), 1.0
    colour = tinycss2.color3.parse_color(text)
    if colour == "currentColor":
        return CURRENT, 1.0
    if colour is None:
        colour = tinycss2.color4.parse_color(text)
        if colour is None or colour == "currentcolor":
            return None
        try:
            colour = colour.to("srgb")
        except (AttributeError, NotImplementedError, ValueError):
            return None
    red, green, blue, alpha = (0.0 if c is None else float(c) for c in colour)
    levels = (round(255.0 * min(1.0, max(0.0, c))) for c in (red, green, blue))
    return "#" + "".join(f"{level:02x}" for level in levels), min(1.0, max(0.0, alpha))


def parse_colour(text: str) -> str | None:
    """``#rrggbb``, `NONE` for a fully transparent colour, `CURRENT`, or None if it is no colour."""
    found = colour_and_alpha(text)
    if found is None:
        return None
    return NONE if found[1] <= 0.0 else found[0]
