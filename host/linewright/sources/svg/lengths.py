"""SVG lengths and angles to user units (px) and degrees.

The absolute units are those of `linewright.units`. Font-relative units have no font here: ``em`` is the computed
``font-size`` (16 px by default, the browsers' value for ``medium``), and ``ex`` is half of it, the fallback of CSS
Values 3, section 6.1.1.
"""

from __future__ import annotations

import math
import re
from typing import Literal

from linewright.units import MM_PER, MM_PER_PX

DEFAULT_FONT_PX = 16.0
EX_PER_EM = 0.5

# The absolute units of CSS, which has no metre.
PX_PER_UNIT = {"": 1.0, **{unit: MM_PER[unit] / MM_PER_PX for unit in ("px", "in", "cm", "mm", "q", "pt", "pc")}}
DEGREES_PER_UNIT = {"": 1.0, "deg": 1.0, "grad": 0.9, "rad": 180.0 / math.pi, "turn": 360.0}

NUMBER = r"[+-]?+(?:\d++(?:\.\d*+)?+|\.\d++)(?:[eE][+-]?+\d++)?+"
_QUANTITY = re.compile(rf"\s*({NUMBER})\s*([a-zA-Z]*|%)\s*")
# float() accepts these as NaN and infinity; an SVG must not contain them.
_NOT_FINITE = re.compile(r"\s*[+-]?(?:nan|inf(?:inity)?)(?![a-z])", re.IGNORECASE)

Axis = Literal["x", "y", "other"]


class NotFinite(ValueError):
    """A number of the picture is NaN or infinite."""


def is_not_finite(text: str) -> bool:
    """Whether ``text`` starts with a spelled-out NaN or infinity."""
    return _NOT_FINITE.match(text) is not None


def quantity(text: str) -> tuple[float, str] | None:
    """Split ``"12.5mm"`` into ``(12.5, "mm")``; None when it is not a number with at most one unit.

    Raises
    ------
    NotFinite
        The text is ``NaN``, ``Infinity`` or a number too large for a double.
    """
    found = _QUANTITY.fullmatch(text)
    if found is None:
        if is_not_finite(text):
            raise NotFinite(text.strip())
        return None
    value = float(found[1])
    if not math.isfinite(value):
        raise NotFinite(text.strip())
    return value, found[2].lower()


def length_px(text: str, axis: Axis, viewport: tuple[float, float], font_px: float = DEFAULT_FONT_PX) -> float | None:
    """A length in user units; None when ``text`` is no length.

    Parameters
    ----------
    text : for instance ``"12.5mm"`` or ``"50%"``.
    axis : reference of a percentage: width, height, or ``sqrt((w^2 + h^2)/2)`` (SVG 2, section 8.9).
    viewport : width and height of the nearest viewport, user units.
    font_px : computed font size, px.
    """
    parts = quantity(text)
    if parts is None:
        return None
    value, unit = parts
    if unit in PX_PER_UNIT:
        return value * PX_PER_UNIT[unit]
    if unit == "%":
        return value / 100.0 * _reference(axis, viewport)
    if unit == "em":
        return value * font_px
    if unit == "rem":
        return value * DEFAULT_FONT_PX
    if unit == "ex":
        return value * font_px * EX_PER_EM
    return None


def angle_deg(text: str) -> float | None:
    """An angle in degrees, also the default unit; None if ``text`` is no angle."""
    parts = quantity(text)
    if parts is None or parts[1] not in DEGREES_PER_UNIT:
        return None
    return parts[0] * DEGREES_PER_UNIT[parts[1]]


def fraction(text: str) -> float | None:
    """An opacity or another number, or a percentage (``50%`` is 0.5); None otherwise."""
    parts = quantity(text)
    if parts is None or parts[1] not in ("", "%"):
        return None
    return parts[0] / 100.0 if parts[1] == "%" else parts[0]


def _reference(axis: Axis, viewport: tuple[float, float]) -> float:
    width, height = viewport
    if axis == "x":
        return width
    if axis == "y":
        return height
    return math.sqrt((width * width + height * height) / 2.0)
