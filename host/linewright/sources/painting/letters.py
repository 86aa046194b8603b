"""Single letters of a drawing file as outlines to be stroked, in our single-line face."""

from __future__ import annotations

import itertools
from functools import lru_cache
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.lettering.faces import CAP_UNITS
from linewright.sources.lettering.glyphs import glyph
from linewright.sources.lettering.inking import inked
from linewright.sources.painting.segments import Segments

FACE: Final = "plain"

_SCALE: Final = 10.0 / CAP_UNITS
"""Letters are rounded for capitals of 10 mm; within the tolerance this suits sizes up to 100 mm."""

_PEN_MM: Final = 0.5
"""Assumed pen for the dots of letters at that height."""


@lru_cache(maxsize=4096)
def letter(character: str) -> tuple[tuple[Points, ...], float] | None:
    """A character's strokes and advance, for capitals of height 1; y downward from the baseline. None for missing
    characters; a space has no strokes.
    """
    if character.isspace():
        return (), 0.5
    found = glyph(character, FACE)
    if found is None:
        return None
    strokes = tuple(stroke / (_SCALE * CAP_UNITS) for stroke in inked(found, _SCALE, _PEN_MM))
    return strokes, found.advance / CAP_UNITS


def draw(segments: Segments, strokes: tuple[Points, ...], linear: Points, at: tuple[float, float]) -> None:
    """Append a letter's strokes.

    Parameters
    ----------
    linear : (2, 2), from the letter's own coordinates, y downward, to the mark's units.
    at : start of its baseline, in the mark's units.
    """
    for stroke in strokes:
        points = (stroke @ linear.T + np.array(at)).tolist()
        segments.begin()
        if len(points) == 1:
            segments.line(*points[0], *points[0])
        for begin, end in itertools.pairwise(points):
            segments.line(*begin, *end)
