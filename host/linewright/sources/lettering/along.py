"""Text along a path: each letter is perpendicular to the path."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.errors import SourceError
from linewright.sources.lettering.faces import Glyph
from linewright.sources.lettering.layout import TextLines, advance_of

NAMED: Final = ("arch", "bowl", "circle", "wave", "spiral")


def path(name: str, room_mm: tuple[float, float], rise_mm: float) -> Points:
    """A path by its name, or the longest stroke of an SVG file.

    Parameters
    ----------
    rise_mm : height left free above the path for the letters.

    Returns
    -------
    (n, 2) float64, mm, within the area

    Raises
    ------
    SourceError : neither a name nor a file with a stroke.
    """
    w, h = room_mm
    cx, cy = w / 2, h / 2
    if name in ("arch", "bowl"):
        # An arc a third as high as half its width: it ends at a slope of asin(0.6), where letters lean by 0.6 of their
        # height.
        half = max(w / 2 - 0.65 * rise_mm, 1e-3)
        sagitta = half / 3
        radius = (half**2 + sagitta**2) / (2 * sagitta)
        reach = math.asin(half / radius)
        turn = np.linspace(-reach, reach, 361)
        drop = radius * (np.cos(turn) - math.cos(reach))
        y = cy + (sagitta / 2 - drop if name == "arch" else drop - sagitta / 2)
        return np.column_stack((cx + radius * np.sin(turn), y + rise_mm / 2))
    outer = max(min(w, h) / 2 - rise_mm, 1e-3)
    if name == "circle":
        turn = np.linspace(-1.5 * math.pi, 0.5 * math.pi, 721)
        return np.column_stack((cx + outer * np.cos(turn), cy + outer * np.sin(turn)))
    if name == "wave":
        # Two waves with an amplitude of 1/14 of the width: 42 degrees at their steepest.
        inset = min(0.7 * rise_mm, w / 3)
        x = np.linspace(inset, w - inset, 721)
        y = cy + rise_mm / 2 - (w / 14) * np.sin((x - inset) / (w - 2 * inset) * 2 * math.tau)
        return np.column_stack((x, y))
    if name == "spiral":
        # Archimedes' spiral with turns 1.4 letters apart, read from the outside inward.
        pitch = 1.4 * rise_mm
        turns = max((outer - 0.4 * pitch) / pitch, 0.5)
        turn = np.linspace(0.0, turns, int(turns * 360) + 2)
        radius_at = outer * (1 - turn / (turns + 0.4))
        angle = turn * math.tau - math.pi
        return np.column_stack((cx + radius_at * np.cos(angle), cy + radius_at * np.sin(angle)))
    return _of_file(name, room_mm, rise_mm)


def _of_file(name: str, room_mm: tuple[float, float], rise_mm: float) -> Points:
    file = Path(name)
    if file.suffix.lower() not in (".svg", ".svgz"):
        raise SourceError(
            f"text cannot go along {name!r}", hint=f"use one of {', '.join(NAMED)}, or an SVG file with one line in it"
        )
    from linewright.sources.svg import read_svg

    drawing = read_svg(file).drawing
    line = drawing.stroke(int(np.argmax(drawing.stroke_lengths_mm())))
    line = line[np.append(True, (np.diff(line, axis=0) != 0).any(axis=1))]
    low = line.min(axis=0)
    size = line.max(axis=0) - low
    if len(line) < 2:
        raise SourceError("its longest line has no length", where=name, hint="draw a line for the text to go along")
    free = np.array(room_mm) - 2 * rise_mm
    scale = float(min(free[i] / size[i] for i in (0, 1) if size[i] > 0))
    return np.asarray((line - low - size / 2) * max(scale, 1e-6) + np.array(room_mm) / 2)


def put_along(words: TextLines, line: Points, *, scale: float, align: str) -> list[tuple[Glyph, Points]]:
    """Each letter with its (2, 3) affine matrix from grid units to mm.

    Parameters
    ----------
    line : (n, 2) float64, mm.
    scale : mm per grid unit.
    align : position of the text on the path; ``justified`` spreads its letters over the whole path.
    """
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    letters = _one_line(words)
    free = float(along[-1]) - length_units(words) * scale
    s = {"left": 0.0, "justified": 0.0, "centre": free / 2, "right": free}[align]
    extra = free / max(len(letters) - 1, 1) if align == "justified" else 0.0
    placed: list[tuple[Glyph, Points]] = []
    for letter, units in letters:
        width = units * scale
        if letter is not None and letter.strokes:
            # The letter's baseline is the chord between the two path points below its edges.
            a, b = (_at(line, along, where) for where in (s, s + letter.advance * scale))
            direction = (b - a) / max(float(np.hypot(*(b - a))), 1e-12)
            origin = (a + b) / 2 - direction * letter.advance * scale / 2
            c, d = direction * scale
            placed.append((letter, np.array([[c, -d, origin[0]], [d, c, origin[1]]])))
        s += width + extra
    return placed


def length_units(words: TextLines) -> float:
    """Length of all words in one line, grid units."""
    return sum(units for _, units in _one_line(words)) - words.tracking


def _at(line: Points, along: Points, s: float) -> Points:
    """The point of the path at this length; extrapolated beyond its ends."""
    over = s - min(max(s, 0.0), float(along[-1]))
    end = line[-1] - line[-2] if over > 0 else line[1] - line[0]
    point = np.array([np.interp(s, along, line[:, 0]), np.interp(s, along, line[:, 1])])
    return np.asarray(point + over * end / max(float(np.hypot(*end)), 1e-12))


def _one_line(words: TextLines) -> list[tuple[Glyph | None, float]]:
    """All letters in one line with the path length that each takes; spaces are letters without ink."""
    found: list[tuple[Glyph | None, float]] = []
    for word in (word for line in words.lines for word in line):
        if found:
            found.append((None, words.space))
        found += [(letter, advance_of(letter) + words.tracking) for letter in word.glyphs]
    return found
