"""`Lettering`: from a text to a picture of its area."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SourceError
from linewright.sources import settings
from linewright.sources.lettering import along as paths
from linewright.sources.lettering.faces import CAP_UNITS, FACES
from linewright.sources.lettering.inking import inked
from linewright.sources.lettering.layout import ALIGNED, TextLines, put
from linewright.sources.lettering.outlines import FontLetters
from linewright.sources.picture import Picture, Wish

LONGEST_TEXT: Final = 20_000
"""Most characters: about ten closely written sheets, days of drawing."""

CAPITALS: Final = "the capitals are "
"""Start of the message with the chosen size."""

LARGEST_SHARE: Final = 0.6
"""Largest capital height as a share of the area's height if no size is given, so that a single initial has some
margin."""

_SLACK: Final = 1 + 1e-9
"""Tolerance for rounding."""

_INSTEAD: Final = "spell them in Latin, Greek or Cyrillic letters, or use --font with a font that has them"
"""Hint for characters that no face has; all faces lack the same ones."""

_NAMED_AT_MOST: Final = 8
"""Most missing characters named in a message."""


@dataclass(frozen=True)
class Lettering:
    """Settings of lettering.

    Parameters
    ----------
    face : a name from `FACES`.
    size_mm : height of a capital, the nominal size of lettering in ISO 3098; 0: the largest that fits the room.
    align : alignment of the lines, or along the path.
    box_mm : width of the paragraph; 0: the whole area.
    leading : baseline distance, in capital heights. ISO 3098 writes 1.5 without and 1.9 with accents
        (type B, from memory).
    tracking : added between letters, in capital heights.
    along : name of a path or an SVG file; empty: in straight lines.
    """

    face: str = settings.choice("style of the letters", "plain", *FACES)
    size_mm: float = settings.number("height of a capital; 0: as large as the sheet allows", 0.0, 0.0, 2000.0, "mm")
    align: str = settings.choice("of the lines", "left", *ALIGNED)
    box_mm: float = settings.number("width of the paragraph; 0: that of the sheet", 0.0, 0.0, 10_000.0, "mm")
    leading: float = settings.number("line spacing, in heights of a capital", 1.7, 0.5, 10.0)
    tracking: float = settings.number("additional space between letters, in heights of a capital", 0.0, -0.3, 5.0)
    along: str = settings.text(f"a path: {', '.join(paths.NAMED)}, or an SVG file with one line")

    def read(self, source: str, wish: Wish) -> Picture:
        """The text as strokes, centred in its area.

        An unbounded area keeps the lines as typed and takes their extent: with a given width only, the longest line
        fills the width; with a given height only, all lines fill the height.

        Raises
        ------
        SourceError : the text is empty, a word is wider than the box, or the text does not fit.
        """
        if len(source) > LONGEST_TEXT:
            raise SourceError(
                f"the text has {len(source):,} characters, the limit is {LONGEST_TEXT:,}",
                hint="draw it in several parts",
            )
        font = FontLetters(wish.words) if wish.words.outlines else None
        words = TextLines(source, FACES[self.face], self.tracking * CAP_UNITS, font)
        if not any(letter.strokes for letter in words.letters()):
            if not words.missing:
                raise SourceError("there is nothing to write: the text is empty", hint="give a text")
            raise SourceError(
                f"the face {self.face!r} has no letter for anything in this text: {', '.join(words.missing[:6])}",
                hint=_INSTEAD,
            )
        if not self.size_mm and min(wish.room_mm) == math.inf:
            raise SourceError("a text needs a size, or room to fit into", hint="give size_mm or a width")
        strokes, size_mm, (width_mm, height_mm) = (_on_path if self.along else _in_box)(words, wish, self)
        drawing = Drawing.from_strokes(strokes, pens=(wish.one_pen("text"),))
        notes = _notes(words, wish, self, size_mm, None if font is None else font.name)
        return Picture(drawing, width_mm, height_mm, tuple(notes))


def _notes(words: TextLines, wish: Wish, how: Lettering, size_mm: float, font: str | None) -> list[str]:
    notes = [] if how.size_mm else [f"{CAPITALS}{size_mm:.3g} mm high, as large as the room allows"]
    if words.replaced:
        more = len(words.replaced) - _NAMED_AT_MOST
        notes.append(
            f"the font {font!r} has no letter for {', '.join(words.replaced[:_NAMED_AT_MOST])}"
            + (f" and {more} more" if more > 0 else "")
            + f"; the face {how.face!r} writes them"
        )
    for name in words.missing[:_NAMED_AT_MOST]:
        notes.append(f"the face {how.face!r} has no letter for {name}; a gap is left in its place")
    if len(words.missing) > _NAMED_AT_MOST:
        notes.append(f"nor for {len(words.missing) - _NAMED_AT_MOST} other characters")
    if words.missing:
        notes.append(f"to avoid gaps, {_INSTEAD}")
    least_mm = FACES[how.face].least_size_mm(wish.pen_width_mm)
    if font is None and size_mm < least_mm:
        notes.append(
            f"capitals {size_mm:.3g} mm high in the face {how.face!r} run together with a {wish.pen_width_mm:g} mm "
            f"pen; at {least_mm:.2g} mm or more they stay clear"
        )
    return notes


def _in_box(words: TextLines, wish: Wish, how: Lettering) -> tuple[list[Points], float, tuple[float, float]]:
    """Lines in a box in the middle of the area; returns strokes in mm, the size of letters, the size of the area."""
    left, right, above, below = words.ink()
    widest = words.widest_word
    widest_units = (widest.width if widest is not None else 0.0) + left + right
    as_typed_units = max(map(words.width_of, words.lines)) + left + right
    line_units = how.leading * CAP_UNITS
    high_units = above + (len(words.lines) - 1) * line_units + below
    room_x, room_y = wish.room_mm
    if not math.isfinite(room_x):
        # Slightly larger, so that rounding does not wrap the longest line.
        room_x = as_typed_units / CAP_UNITS * (how.size_mm or room_y / high_units * CAP_UNITS) * _SLACK
    box_mm = how.box_mm or room_x
    if box_mm > room_x * _SLACK:
        raise SourceError(
            f"the paragraph is to be {box_mm:g} mm wide, the room within the margins is {room_x:g} mm",
            hint="use a narrower box, a smaller margin or a larger sheet",
        )

    def lines(size: float) -> int:
        return len(words.wrapped(box_mm * CAP_UNITS / size - left - right))

    def height_mm(size: float) -> float:
        return (above + (lines(size) - 1) * line_units + below) * size / CAP_UNITS

    def largest() -> float:
        """The largest size at which the text fits, by bisection: a smaller size never needs more lines."""
        if not math.isfinite(room_y):
            return box_mm / as_typed_units * CAP_UNITS
        if not math.isfinite(wish.room_mm[0]):
            return room_y / high_units * CAP_UNITS
        low, high = 0.0, min(LARGEST_SHARE * room_y, box_mm / widest_units * CAP_UNITS)
        while high - low > 1e-4 * high:
            middle = (low + high) / 2
            low, high = (middle, high) if height_mm(middle) <= room_y else (low, middle)
        return low

    size_mm = how.size_mm or largest()
    scale = size_mm / CAP_UNITS
    if widest is not None and widest_units * scale > box_mm * _SLACK:
        raise SourceError(
            f"the word {_short(widest.text)!r} is {widest_units * scale:.0f} mm wide with capitals {size_mm:g} mm "
            f"high, the room for it is {box_mm:.0f} mm",
            hint=f"take a size of {_rounded_down(largest())} mm or less, or leave the size out",
        )
    if height_mm(size_mm) > room_y * _SLACK:
        raise SourceError(
            f"the text takes {lines(size_mm)} lines and {height_mm(size_mm):.0f} mm, the room for it is "
            f"{room_y:.0f} mm high",
            hint=f"take a size of {_rounded_down(largest())} mm or less, or leave the size out",
        )
    if not math.isfinite(room_y):
        room_y = height_mm(size_mm)
    x_mm = (room_x - box_mm) / 2 + left * scale
    y_mm = (room_y - height_mm(size_mm)) / 2 + above * scale
    strokes = []
    written: dict[int, list[Points]] = {}  # cache: a page has about fifty different letters
    for letter in put(words, box_mm / scale - left - right, align=how.align, line_units=line_units):
        at = np.array([x_mm + letter.x * scale, y_mm + letter.y * scale])
        if id(letter.glyph) not in written:
            written[id(letter.glyph)] = inked(letter.glyph, scale, wish.pen_width_mm)
        strokes += [stroke + at for stroke in written[id(letter.glyph)]]
    return strokes, size_mm, (room_x, room_y)


def _on_path(words: TextLines, wish: Wish, how: Lettering) -> tuple[list[Points], float, tuple[float, float]]:
    """All text in one line along a path; returns as `_in_box`. An unbounded area is square."""
    side = min(wish.room_mm)
    if not math.isfinite(side):
        raise SourceError("text along a path needs a width", hint="give its width")
    wish = replace(wish, room_mm=(side, side)) if math.inf in wish.room_mm else wish
    _, _, above, _ = words.ink()
    units = paths.length_units(words)

    def path_at(size: float) -> tuple[Points, float]:
        line = paths.path(how.along, wish.room_mm, size * above / CAP_UNITS)
        return line, float(np.hypot(*np.diff(line, axis=0).T).sum())

    def largest() -> float:
        """By bisection: the path length taken by the letters grows with their size."""
        low, high = 0.0, min(wish.room_mm) / 3
        while high - low > 1e-4 * high:
            middle = (low + high) / 2
            fits = units * middle / CAP_UNITS <= path_at(middle)[1] * 0.98
            low, high = (middle, high) if fits else (low, middle)
        return low

    size_mm = how.size_mm or largest()
    strokes = _put_on_path(words, path_at(size_mm)[0], size_mm, wish, how)
    while not how.size_mm and not _inside(strokes, wish.room_mm):
        size_mm *= 0.97
        strokes = _put_on_path(words, path_at(size_mm)[0], size_mm, wish, how)
    length_mm = path_at(size_mm)[1]
    if units * size_mm / CAP_UNITS > length_mm * _SLACK:
        raise SourceError(
            f"the text is {units * size_mm / CAP_UNITS:.0f} mm long with capitals {size_mm:g} mm high, the path "
            f"{length_mm:.0f} mm",
            hint=f"take a size of {_rounded_down(largest())} mm or less, or leave the size out",
        )
    if not _inside(strokes, wish.room_mm):
        raise SourceError(
            f"with capitals {size_mm:g} mm high the text along {how.along!r} does not fit the room of "
            f"{wish.room_mm[0]:g} x {wish.room_mm[1]:g} mm",
            hint="use a smaller size, or leave the size out",
        )
    return strokes, size_mm, wish.room_mm


def _put_on_path(words: TextLines, line: Points, size_mm: float, wish: Wish, how: Lettering) -> list[Points]:
    scale = size_mm / CAP_UNITS
    strokes = []
    for letter, matrix in paths.put_along(words, line, scale=scale, align=how.align):
        # The matrix includes the scale, but the strokes of `inked` are scaled already.
        turn = matrix[:, :2] / scale
        strokes += [stroke @ turn.T + matrix[:, 2] for stroke in inked(letter, scale, wish.pen_width_mm)]
    return strokes


def _inside(strokes: list[Points], room_mm: tuple[float, float]) -> bool:
    points = np.concatenate(strokes)
    return bool((points >= 0).all() and (points <= np.array(room_mm)).all())


def _rounded_down(size_mm: float) -> str:
    """A size that still fits, with few digits."""
    return f"{math.floor(size_mm * 10) / 10:g}" if size_mm >= 0.1 else f"{size_mm:.2g}"


def _short(word: str) -> str:
    return word if len(word) <= 24 else f"{word[:20]}..."
