"""The faces: which of the digitised alphabets serve, under names of our own, and their letters as strokes."""

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
"""What the distribution of the letters asks to be said wherever they are passed on."""

CAP_UNITS: Final = 21.0
"""Height of a capital on the grid of the data: its foot line is at +9 and its cap line at -12 in every "normal" size
alphabet (the table in the data's own description)."""

X_HEIGHT_UNITS: Final = 14.0
"""Height of a small x on the same grid in print; handwriting says its own."""

_FOOT: Final = 9
"""Where the foot line is on the grid of the data, which counts from the middle of a letter."""


@dataclass(frozen=True, eq=False)
class Glyph:
    """One letter or sign.

    Parameters
    ----------
    strokes : each (n, 2) float64, n >= 2, in grid units; x from the letter's left edge, y downward from its foot line.
    advance : how far on the next letter begins, grid units.
    final : the strokes are as they are to be drawn: their curves are round, and none of them is a dot to be filled.
    """

    strokes: tuple[Points, ...]
    advance: float
    final: bool = False

    def box(self) -> tuple[float, float, float, float]:
        """``(left, top, right, foot)`` of its ink, grid units; four zeros without ink."""
        if not self.strokes:
            return (0.0, 0.0, 0.0, 0.0)
        points = np.concatenate(self.strokes)
        (left, top), (right, foot) = points.min(axis=0), points.max(axis=0)
        return (float(left), float(top), float(right), float(foot))


@dataclass(frozen=True)
class Typeface:
    """A style of letters.

    Parameters
    ----------
    name : ours.
    about : one line for people.
    latin, greek, cyrillic : names of the alphabets in the data.
    slope : how far a letter leans to the right for each unit of height; accents lean with it.
    lines : how many lines, a grid unit apart, make one stem; accents get as many.
    x_height : of a small x, grid units.
    joins : letters touch the next one.
    long_s : the alphabet of the data has the long s of old German print; the round one, which ends a word, comes from
        the alphabet of this name. Empty: there is but one s.
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
        """Height of capitals below which the bars of an e run together in this ink.

        An e has three bars in the height of a small x, each as thick as the face has lines, a grid unit apart; from
        middle to middle they need two pen widths, so that white stays between them.
        """
        gap_units = self.x_height / 2 - (self.lines - 1)
        return 2.0 * pen_width_mm * CAP_UNITS / gap_units


FACES: Final[dict[str, Typeface]] = {
    face.name: face
    for face in (
        Typeface("plain", "one line, no serifs; reads well at any size", "rowmans"),
        Typeface(
            "running", "one line, leaning handwriting that joins up", "scripts", slope=0.35, x_height=9.0, joins=True
        ),
        Typeface(
            "copybook",
            "one line, rounder handwriting, as taught at school",
            "cursive",
            slope=0.35,
            x_height=9.0,
            joins=True,
        ),
        Typeface("double", "two lines to a stem, no serifs; posters", "rowmand", lines=2),
        Typeface("book", "serifs, two lines to a stem; paragraphs", "timesr", "greekc", lines=2),
        Typeface("italic", "the leaning companion of book", "timesi", "greekc", slope=0.3, lines=2),
        Typeface("heavy", "serifs, three lines to a stem; titles", "rowmant", "greekc", lines=3),
        Typeface(
            "quill",
            "handwriting with swelling strokes; invitations",
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
"""Greek letters by their place in the Greek alphabets of the data."""

CYRILLIC: Final = dict(
    zip(
        "АБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩабвгдежзийклмнопрстуфхцчшщ",
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz",
        strict=True,
    )
)
"""Cyrillic letters by their place in ``cyrilc_1``; it ends before the last six."""

CYRILLIC_REST: Final = dict(zip("ЪЫЬЭЮЯъыьэюя", "]$_CU^|&~cu}", strict=True))
"""The last six, by their place in ``cyrillic``."""


@lru_cache(maxsize=16)
def alphabet(name: str) -> dict[str, Glyph]:
    """The letters of one alphabet of the data, by the ASCII character at whose place they stand."""
    from HersheyFonts import HersheyFonts

    data = HersheyFonts()
    data.load_default_font(name)
    letters = {}
    for character, raw in data.all_glyphs.items():
        shift = np.array([-raw.left_offset, -_FOOT], dtype=np.float64)
        strokes = (np.array(stroke, dtype=np.float64) + shift for stroke in raw.strokes)
        letters[character] = Glyph(tuple(s for s in map(_without_repeats, strokes) if len(s) > 1), raw.char_width)
    # Two of the alphabets set their stops three units above the foot line.
    sunk = -letters["."].box()[3]
    for character in ".,:;" if sunk and name in _STOPS_TOO_HIGH else "":
        raised = letters[character]
        letters[character] = Glyph(tuple(stroke + (0.0, sunk) for stroke in raised.strokes), raised.advance)
    return letters


_STOPS_TOO_HIGH: Final = frozenset({"cursive", "timesr"})


def _without_repeats(stroke: Points) -> Points:
    """A stroke without vertices that stand where the one before stands."""
    moves = np.append(True, (np.diff(stroke, axis=0) != 0).any(axis=1))
    return np.asarray(stroke[moves])
