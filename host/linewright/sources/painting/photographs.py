"""Embedded photographs: strokes by the methods for photographs, at their position in the picture."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from linewright.errors import InputError
from linewright.sources import methods
from linewright.sources.painting.flatten import Floats
from linewright.sources.painting.marks import Mark
from linewright.sources.painting.matrices import Matrix
from linewright.sources.painting.notes import Notes
from linewright.sources.picture import Wish

LEAST_MM: Final = 2.0
"""Smallest width on the sheet at which a photograph is drawn."""


def photographed(mark: Mark, matrix: Matrix, wish: Wish, notes: Notes) -> dict[str, list[Floats]]:
    """Strokes of a photograph, mm on the sheet, by pen colour.

    Parameters
    ----------
    matrix : the unit square to mm on the sheet.
    """
    from PIL import Image

    assert mark.photograph is not None
    a, b, c, d, e, f = matrix
    width, height = float(np.hypot(a, b)), float(np.hypot(c, d))
    if min(width, height) < LEAST_MM:
        notes.add("an embedded photograph is too small on the sheet to be drawn", mark.line_number)
        return {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "embedded.png"
        Image.fromarray(mark.photograph).save(path, compress_level=1)
        try:
            way = methods.chosen(methods.FOR_PHOTOGRAPHS)
            picture = way.read(str(path), replace(wish, room_mm=(width, height), turn_deg=0, fit="fit"))
        except InputError as problem:
            notes.add(f"an embedded photograph is not drawn: {problem.args[0]}", mark.line_number)
            return {}
    for warning in picture.warnings:
        notes.add(f"embedded photograph: {warning}", mark.line_number)
    # The strokes fill a box of the photograph's own proportion; the matrix gives its corners.
    across = np.array(((a, b), (c, d))) / np.array(((picture.width_mm,), (picture.height_mm,)))
    strokes: dict[str, list[Floats]] = {}
    for number, stroke in enumerate(picture.drawing):
        colour = picture.drawing.pens[int(picture.drawing.pen[number])].colour
        strokes.setdefault(colour, []).append(stroke @ across + (e, f))
    return strokes
