"""Accents, drawn for this project on the letters' grid, and their placement on a letter.

A mark is centred at x = 0. Marks above extend upward from y = 0, marks below downward; `put_on` moves them to the
letter.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.lettering.faces import CAP_UNITS, Glyph, Typeface, alphabet

Place = Literal["above", "below", "through"]

GAP_UNITS: Final = 2.5
"""Gap between a letter and its accent: an eighth of a capital, so that a pen of that width leaves them separate."""


def _arc(
    centre: tuple[float, float], radius: tuple[float, float], from_deg: float, to_deg: float, pieces: int
) -> tuple[tuple[float, float], ...]:
    turns = [math.radians(from_deg + (to_deg - from_deg) * i / pieces) for i in range(pieces + 1)]
    return tuple((centre[0] + radius[0] * math.cos(t), centre[1] + radius[1] * math.sin(t)) for t in turns)


Line = tuple[tuple[float, float], ...]
DOT: Final = "dot"
"""Placeholder for the face's full stop, at the position that follows."""

MARKS: Final[dict[str, tuple[Place, tuple[Line, ...], tuple[tuple[float, float], ...]]]] = {
    # combining character: position, lines, centres of dots
    "\u0300": ("above", (((-2.5, -5), (1.5, 0)),), ()),  # grave
    "\u0301": ("above", (((2.5, -5), (-1.5, 0)),), ()),  # acute
    "\u0302": ("above", (((-3.5, 0), (0, -4.5), (3.5, 0)),), ()),  # circumflex
    "\u0303": (
        "above",
        (((-4.5, 0), (-3.6, -2.4), (-2, -3), (0, -1.7), (2, -0.6), (3.6, -1.2), (4.5, -3.6)),),
        (),
    ),  # tilde
    "\u0304": ("above", (((-4, -1), (4, -1)),), ()),  # macron
    "\u0306": ("above", (_arc((0, -4.5), (3.5, 4.5), 180, 0, 8),), ()),  # breve
    "\u0307": ("above", (), ((0, -1),)),  # dot above
    "\u0308": ("above", (), ((-3, -1), (3, -1))),  # diaeresis
    "\u0309": (
        "above",
        (((-1.8, -4.8), (-0.6, -6), (1, -5.8), (1.8, -4.5), (1.2, -3), (0, -2.2), (0, 0)),),
        (),
    ),  # hook above
    "\u030a": ("above", (_arc((0, -2.5), (2.5, 2.5), 90, 450, 12),), ()),  # ring
    "\u030b": ("above", (((0, -5), (-3, 0)), ((4, -5), (1, 0))), ()),  # double acute
    "\u030c": ("above", (((-3.5, -4.5), (0, 0), (3.5, -4.5)),), ()),  # caron
    "\u0323": ("below", (), ((0, 1),)),  # dot below
    "\u0326": ("below", (((0.5, 0.5), (0.8, 2), (-0.2, 4.5)),), ()),  # comma below
    "\u0327": ("below", (((0, -2.5), (-0.5, 0), (1.5, 0.6), (2.2, 2.2), (1, 3.8), (-1.8, 3.8)),), ()),  # cedilla
    "\u0328": ("below", (((0, -2.5), (-2, 0), (-2.2, 2.2), (-0.6, 3.4), (1.4, 2.8)),), ()),  # ogonek
    "\u0331": ("below", (((-4, 1), (4, 1)),), ()),  # macron below
    "\u0335": ("through", (((-3.5, 0), (3.5, 0)),), ()),  # short bar
    "\u0338": ("through", (((-5.5, 7.5), (5.5, -7.5)),), ()),  # long slash
    "\u0342": ("above", (_arc((0, 0), (3.5, 4.5), 180, 360, 8),), ()),  # Greek circumflex
}

_AT_FOOT: Final = {"\u0327", "\u0328"}
"""Marks attached to the letter's foot without a gap."""


def has(mark: str) -> bool:
    """Whether the mark exists."""
    return mark in MARKS


def put_on(glyph: Glyph, mark: str, face: Typeface, *, base: str) -> Glyph:
    """The letter with one more mark; several are stacked.

    Parameters
    ----------
    base : the letter's character; the dot of i or j is dropped if a mark replaces it.
    """
    place, lines, dots = MARKS[mark]
    strokes = list(glyph.strokes)
    if place == "above" and base in "ij":
        strokes = [stroke for stroke in strokes if stroke[:, 1].max() > -face.x_height - 1.0]
        base = ""
    body = Glyph(tuple(strokes), glyph.advance)
    left, top, right, foot = body.box()
    if not strokes:
        left, right, top, foot = 0.0, glyph.advance, -face.x_height, 0.0
    middle = (left + right) / 2
    if place == "above":
        # The caron of these letters is an apostrophe beside the stem, as their languages print it.
        if mark == "\u030c" and base in "dtlL" and base:
            apostrophe = np.array([(1.0, 0.0), (1.2, 2.0), (0.0, 5.0)]) + (right + 1.5, -CAP_UNITS)
            return Glyph((*strokes, *stem(apostrophe, face)), glyph.advance + 3.0)
        at = (middle + face.slope * (-top + GAP_UNITS) * 0.5, top - GAP_UNITS)
    elif place == "below":
        at = (middle if mark != "\u0328" else right - 3.0, max(foot, 0.0) + (0.0 if mark in _AT_FOOT else GAP_UNITS))
    else:
        at = (middle, (top + foot) / 2)
    for line in lines:
        strokes += stem(leaning(line, face.slope) + at, face)
    for x, y in dots:
        strokes += [stroke + (at[0] + x, at[1] + y) for stroke in dot(face)]
    return Glyph(tuple(strokes), glyph.advance)


def dot(face: Typeface) -> tuple[Points, ...]:
    """The full stop of a face around (0, 0)."""
    stop = alphabet(face.latin)["."]
    left, top, right, foot = stop.box()
    return tuple(stroke - ((left + right) / 2, (top + foot) / 2) for stroke in stop.strokes)


def leaning(line: Line, slope: float) -> Points:
    """The line slanted to the right about its foot."""
    points = np.array(line, dtype=np.float64)
    points[:, 0] -= slope * points[:, 1]
    return points


def stem(line: Points, face: Typeface) -> list[Points]:
    """The line repeated as often as the face's stems have lines."""
    return [line + (0.7 * i - 0.35 * (face.lines - 1), 0.0) for i in range(face.lines)]
