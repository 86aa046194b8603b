"""Labels in the letters that pens write: as wide here as on any computer, whatever fonts it has.

They have accents, Greek and Cyrillic; ? stands for what they lack.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.pictures.scene import Ink, Label
from linewright.sources.lettering.faces import CAP_UNITS, Glyph
from linewright.sources.lettering.glyphs import clusters, glyph

CAPITALS: Final = 0.7
"""Height of capitals in shares of the size that is stated (common practice of printed letters)."""

LINE: Final = 0.085
"""Thickness of the strokes in shares of the size: as dark as printed letters of regular weight, to the eye."""


def width_mm(text: str, size_mm: float) -> float:
    """How much room a text takes on its line, mm."""
    return sum(letter.advance for letter in _letters(text)) * _zoom(size_mm)


def lettered(label: Label) -> Ink:
    """A label as strokes."""
    zoom = _zoom(label.size_mm)
    x = label.x_mm - {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor] * width_mm(label.text, label.size_mm)
    strokes = []
    for letter in _letters(label.text):
        strokes += [np.asarray(stroke, dtype=np.float64) * zoom + (x, label.y_mm) for stroke in letter.strokes]
        x += letter.advance * zoom
    starts = np.concatenate(([0], np.cumsum([len(stroke) for stroke in strokes]))).astype(np.int64)
    points = np.concatenate(strokes) if strokes else np.empty((0, 2))
    return Ink("words", label.colour, LINE * label.size_mm, points, starts)


def wrapped(text: str, size_mm: float, room_mm: float) -> list[str]:
    """A text in lines that fit the room; a word that is wider has a line of its own."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_mm(f"{lines[-1]} {word}", size_mm) <= room_mm:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _zoom(size_mm: float) -> float:
    return CAPITALS * size_mm / CAP_UNITS


def _letters(text: str) -> list[Glyph]:
    return [found for cluster in clusters(text) if (found := glyph(cluster, "plain") or glyph("?", "plain"))]
