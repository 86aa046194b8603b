"""Faces: the digitised alphabets in use, under names of our own, and their letters as strokes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points

NOTICE: Final = (
    "The Hershey Fonts were originally created by Dr. A. V. Hershey while working at the U. S. National Bureau of "
    "Standards. They are in the public domain, except in the format distributed by the U.S. National Technical "
    "Information Service, which is not used here."
)
"""Notice that the letters' distribution requires to be passed on."""

CAP_UNITS: Final = 21.0
"""Capital height on the data's grid: the baseline is at +9 and the cap line at -12 in every "normal" size alphabet
(table in the data's description)."""

X_HEIGHT_UNITS: Final = 14.0
"""x-height on the same grid in print; handwriting states its own."""

_FOOT: Final = 9
"""Position of the baseline on the data's grid, whose origin is the middle of a letter."""


@dataclass(frozen=True, eq=False)
class Glyph:
    """One letter or sign.

    Parameters
    ----------
    strokes : each (n, 2) float64, n >= 2, in grid units; x from the letter's left edge, y downward from its baseline.
    advance : distance to the next letter, grid units.
    final : the strokes are final: no rounding of curves, no filling of dots.
    """

    strokes: tuple[Points, ...]
    advance: float
    final: bool = False

    def box(self) -> tuple[float, float, float, float]:
        """Bounding box of its ink, ``(left, top, right, foot)``, grid units; four zeros without ink."""
        if not self.strokes:
            return (0.0, 0.0, 0.0, 0.0)
        points = np.concatenate(self.strokes)
        (left, top), (right, foot) = points.min(axis=0), points.max(axis=0)
        return (float(left), float(top), float(right), float(foot))


@dataclass(frozen=True)
class Typeface:
    """A typeface.

    Parameters
    ----------
    name : our name for it.
    about : description in one line.
    latin, greek, cyrillic : names of the alphabets in the data.
    slope : slant, as shift to the right per unit of height; accents are slanted as well.
    lines : parallel lines per stem, a grid unit apart; accents have as many.
    x_height : x-height, grid units.
    joins : letters join the next one.
    long_s : the data's alphabet has the long s of old German print; the round one, used at the end of a word, comes
        from the alphabet with this name. Empty: there is only one s.
    """

    name: str
    about: str
    latin: str
    greek: str = "greeks"
    cyrillic: str = "cyrilc_1"
    slope: float = 0.0
    lines: int = 1
    x_height: float = X_HEIGHT_UNITS
    joins: bool = False
    long_s: str = ""

    def least_size_mm(self, pen_width_mm: float) -> float:
        """Capital height below which the bars of an e merge with this pen.

        An e has three bars within the x-height, each as thick as the stem's lines, a grid unit apart; their centres
        must be two pen widths apart to leave white between them.
        """
        gap_units = self.x_height / 2 - (self.lines - 1)
        return 2.0 * pen_width_mm * CAP_UNITS / gap_units


FACES: Final[dict[str, Typeface]] = {
    face.name: face
    for face in (
        Typeface("plain", "one line, no serifs; reads well at any size", "rowmans"),
        Typeface("running", "one line, slanted joined handwriting", "scripts", slope=0.35, x_height=9.0, joins=True),
        Typeface(
            "copybook",
            "one line, rounder handwriting, as taught at school",
            "cursive",
            slope=0.35,
            x_height=9.0,
            joins=True,
        ),
        Typeface("double", "stems of two lines, no serifs; for posters", "rowmand", lines=2),
        Typeface("book", "stems of two lines, serifs; for paragraphs", "timesr", "greekc", lines=2),
        Typeface("italic", "the italic of book", "timesi", "greekc", slope=0.3, lines=2),
        Typeface("heavy", "stems of three lines, serifs; for titles", "rowmant", "greekc", lines=3),
        Typeface(
            "quill",
            "handwriting with strokes of varying width; for invitations",
            "scriptc",
            slope=0.35,
            lines=2,
            x_height=9.0,
            joins=True,
        ),
        Typeface("missal", "black letter in the English manner", "gothiceng", "greekc", lines=3),
        Typeface("broken", "black letter in the German manner", "gothicger", "greekc", lines=3, long_s="gothiceng"),
        Typeface("uncial", "black letter with round Italian capitals", "gothicita", "greekc", lines=3),
    )
}

GREEK: Final = dict(
    zip(
        "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩαβγδεζηθικλμνξοπρστυφχψω",
        "ABCDEFGHIJKLMNOPQRSTUVWXabcdefghijklmnopqrstuvwx",
        strict=True,
    )
)
"""Greek letters by their positions in the data's Greek alphabets."""

CYRILLIC: Final = dict(
    zip(
        "АБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩабвгдежзийклмнопрстуфхцчшщ",
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz",
        strict=True,
    )
)
"""Cyrillic letters by their positions in ``cyrilc_1``, which lacks the last six."""

CYRILLIC_REST: Final = dict(zip("ЪЫЬЭЮЯъыьэюя", "]$_CU^|&~cu}", strict=True))
"""The last six, by their positions in ``cyrillic``."""


@lru_cache(maxsize=16)
def alphabet(name: str) -> dict[str, Glyph]:
    """The letters of one alphabet, by the ASCII characters at their positions."""
    from HersheyFonts import HersheyFonts

    data = HersheyFonts()
    data.load_default_font(name)
    letters = {}
    for character, raw in data.all_glyphs.items():
        shift = np.array([-raw.left_offset, -_FOOT], dtype=np.float64)
        strokes = (np.array(stroke, dtype=np.float64) + shift for stroke in raw.strokes)
        letters[character] = Glyph(tuple(s for s in map(_without_repeats, strokes) if len(s) > 1), raw.char_width)
    # In two of the alphabets full stops are three units above the baseline.
    sunk = -letters["."].box()[3]
    for character in ".,:;" if sunk and name in _STOPS_TOO_HIGH else "":
        raised = letters[character]
        letters[character] = Glyph(tuple(stroke + (0.0, sunk) for stroke in raised.strokes), raised.advance)
    return letters


_STOPS_TOO_HIGH: Final = frozenset({"cursive", "timesr"})


def _without_repeats(stroke: Points) -> Points:
    """A stroke without repeated vertices."""
    moves = np.append(True, (np.diff(stroke, axis=0) != 0).any(axis=1))
    return np.asarray(stroke[moves])
