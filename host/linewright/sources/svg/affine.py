"""``transform`` attributes as matrices; viewBox with preserveAspectRatio."""

from __future__ import annotations

import math
import re

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.matrices import IDENTITY, Matrix, multiply, translation
from linewright.sources.svg.lengths import NUMBER, NotFinite, angle_deg, is_not_finite, length_px

_FUNCTION = re.compile(r"\s*([a-zA-Z]+)\s*\(([^()]*)\)\s*,?")
_ARGUMENT = re.compile(rf"{NUMBER}(?:[a-zA-Z]+|%)?")
_SEPARATORS = re.compile(r"[\s,]*")
_NUMBER = re.compile(NUMBER)
_SIDES_X = {"left": "0%", "center": "50%", "right": "100%"}
_SIDES_Y = {"top": "0%", "center": "50%", "bottom": "100%"}


def parse_transform(text: str, viewport: tuple[float, float], font_px: float) -> Matrix | None:
    """The ``transform`` attribute or property, in presentation or CSS syntax; None if invalid.

    Source of the functions: SVG 1.1, section 7.6 and CSS Transforms 1, section 12.

    Raises
    ------
    NotFinite
        An argument is NaN or infinite.
    """
    text = text.strip()
    if text in ("", "none"):
        return IDENTITY
    matrix, position = IDENTITY, 0
    while position < len(text):
        found = _FUNCTION.match(text, position)
        if found is None:
            return None
        arguments = _arguments(found[2])
        one = None if arguments is None else _function(found[1].lower(), arguments, viewport, font_px)
        if one is None:
            return None
        matrix = multiply(matrix, one)
        position = found.end()
    return matrix


def parse_origin(text: str, viewport: tuple[float, float], font_px: float) -> tuple[float, float] | None:
    """``transform-origin`` in user units; None if invalid. Percentages refer to the viewport."""
    words = text.lower().split()[:3]
    if len(words) == 1:
        words.append("center")
    if len(words) < 2:
        return None
    across, down = words[:2]
    if across in ("top", "bottom") or down in ("left", "right"):
        across, down = down, across
    x = length_px(_SIDES_X.get(across, across), "x", viewport, font_px)
    y = length_px(_SIDES_Y.get(down, down), "y", viewport, font_px)
    return None if x is None or y is None else (x, y)


def around(origin: tuple[float, float], matrix: Matrix) -> Matrix:
    """The matrix applied about ``origin``."""
    x, y = origin
    return multiply(multiply(translation(x, y), matrix), translation(-x, -y))


def parse_view_box(text: str) -> Box | None:
    """The four numbers of ``viewBox``; None if invalid.

    Raises
    ------
    NotFinite
        A number is NaN or infinite.
    """
    parts = [p for p in re.split(r"[\s,]+", text.strip()) if p]
    if any(is_not_finite(p) for p in parts):
        raise NotFinite(text.strip())
    if len(parts) != 4 or not all(_NUMBER.fullmatch(p) for p in parts):
        return None
    x, y, width, height = (float(p) for p in parts)
    if not all(map(math.isfinite, (x, y, width, height))):
        raise NotFinite(text.strip())
    return None if width < 0 or height < 0 else (x, y, width, height)


def fit_view_box(box: Box, aspect: str, width: float, height: float) -> Matrix:
    """The matrix from viewBox coordinates into a viewport of ``width`` by ``height`` at its own origin.

    Follows SVG 2, section 8.2 ("Computing the equivalent transform of an SVG viewport"). ``box`` must not be empty.
    """
    x, y, box_width, box_height = box
    words = [w for w in aspect.split() if w != "defer"]
    align = words[0] if words else "xMidYMid"
    scale_x, scale_y = width / box_width, height / box_height
    if align == "none":
        return (scale_x, 0.0, 0.0, scale_y, -x * scale_x, -y * scale_y)
    found = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", align)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    share_x, share_y = (share[found[1]], share[found[2]]) if found else (0.5, 0.5)
    slices = len(words) > 1 and words[1] == "slice"
    scale = max(scale_x, scale_y) if slices else min(scale_x, scale_y)
    free_x, free_y = width - box_width * scale, height - box_height * scale
    return (scale, 0.0, 0.0, scale, share_x * free_x - x * scale, share_y * free_y - y * scale)


def _arguments(text: str) -> list[str] | None:
    found: list[str] = []
    position = _end_of(_SEPARATORS, text, 0)
    while position < len(text):
        argument = _ARGUMENT.match(text, position)
        if argument is None:
            if is_not_finite(text[position:]):
                raise NotFinite(text[position:].strip())
            return None
        found.append(argument[0])
        position = _end_of(_SEPARATORS, text, argument.end())
    return found


def _end_of(pattern: re.Pattern[str], text: str, position: int) -> int:
    found = pattern.match(text, position)
    return position if found is None else found.end()


def _function(name: str, arguments: list[str], viewport: tuple[float, float], font_px: float) -> Matrix | None:
    count = len(arguments)
    if name in ("translate", "translatex", "translatey") and count in (1, 2):
        lengths = [
            length_px(a, "y" if i or name[-1] == "y" else "x", viewport, font_px) for i, a in enumerate(arguments)
        ]
        first, second = lengths[0], lengths[1] if count == 2 else 0.0
        if first is None or second is None or (count == 2 and name != "translate"):
            return None
        return translation(0.0, first) if name == "translatey" else translation(first, second)
    if name in ("rotate", "skewx", "skewy"):
        return _turn_or_skew(name, arguments, viewport, font_px)
    numbers = [float(a) for a in arguments if _NUMBER.fullmatch(a)]
    if len(numbers) != count:
        return None
    if not all(map(math.isfinite, numbers)):
        raise NotFinite(", ".join(arguments))
    if name == "matrix" and count == 6:
        return (numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], numbers[5])
    if name == "scale" and count in (1, 2):
        return (numbers[0], 0.0, 0.0, numbers[-1], 0.0, 0.0)
    if name == "scalex" and count == 1:
        return (numbers[0], 0.0, 0.0, 1.0, 0.0, 0.0)
    if name == "scaley" and count == 1:
        return (1.0, 0.0, 0.0, numbers[0], 0.0, 0.0)
    return None


def _turn_or_skew(name: str, arguments: list[str], viewport: tuple[float, float], font_px: float) -> Matrix | None:
    angle = angle_deg(arguments[0]) if arguments else None
    if angle is None:
        return None
    radians = math.radians(angle)
    if name == "rotate":
        sine, cosine = math.sin(radians), math.cos(radians)
        turn = (cosine, sine, -sine, cosine, 0.0, 0.0)
        if len(arguments) == 1:
            return turn
        if len(arguments) != 3:
            return None
        x = length_px(arguments[1], "x", viewport, font_px)
        y = length_px(arguments[2], "y", viewport, font_px)
        return None if x is None or y is None else around((x, y), turn)
    if len(arguments) != 1:
        return None
    slope = math.tan(radians)
    return (1.0, 0.0, slope, 1.0, 0.0, 0.0) if name == "skewx" else (1.0, slope, 0.0, 1.0, 0.0, 0.0)
