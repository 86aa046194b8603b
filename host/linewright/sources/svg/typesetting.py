"""From characters to clusters: letters, widths and outlines.

There are two kinds of letters: outlines of fonts, and single-line letters. Characters that the single-line alphabets
lack (Chinese, Arabic, emoji) are taken from a font if possible.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from linewright.sources.lettering.faces import CAP_UNITS
from linewright.sources.lettering.glyphs import glyph, name_of
from linewright.sources.lettering.rounding import rounded
from linewright.sources.painting.notes import Notes
from linewright.sources.painting.segments import Segments
from linewright.sources.picture import TextStyle
from linewright.sources.svg.style import Font

if TYPE_CHECKING:
    from linewright.sources.fonts.face import FontFace
    from linewright.sources.fonts.library import Library

CAP_EM: Final = 0.7
"""Capital height of single-line letters, em: as in most fonts (0.66 to 0.73; common practice)."""

ROUNDING_UNITS: Final = 0.01
"""Deviation of single-line letters from their rounded curves, grid units: 0.05 mm for capitals of 100 mm."""

STEM_EM: Final = 0.09
"""Line width of a single-line letter used as an area, em: a stem of common fonts (common practice)."""

_CURSIVE: Final = ("ARABIC", "SYRIAC", "MONGOLIAN", "NKO", "DEVANAGARI", "BENGALI")
"""Scripts with joined letters, which get no letter spacing (CSS Text 3, section 8.2.1)."""


@dataclass(frozen=True, slots=True)
class Metrics:
    """Heights of a span's letters, px, upward from the baseline."""

    ascent: float
    descent: float
    x_height: float
    sub_shift: float
    super_shift: float
    underline: float
    strike: float
    thickness: float


@dataclass(slots=True)
class Cluster:
    """Letters that stay together.

    Parameters
    ----------
    first, count : their characters.
    advance : px.
    parts : outlines in px from the cluster's start on the baseline, each with a flag whether it is closed and filled.
    spacing : part of the advance behind the letters, px.
    middle : height of the middle of its font's letters above the baseline, px; None: that of the style.
    """

    first: int
    count: int
    advance: float
    parts: list[tuple[Segments, float, float, float]]
    filled: bool
    joins: bool = False
    space: bool = False
    upright: bool = False
    spacing: float = 0.0
    middle: float | None = None


class Typesetter:
    """Sets text, one style at a time.

    Parameters
    ----------
    words : style of words.
    notes : receives warnings about missing characters.
    """

    def __init__(self, words: TextStyle, notes: Notes) -> None:
        self._words = words
        self._notes = notes
        self._fonts: Library | bool | None = False  # False: not searched yet
        self._told: set[str] = set()  # families already reported as missing
        self._single: dict[str, tuple[Segments, float] | None] = {}

    def note(self, text: str) -> None:
        """Warn about text that differs from the file."""
        self._notes.add(text)

    def _library(self) -> Library | None:
        if self._fonts is False:
            try:
                import uharfbuzz  # noqa: F401  only whether it is there

                from linewright.sources.fonts.library import Library

                self._fonts = Library(self._words.fonts)
            except ImportError:
                self._fonts = None
                self._notes.add("for outlines of fonts more libraries are needed: pip install 'linewright[fonts]'")
        assert not isinstance(self._fonts, bool)
        return self._fonts

    def _face(self, font: Font) -> FontFace | None:
        library = self._library()
        if library is None:
            return None
        file = library.matching(font.families, font.weight, font.stretch, font.style != "normal")
        if file is None:
            return None
        if font.families and font.families not in self._told and not library.has_any(font.families):
            self._told.add(font.families)
            self._notes.add(f"there is no font {font.families[:60]!r} here; {file.families[0]!r} stands for it")
        face = library.face(file)
        settings = _axes(font, face.axes) if face.axes else ()
        return library.face(file, settings) if settings else face

    def metrics(self, font: Font, outlines: bool) -> Metrics:
        """Heights of the letters of a style."""
        size = font.size_px
        face = self._face(font) if outlines or self._words.outlines else None
        if face is None:
            cap = CAP_EM * size
            return Metrics(
                1.1 * cap, -0.33 * cap, 2 / 3 * cap, 0.2 * size, 0.4 * size, -0.2 * cap, 0.35 * cap, 0.05 * size
            )
        values = (
            face.ascent, face.descent, face.x_height, face.sub_shift, face.super_shift, face.underline, face.strike,
            face.thickness,
        )  # fmt: skip
        return Metrics(*(value * size for value in values))

    def clusters(
        self, text: str, first: int, font: Font, *, rtl: bool, outlines: bool = False, vertical: bool = False
    ) -> list[Cluster]:
        """The letters of a text of one style and direction, from left to right.

        Parameters
        ----------
        first : number of the text's first character.
        outlines : use outlines even if single-line letters are the default.
        """
        found: list[Cluster] = []
        for face, run, offset in self._runs(text, font, outlines or self._words.outlines):
            if face is None:
                found_in_run = self._single_line(run, first + offset, font, rtl)
            elif vertical:
                found_in_run = self._column(face, run, first + offset, font, rtl)
            else:
                found_in_run = self._shaped(face, run, first + offset, font, rtl, False)
            found = found_in_run + found if rtl else found + found_in_run
        return found

    def _runs(self, text: str, font: Font, outlines: bool) -> list[tuple[FontFace | None, str, int]]:
        """Parts of a text by font; None for single-line letters."""
        runs: list[tuple[FontFace | None, str, int]] = []
        primary = self._face(font) if outlines else None
        for i, character in enumerate(text):
            face: FontFace | None
            sticks = bool(runs) and (unicodedata.category(character) in ("Mn", "Me", "Cf") or character == "\ufe0f")
            if sticks:
                face = runs[-1][0]
            elif primary is None and self._of_hand(character) is not None:
                face = None
            elif primary is not None and (primary.has(character) or character == " "):
                face = primary
            else:
                face = self._other(character, font, primary)
            if runs and runs[-1][0] is face:
                runs[-1] = (face, runs[-1][1] + character, runs[-1][2])
            else:
                runs.append((face, character, i))
        return runs

    def _other(self, character: str, font: Font, primary: FontFace | None) -> FontFace | None:
        """A font for a character that the default letters lack."""
        library = self._library()
        file = None if library is None else library.having(character, font.weight, font.style != "normal")
        if library is None or file is None:
            if not character.isspace() and unicodedata.category(character) not in ("Cf", "Cc"):
                self._notes.add(f"there is no letter for {name_of(character)}; a gap is left in its place")
            return primary
        return library.face(file)

    def _of_hand(self, character: str) -> tuple[Segments, float] | None:
        """Lines of a single-line letter and its width, grid units."""
        if character not in self._single:
            one = glyph(character, "plain")
            if one is None:
                self._single[character] = None
            else:
                segments = Segments()
                for stroke in one.strokes:
                    points = rounded(stroke, tolerance_units=ROUNDING_UNITS)
                    segments.begin()
                    for (x0, y0), (x1, y1) in zip(points[:-1].tolist(), points[1:].tolist(), strict=True):
                        segments.line(x0, y0, x1, y1)
                    if len(points) == 1:
                        segments.line(*points[0], *points[0])
                self._single[character] = segments, one.advance
        return self._single[character]

    def _single_line(self, text: str, first: int, font: Font, rtl: bool) -> list[Cluster]:
        scale = CAP_EM * font.size_px / CAP_UNITS
        found: list[Cluster] = []
        composed = unicodedata.normalize("NFC", text)
        same = len(composed) == len(text)
        for i, character in enumerate(text):
            if unicodedata.category(character) in ("Cf", "Cc"):
                continue
            if i and unicodedata.combining(character) and found and not same:
                whole = self._of_hand(unicodedata.normalize("NFC", text[found[-1].first - first : i + 1]))
                if whole is not None:
                    found[-1].parts = [(whole[0], scale, 0.0, 0.0)]
                found[-1].count += 1
                continue
            one = self._of_hand(character)
            if one is None:
                found.append(Cluster(first + i, 1, 0.6 * font.size_px, [], False))
                continue
            parts = [(one[0], scale, 0.0, 0.0)]
            found.append(Cluster(first + i, 1, one[1] * scale, parts, False, space=character.isspace()))
        return found[::-1] if rtl else found

    def _column(self, face: FontFace, text: str, first: int, font: Font, rtl: bool) -> list[Cluster]:
        """Letters in a column: upright ones, and words on their side."""
        parts: list[tuple[bool, str]] = []
        for character in text:
            upright = _is_upright(character)
            # Characters without a script of their own follow the one before. Spaces lie on their side.
            if parts and (upright == parts[-1][0] or unicodedata.category(character)[0] in "MP"):
                parts[-1] = (parts[-1][0], parts[-1][1] + character)
            else:
                parts.append((upright, character))
        found: list[Cluster] = []
        for upright, part in parts:
            found += self._shaped(face, part, first, font, rtl, upright)
            first += len(part)
        return found

    def _shaped(self, face: FontFace, text: str, first: int, font: Font, rtl: bool, vertical: bool) -> list[Cluster]:
        size = font.size_px
        features = {"kern": font.kerning != "none", "smcp": "small-caps" in font.variant}
        if font.letter_spacing not in ("normal", "0"):
            features["liga"] = False
        upright = vertical
        glyphs = face.shaped(text, rtl=rtl and not upright, features=features, vertical=upright)
        found: list[Cluster] = []
        starts = sorted({one.cluster for one in glyphs})
        ends = dict(zip(starts, [*starts[1:], len(text)], strict=True))
        for one in glyphs:
            character = text[one.cluster]
            # A mark without a position of its own moves and rotates with its base letter.
            joined = bool(found) and one.advance == 0.0 and unicodedata.category(character) in ("Mn", "Me")
            if joined and not rtl:
                found[-1].count = max(found[-1].count, first + ends[one.cluster] - found[-1].first)
            elif not found or found[-1].first != first + one.cluster:
                found.append(
                    Cluster(
                        first + one.cluster,
                        ends[one.cluster] - one.cluster,
                        0.0,
                        [],
                        True,
                        joins=unicodedata.name(character, "").startswith(_CURSIVE),
                        space=character.isspace(),
                        upright=upright,
                        middle=size * (face.ascent + face.descent) / 2.0,
                    )
                )
            last = found[-1]
            if face.is_coloured(one.number):
                self._notes.add("letters of a colour font are drawn as its plain outlines, without their colours")
            outline = face.outline(one.number)
            if upright:
                last.parts.append((outline, size, one.dx * size, -one.dy * size + last.advance))
            else:
                last.parts.append((outline, size, last.advance + one.dx * size, -one.dy * size))
            last.advance += one.advance * size
        return found


_WIDTHS: Final = {
    "ultra-condensed": 50.0, "extra-condensed": 62.5, "condensed": 75.0, "semi-condensed": 87.5, "normal": 100.0,
    "semi-expanded": 112.5, "expanded": 125.0, "extra-expanded": 150.0, "ultra-expanded": 200.0,
}  # fmt: skip
"""CSS Fonts 4, section 2.4.1: per cent of the usual width."""


def _axes(font: Font, axes: dict[str, tuple[float, float, float]]) -> tuple[tuple[str, float], ...]:
    """Axis values that a style requires of a variable font (CSS Fonts 4, sections 7.1 and 7.2), without defaults."""
    wanted = {"wght": float(font.weight), "wdth": _WIDTHS.get(font.stretch, 100.0)}
    if font.style == "italic":
        wanted["ital"] = 1.0
    if font.style != "normal" and "ital" not in axes:
        wanted["slnt"] = -14.0  # default angle of oblique
    if font.optical_sizing:
        wanted["opsz"] = font.size_px
    wanted.update(font.variations)
    found = []
    for tag, value in sorted(wanted.items()):
        if tag in axes:
            low, usual, high = axes[tag]
            value = min(max(value, low), high)
            if value != usual:
                found.append((tag, value))
    return tuple(found)


def _is_upright(character: str) -> bool:
    """Whether a character is upright in vertical text (Unicode Annex 50, by its East Asian width)."""
    return unicodedata.east_asian_width(character) in ("W", "F")
