"""Letters and signs that the data lacks and Unicode does not decompose, made from its letters and lines of our own.

Grid as in `faces`: capital height 21, x-height 14, y downward from the baseline.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linewright.sources.lettering import marks
from linewright.sources.lettering.faces import Glyph, Typeface

Line = tuple[tuple[float, float], ...]

SAME_AS: Final[dict[str, str]] = {
    "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2002": " ", "\u2003": " ", "\t": " ",
    "\u2010": "-", "\u2011": "-", "\u00ad": "-", "\u2044": "/", "\u2215": "/", "\u2217": "*", "\u2223": "|",
    "\u02bc": "\u2019", "\u2032": "'", "\u2033": '"', "\u212b": "\u00c5", "\u00b5": "\u03bc",
    "\u2126": "\u03a9", "\u2236": ":", "\u223c": "~",
}  # fmt: skip
"""Characters with the appearance of another one."""

SPELT: Final[dict[str, str]] = {
    "\u2026": "...", "\ufb00": "ff", "\ufb01": "fi", "\ufb02": "fl", "\ufb03": "ffi", "\ufb04": "ffl",
    "\u0132": "IJ", "\u0133": "ij", "\u2116": "No", "\u2122": "TM", "\u1e9e": "SS",
}  # fmt: skip
"""Characters made of several letters close together."""

STRUCK: Final[dict[str, tuple[str, Line]]] = {
    # a letter, and a line through it, relative to its left edge and baseline
    "\u00d8": ("O", ((0.12, 0.06), (0.88, 1.06))),
    "\u00f8": ("o", ((0.05, -0.1), (0.95, 1.1))),
    "\u0110": ("D", ((-0.08, 0.52), (0.42, 0.52))),
    "\u00d0": ("D", ((-0.08, 0.52), (0.42, 0.52))),
    "\u0111": ("d", ((0.45, 0.82), (1.2, 0.82))),
    "\u0126": ("H", ((-0.05, 0.76), (1.05, 0.76))),
    "\u0127": ("h", ((-0.3, 0.82), (0.5, 0.82))),
    "\u0141": ("L", ((-0.12, 0.38), (0.45, 0.66))),
    "\u0166": ("T", ((0.22, 0.45), (0.78, 0.45))),
    "\u0167": ("t", ((0.0, 0.35), (0.9, 0.35))),
    "\u20ab": ("d", ((0.45, 0.82), (1.2, 0.82))),
    "\u00a2": ("c", ((0.35, -0.22), (0.65, 1.22))),
}
"""Letters with a line through them; the line in shares of the letter's ink box, from its left edge and upward from its
foot."""

CROSSED: Final[dict[str, tuple[str, Line]]] = {"\u0142": ("l", ((-4.5, -9.0), (4.5, -13.5)))}
"""The same for letters too narrow for shares: the line in grid units, from its middle and baseline."""

PAIRS: Final[dict[str, tuple[str, str, float]]] = {
    # two letters, and the overlap of their ink, in grid units
    "\u00c6": ("A", "E", 3.5),
    "\u00e6": ("a", "e", 0.5),
    "\u0152": ("O", "E", 1.5),
    "\u0153": ("o", "e", 0.5),
}
"""Pairs of letters; in joined handwriting they simply follow each other."""

TURNED: Final[dict[str, str]] = {"\u00a1": "!", "\u00bf": "?"}
"""Rotated by 180 degrees, three units below the baseline."""

RAISED: Final[dict[str, str]] = {
    "\u00b9": "1", "\u00b2": "2", "\u00b3": "3", "\u2070": "0", "\u2074": "4", "\u2075": "5", "\u2076": "6",
    "\u2077": "7", "\u2078": "8", "\u2079": "9", "\u00aa": "a", "\u00ba": "o",
}  # fmt: skip
"""Superscripts at 60 % size, with their top at the cap line."""

FRACTIONS: Final[dict[str, tuple[str, str]]] = {
    "\u00bc": ("1", "4"), "\u00bd": ("1", "2"), "\u00be": ("3", "4"), "\u2153": ("1", "3"), "\u2154": ("2", "3"),
    "\u215b": ("1", "8"),
}  # fmt: skip


def _ring(x: float, y: float, radius: float, pieces: int = 16, from_deg: float = 0.0, to_deg: float = 360.0) -> Line:
    turns = [math.radians(from_deg + (to_deg - from_deg) * i / pieces) for i in range(pieces + 1)]
    return tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)


_STAR: Final = [2.0 * math.tau * i / 5 for i in range(6)]
_COMMA: Final[Line] = ((1.6, 0.0), (2.2, 0.9), (1.9, 2.6), (0.6, 4.6))
"""A comma or apostrophe from the top down, 5 high."""


def _moved(line: Line, x: float, y: float) -> Line:
    return tuple((px + x, py + y) for px, py in line)


_TURNED_COMMA: Final[Line] = tuple((2.8 - x, 4.6 - y) for x, y in reversed(_COMMA))
"""The same, rotated by 180 degrees."""


OWN: Final[dict[str, tuple[float, tuple[Line, ...]]]] = {
    # advance, lines
    "-": (13.0, (((3, -7.5), (10, -7.5)),)),
    "\u2012": (20.0, (((3, -7.5), (17, -7.5)),)),
    "\u2013": (20.0, (((3, -7.5), (17, -7.5)),)),
    "\u2212": (26.0, (((4, -9), (22, -9)),)),
    "\u2014": (32.0, (((3, -7.5), (29, -7.5)),)),
    "\u2015": (32.0, (((3, -7.5), (29, -7.5)),)),
    "'": (7.0, (((3.5, -21), (3.5, -15.5)),)),
    '"': (12.0, (((3.5, -21), (3.5, -15.5)), ((8.5, -21), (8.5, -15.5)))),
    "\u2018": (8.0, (_moved(_TURNED_COMMA, 2.5, -21.0),)),
    "\u2019": (8.0, (_moved(_COMMA, 2.5, -21.0),)),
    "\u201a": (8.0, (_moved(_COMMA, 2.5, -1.5),)),
    "\u201c": (13.0, (_moved(_TURNED_COMMA, 2.5, -21.0), _moved(_TURNED_COMMA, 7.5, -21.0))),
    "\u201d": (13.0, (_moved(_COMMA, 2.5, -21.0), _moved(_COMMA, 7.5, -21.0))),
    "\u201e": (13.0, (_moved(_COMMA, 2.5, -1.5), _moved(_COMMA, 7.5, -1.5))),
    "\u2039": (10.0, (((7, -11.5), (3, -7), (7, -2.5)),)),
    "\u203a": (10.0, (((3, -11.5), (7, -7), (3, -2.5)),)),
    "\u00ab": (15.0, (((7, -11.5), (3, -7), (7, -2.5)), ((12, -11.5), (8, -7), (12, -2.5)))),
    "\u00bb": (15.0, (((3, -11.5), (7, -7), (3, -2.5)), ((8, -11.5), (12, -7), (8, -2.5)))),
    "^": (16.0, (((3, -15), (8, -21), (13, -15)),)),
    "`": (10.0, (((3, -21), (6.5, -16.5)),)),
    "\u00b4": (10.0, (((6.5, -21), (3, -16.5)),)),
    "\u00b0": (11.0, (_ring(5.5, -17.5, 3.2),)),
    "\u00b7": (9.0, (_ring(4.5, -8.0, 1.0, 6),)),
    "\u2022": (13.0, (_ring(6.5, -8.0, 2.6, 12), _ring(6.5, -8.0, 1.2, 8))),
    "\u00d7": (22.0, (((5, -15), (17, -3)), ((17, -15), (5, -3)))),
    "\u00f7": (26.0, (((4, -9), (22, -9)), _ring(13, -15, 1.0, 6), _ring(13, -3, 1.0, 6))),
    "\u00b1": (26.0, (((13, -18), (13, -4)), ((5, -11), (21, -11)), ((5, 0), (21, 0)))),
    "\u2248": (
        22.0,
        tuple(
            ((3, y + 1), (5, y - 1.6), (8, y - 2), (11, y), (14, y + 2), (17, y + 1.6), (19, y - 1)) for y in (-11, -5)
        ),
    ),
    "\u2260": (26.0, (((4, -12), (22, -12)), ((4, -6), (22, -6)), ((17, -18), (9, 0)))),
    "\u2264": (24.0, (((20, -18), (4, -10), (20, -2)), ((4, 2), (20, 2)))),
    "\u2265": (24.0, (((4, -18), (20, -10), (4, -2)), ((4, 2), (20, 2)))),
    "\u2190": (26.0, (((22, -8), (4, -8)), ((9, -12.5), (4, -8), (9, -3.5)))),
    "\u2192": (26.0, (((4, -8), (22, -8)), ((17, -12.5), (22, -8), (17, -3.5)))),
    "\u2191": (16.0, (((8, 0), (8, -20)), ((3.5, -15), (8, -20), (12.5, -15)))),
    "\u2193": (16.0, (((8, -20), (8, 0)), ((3.5, -5), (8, 0), (12.5, -5)))),
    "\u20ac": (
        21.0,
        (tuple((x * 0.76 + 3.0, y) for x, y in _ring(12.5, -10.5, 10.5, 20, -48, -312)),
         ((1.5, -12.6), (13.5, -12.6)), ((1.5, -8.4), (12.5, -8.4))),
    ),
    "\u00a3": (
        20.0,
        (((16, -17), (15, -19.6), (12.5, -21), (9.8, -20.6), (7.8, -18.6), (7.4, -16), (8.2, -12), (8.4, -8), (7.4, -4),
          (5.4, -1.4), (3.4, 0)), ((3.4, 0), (17, 0)), ((3.5, -10.5), (13, -10.5))),
    ),
    "\u00a5": (
        20.0,
        (((2, -21), (10, -10.5), (18, -21)), ((10, -10.5), (10, 0)), ((4, -10), (16, -10)), ((4, -5.5), (16, -5.5))),
    ),
    "\u00a7": (
        16.0,
        (((12, -17.6), (11, -20), (8, -21), (5.2, -20), (4.2, -17.8), (5, -15.6), (8, -13.6), (11, -11.6), (12.4, -9),
          (11.6, -6.6), (9.6, -5.2)),
         ((4, 0.6), (5, 3), (8, 4), (10.8, 3), (11.8, 0.8), (11, -1.4), (8, -3.4), (5, -5.4), (3.6, -8), (4.4, -10.4),
          (6.4, -11.8))),
    ),
    "\u00b6": (
        18.0,
        (((14, -21), (14, 4)), ((10, -21), (10, 4)),
         ((15.5, -21), (8, -21), (5, -19.6), (3.6, -16.6), (4.6, -13.4), (7.4, -11.6), (10, -11.4))),
    ),
    "\u00a9": (27.0, (_ring(13.5, -10.5, 10.5, 28), _ring(13.5, -10.5, 5.0, 14, -45, -315))),
    "\u00ae": (
        27.0,
        (_ring(13.5, -10.5, 10.5, 28),
         ((10.5, -5), (10.5, -16), (14, -16), (16.2, -15), (16.8, -13), (16.2, -11.2), (14, -10.2), (10.5, -10.2)),
         ((13.6, -10.2), (17, -5))),
    ),
    "\u00df": (  # sharp s
        19.0,
        (((4, 0), (4, -15), (4.6, -18.4), (6.6, -20.4), (9.4, -21), (12.2, -20.2), (13.8, -18), (13.6, -15.6),
          (11.8, -13.6), (9.8, -12.2), (11.6, -11.4), (14.4, -9.6), (15.6, -6.8), (15.2, -3.6), (13.2, -1), (10.4, 0),
          (8, -0.6)),),
    ),
    "\u00de": (
        20.0,
        (((4, -21), (4, 0)),
         ((4, -16.5), (11.5, -16.5), (15, -15), (16.6, -12), (16.4, -9), (14.4, -6.4), (11.5, -5.2), (4, -5.2))),
    ),
    "\u00fe": (
        19.0,
        (((4, -21), (4, 7)),
         ((4, -11), (6, -13), (8, -14), (11, -14), (13, -13), (15, -11), (16, -8), (16, -6), (15, -3),
          (13, -1), (11, 0), (8, 0), (6, -1), (4, -3))),
    ),
    "\u00f0": (
        19.0,
        (((15, -9), (13.4, -12), (10.6, -13.6), (7.8, -13.2), (5, -11), (3.6, -7.6), (3.8, -4.2), (5.6, -1.4),
          (8.6, 0), (11.6, -0.4), (14.2, -2.6), (15.4, -6), (15, -9), (13.4, -14), (10.6, -17.8), (7, -21)),
         ((5.6, -16.2), (12.8, -20))),
    ),
    "\u03c2": (
        17.0,
        (((14, -12), (12, -13.6), (9.4, -14), (6.4, -12.6), (4.2, -9.6), (3.4, -6), (4.4, -3.2), (7.4, -1.4),
          (10.6, 0), (11.8, 2), (11, 4.4), (8.6, 6)),),
    ),
    "\u2603": (24.0, (_ring(12, -5.5, 5.5, 18, -62, 242), _ring(12, -14, 3.8, 14, 90, 450))),
    "\u2665": (
        22.0,
        (((11, 0), (3.6, -8.6), (2.4, -12.4), (3.4, -15.6), (6.2, -17), (9, -16), (11, -13), (13, -16), (15.8, -17),
          (18.6, -15.6), (19.6, -12.4), (18.4, -8.6), (11, 0)),),
    ),
    "\u2605": (26.0, (tuple((13 + 10.5 * math.sin(t), -10 - 10.5 * math.cos(t)) for t in _STAR),)),
    "\u2693": (
        24.0,
        (_ring(12, -18.5, 2.2, 10, 90, 450), ((12, -16.3), (12, 0)), ((7.5, -13), (16.5, -13)),
         ((3, -6.5), (4, -3.6), (6.6, -1.2), (12, 0), (17.4, -1.2), (20, -3.6), (21, -6.5)),
         ((1.2, -4.4), (3, -6.5), (5.8, -5.6)), ((22.8, -4.4), (21, -6.5), (18.2, -5.6))),
    ),
    "\u266a": (18.0, (_ring(6, -2.4, 2.6, 12), ((8.6, -2.4), (8.6, -20), (12, -17), (14.4, -13.4), (13.4, -9.6)))),
}  # fmt: skip


_LEANING: Final = frozenset("\u00df\u00de\u00fe\u00f0\u03c2\u2018\u2019\u201a\u201c\u201d\u201e\u00a3'\"")
"""Our own signs that are slanted with the face."""


def build(character: str, face: Typeface, letter: dict[str, Glyph]) -> Glyph | None:
    """The glyph of such a character, made from the face's letters if possible; None for other characters."""
    if character in OWN:
        advance, lines = OWN[character]
        lean = face.slope if character in _LEANING else 0.0
        strokes = [stem for line in lines for stem in marks.stem(marks.leaning(line, lean), face)]
        return Glyph(tuple(strokes), advance)
    if character in PAIRS:
        first, second, into = PAIRS[character]
        a, b = letter[first], letter[second]
        shift = a.advance if face.joins else a.box()[2] - b.box()[0] - into
        return Glyph(a.strokes + tuple(s + (shift, 0.0) for s in b.strokes), shift + b.advance)
    if character in CROSSED:
        base, line = CROSSED[character]
        left, _, right, _ = letter[base].box()
        bar = marks.leaning(line, face.slope) + ((left + right) / 2, 0.0)
        return Glyph((*letter[base].strokes, *marks.stem(bar - (11.0 * face.slope, 0.0), face)), letter[base].advance)
    if character in STRUCK:
        base, line = STRUCK[character]
        return _struck(letter[base], line, face)
    if character in TURNED:
        glyph = letter[TURNED[character]]
        left, top, right, foot = glyph.box()
        middle = ((left + right) / 2, (top + foot) / 2)
        turned = (np.asarray(2 * np.array(middle) - s + (0.0, 3.0))[::-1] for s in glyph.strokes)
        return Glyph(tuple(turned), glyph.advance)
    if character in RAISED:
        return _small(letter[RAISED[character]], x=0.0, rise=8.4)
    if character in FRACTIONS:
        above, below = FRACTIONS[character]
        a, b = _small(letter[above], x=0.0, rise=8.4), _small(letter[below], x=0.0, rise=0.0)
        x = a.advance + 2.0
        bar = np.array([(a.advance - 4.0, 0.0), (a.advance + 6.0, -21.0)])
        return Glyph((*a.strokes, bar, *(s + (x, 0.0) for s in b.strokes)), x + b.advance)
    return None


def _struck(glyph: Glyph, line: Line, face: Typeface) -> Glyph:
    left, top, right, foot = glyph.box()
    foot = min(foot, 0.0)
    bar = np.array([(left + x * (right - left), foot + y * (top - foot)) for x, y in line])
    return Glyph((*glyph.strokes, *marks.stem(bar, face)), glyph.advance)


def _small(glyph: Glyph, *, x: float, rise: float) -> Glyph:
    return Glyph(tuple(s * 0.6 + (x, -rise) for s in glyph.strokes), glyph.advance * 0.6)
