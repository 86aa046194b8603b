"""Letters of a font, as the outlines of their areas, in the units that a text is laid out in."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright.errors import InputError
from linewright.sources.lettering.faces import CAP_UNITS, Glyph
from linewright.sources.painting.flatten import flatten, piece_counts
from linewright.sources.painting.segments import ROW, Segments

if TYPE_CHECKING:
    from linewright.sources.fonts.face import FontFace
    from linewright.sources.picture import TextStyle

TOLERANCE_UNITS: Final = 0.004
"""How far an outline strays from its curves, grid units: 0.02 mm where a capital is 100 mm high."""


class FontLetters:
    """The letters of one font.

    Parameters
    ----------
    words : a font file, a folder of fonts, or a family of this system; empty: the default sans-serif font.

    Attributes
    ----------
    name : name of the font, for messages.
    space : width of a space, grid units.

    Raises
    ------
    InputError
        There is no such font, or the library for fonts is not installed.
    """

    def __init__(self, words: TextStyle) -> None:
        try:
            from linewright.sources.fonts.library import Library, nearest

            library = Library(words.fonts)
            own = library.files[: library.own]
            file = nearest(own, 400, 5, False) if own else library.matching("sans-serif", 400, "normal", False)
            if file is None:
                raise InputError("this system has no fonts", hint="name a font file: --font letters.ttf")
            self._face: FontFace = library.face(file)
        except ImportError:
            hint = "pip install 'linewright[fonts]', or leave --font out"
            raise InputError("letters of a font need more libraries", hint=hint) from None
        self.name = file.families[0]
        self._scale = CAP_UNITS / self._cap_em()
        self._made: dict[tuple[int, float, float, float], Glyph] = {}
        (blank,) = self._face.shaped(" ", rtl=False, features={})
        self.space = blank.advance * self._scale

    def _cap_em(self) -> float:
        """Capital height: that of an H if there is one, because many fonts do not state it."""
        if self._face.has("H"):
            (letter,) = self._face.shaped("H", rtl=False, features={})
            rings = _flattened(self._face.outline(letter.number), 1.0)
            top = min((float(ring[:, 1].min()) for ring in rings), default=0.0)
            if top < 0.0:
                return -top
        return self._face.cap_height

    def has(self, character: str) -> bool:
        """Whether the font has a letter for a character."""
        return self._face.has(character)

    def written(self, text: str) -> list[Glyph]:
        """The letters of a text that the font has, from left to right, shaped and kerned by the font."""
        found = []
        for one in self._face.shaped(text, rtl=is_leftward(text), features={"kern": True}):
            key = (one.number, one.advance, one.dx, one.dy)
            if key not in self._made:
                at = np.array((one.dx, -one.dy)) * self._scale
                strokes = tuple(
                    stroke + at for stroke in _flattened(self._face.outline(one.number), self._scale) if len(stroke) > 1
                )
                self._made[key] = Glyph(strokes, one.advance * self._scale, final=True)
            found.append(self._made[key])
        return found


def is_leftward(text: str) -> bool:
    """Whether a word is written from right to left, by its first letter with a direction (Unicode Annex 9, P2)."""
    first = next((way for way in map(unicodedata.bidirectional, text) if way in ("L", "R", "AL")), "L")
    return first != "L"


def _flattened(outline: Segments, scale: float) -> list[np.ndarray[tuple[int, int], np.dtype[np.float64]]]:
    """Closed polylines, grid units, of an outline in em."""
    if not len(outline):
        return []
    kinds = np.frombuffer(bytes(outline.kinds), dtype=np.uint8)
    rows = np.array(outline.rows).reshape(-1, ROW) * scale
    starts = np.array([*outline.starts, len(kinds)], dtype=np.int64)
    closed = np.ones(len(outline.starts), dtype=bool)
    lines = flatten(kinds, rows, starts, closed, piece_counts(kinds, rows, TOLERANCE_UNITS))
    found = []
    for i in range(len(lines)):
        ring = lines.points_mm[lines.starts[i] : lines.starts[i + 1]]
        found.append(ring if (ring[0] == ring[-1]).all() else np.concatenate((ring, ring[:1])))
    return found
