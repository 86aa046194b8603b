"""Text layout: words to lines, lines to a box."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import Final

from linewright.sources.lettering.faces import CAP_UNITS, Glyph, Typeface
from linewright.sources.lettering.glyphs import SPACE_UNITS, clusters, glyph, name_of, with_long_s
from linewright.sources.lettering.outlines import FontLetters, is_leftward
from linewright.sources.lettering.rounding import rounded

ALIGNED: Final = ("left", "centre", "right", "justified")
"""Alignment of lines in their box."""

DESCENT_UNITS: Final = 7.0
"""Depth of the tails of g and p below the baseline; the data's bottom line is at +16, seven below its baseline."""

BULGE_UNITS: Final = 0.05
"""Required accuracy of the end of a rounded curve: 1/400 of a capital."""

GAP_FOR_MISSING: Final = CAP_UNITS * 0.6
"""Gap for a missing character."""


@dataclass(frozen=True, eq=False)
class Word:
    """Letters that stay together in one word.

    Parameters
    ----------
    glyphs : its letters; None for missing ones.
    width : grid units.
    leftward : written from right to left; its glyphs are still stored from left to right.
    """

    text: str
    glyphs: tuple[Glyph | None, ...]
    width: float
    leftward: bool = False


@dataclass(frozen=True)
class Put:
    """A positioned letter: left edge and baseline, grid units."""

    glyph: Glyph
    x: float
    y: float


@lru_cache(maxsize=4096)
def rounded_box(letter: Glyph) -> tuple[float, float, float, float]:
    """Bounding box of its ink with rounded curves, which extend slightly beyond the corners they replace; grid
    units.
    """
    if letter.final:
        return letter.box()
    round_ones = tuple(rounded(stroke, tolerance_units=BULGE_UNITS) for stroke in letter.strokes)
    left, top, right, foot = Glyph(round_ones, letter.advance).box()
    return (left - BULGE_UNITS, top - BULGE_UNITS, right + BULGE_UNITS, foot + BULGE_UNITS)


def advance_of(letter: Glyph | None) -> float:
    """Distance to the next letter."""
    return GAP_FOR_MISSING if letter is None else letter.advance


class TextLines:
    """A text as lines of words, in one face.

    Parameters
    ----------
    text : with line ends; words are separated by spaces and tabs.
    tracking : added after each letter, grid units.
    font : takes precedence for the letters that it has; None: the face only.

    Attributes
    ----------
    lines : list of words for each line of the text; empty for an empty line.
    missing : characters without a letter in this face, each once, with code and name.
    replaced : characters missing in the font and taken from the face, each once.
    """

    def __init__(self, text: str, face: Typeface, tracking: float = 0.0, font: FontLetters | None = None) -> None:
        self.tracking = tracking
        self._face = face
        self._font = font
        self._replaced: dict[str, None] = {}
        self._missing: dict[str, None] = {}
        self.lines: list[list[Word]] = []
        for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"):
            words = []
            for word in _split(line):
                letters = self._of_face(word) if font is None else self._of_font(word, font)
                width = sum(map(advance_of, letters)) + tracking * max(len(letters) - 1, 0)
                words.append(Word(word, tuple(letters), width, font is not None and is_leftward(word)))
            self.lines.append(words)
        while self.lines and not self.lines[-1]:
            self.lines.pop()
        while self.lines and not self.lines[0]:
            self.lines.pop(0)
        self.missing = tuple(self._missing)
        self.replaced = tuple(self._replaced)

    def _of_face(self, word: str) -> list[Glyph | None]:
        letters = []
        for cluster in clusters(with_long_s(word) if self._face.long_s else word):
            found = glyph(cluster, self._face.name)
            if found is None:
                self._missing.setdefault(name_of(cluster))
            letters.append(found)
        return letters

    def _of_font(self, word: str, font: FontLetters) -> list[Glyph | None]:
        """Letters of the font, with those of the face for missing ones."""
        runs: list[list[Glyph | None]] = []
        for there, some in groupby(word, font.has):
            part = "".join(some)
            if there:
                runs.append([*font.written(part)])
                continue
            runs.append(self._of_face(part))
            for cluster in clusters(part):
                if glyph(cluster, self._face.name) is not None:
                    self._replaced.setdefault(name_of(cluster))
        if is_leftward(word):
            runs.reverse()
        return [letter for run in runs for letter in run]

    @property
    def widest_word(self) -> Word | None:
        """The widest word, which limits how narrow a box may be."""
        return max((word for line in self.lines for word in line), key=lambda word: word.width, default=None)

    @property
    def space(self) -> float:
        """Space between two words, grid units."""
        return (SPACE_UNITS if self._font is None else self._font.space) + self.tracking

    def width_of(self, line: list[Word]) -> float:
        """Width of words in one line, grid units."""
        return sum(word.width for word in line) + self.space * max(len(line) - 1, 0)

    def ink(self) -> tuple[float, float, float, float]:
        """Largest overhang of any letter's ink beyond its width (left, right), and height and depth of the ink from the
        baseline, grid units; at least the capital height and the depth of a g.
        """
        boxes = [(rounded_box(letter), letter.advance) for letter in self.letters() if letter.strokes]
        left = max((-box[0] for box, _ in boxes), default=0.0)
        right = max((box[2] - advance for box, advance in boxes), default=0.0)
        above = max((-box[1] for box, _ in boxes), default=0.0)
        below = max((box[3] for box, _ in boxes), default=0.0)
        return max(left, 0.0), max(right, 0.0), max(above, CAP_UNITS), max(below, DESCENT_UNITS)

    def letters(self) -> Iterator[Glyph]:
        """All existing letters."""
        return (letter for line in self.lines for word in line for letter in word.glyphs if letter is not None)

    def wrapped(self, width: float) -> list[tuple[list[Word], bool]]:
        """Lines no wider than ``width``, each with a flag whether it ends a line of the text.

        The breaks minimise the sum of squares of the free space, the last line excluded (the criterion of D. E. Knuth
        and M. F. Plass, "Breaking paragraphs into lines", Software: Practice and Experience 11, 1981, without hyphens):
        lines become even. No word may be wider than the box.
        """
        found: list[tuple[list[Word], bool]] = []
        for line in self.lines:
            found += _best_breaks(line, self.space, width)
        return found


def _split(line: str) -> list[str]:
    """Words of a line; no-break spaces stay within their word."""
    return [word for word in line.replace("\t", " ").split(" ") if word]


def _best_breaks(words: list[Word], space: float, width: float) -> list[tuple[list[Word], bool]]:
    if not words:
        return [([], True)]
    # cost[i]: least cost of the words from i on; cut[i]: end of the line that starts with i.
    count = len(words)
    cost = [0.0] * (count + 1)
    cut = [count] * (count + 1)
    for i in range(count - 1, -1, -1):
        used = -space
        cost[i] = float("inf")
        for j in range(i, count):
            used += space + words[j].width
            if used > width * (1 + 1e-9) and j > i:
                break
            left = max(width - used, 0.0)
            total = (0.0 if j + 1 == count else (left / width) ** 2) + cost[j + 1]
            if total < cost[i]:
                cost[i], cut[i] = total, j + 1
    lines = []
    i = 0
    while i < count:
        lines.append((words[i : cut[i]], cut[i] == count))
        i = cut[i]
    return lines


def put(words: TextLines, width: float, *, align: str, line_units: float) -> list[Put]:
    """Every letter at its position in lines of this width; the first baseline is y = 0."""
    placed: list[Put] = []
    y = 0.0
    for line, ends in words.wrapped(width):
        free = width - words.width_of(line)
        gap = words.space
        if align == "justified" and not ends and len(line) > 1:
            gap += free / (len(line) - 1)
            free = 0.0
        x = {"left": 0.0, "justified": 0.0, "centre": free / 2, "right": free}[align]
        for word in reversed(line) if line and line[0].leftward else line:
            for letter in word.glyphs:
                if letter is not None:
                    placed.append(Put(letter, x, y))
                x += advance_of(letter) + words.tracking
            x += gap - words.tracking
        y += line_units
    return placed
