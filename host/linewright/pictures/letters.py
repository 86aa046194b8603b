"""Labels in single-line letters, with the same width on every computer.

Accents, Greek and Cyrillic are included; ? replaces other characters.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.pictures.scene import Ink, Label
from linewright.sources.lettering.faces import CAP_UNITS, Glyph
from linewright.sources.lettering.glyphs import clusters, glyph

CAPITALS: Final = 0.7
"""Height of capitals as a share of the font size (common practice of printed letters)."""

LINE: Final = 0.085
"""Line width as a share of the font size: looks like printed letters of regular weight."""


def width_mm(text: str, size_mm: float) -> float:
    """Width of a text on its line, mm."""
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
    """A text in lines that fit a width; a word that is wider gets its own line."""
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
