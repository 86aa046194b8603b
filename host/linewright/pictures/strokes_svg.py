"""`write_svg_strokes`: a `Drawing` as a plain SVG of polylines, one element per stroke, for other programs.

`svg_writer` writes pictures for people, with many strokes per element, background and legend.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

from linewright.drawing import svg_text
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.files import replacing


def write_svg_strokes(
    drawing: Drawing, width_mm: float, height_mm: float, path: str | os.PathLike[str], *, pen_width_mm: float
) -> None:
    """Write strokes as an SVG whose user unit is the millimetre; one group per pen, one element per stroke.

    The file is written whole or not at all.

    Parameters
    ----------
    drawing : strokes, mm; coordinates are rounded to 0.001 mm.
    width_mm, height_mm : size of the picture, above 0 mm.
    path : file to write; one that exists is replaced.
    pen_width_mm : line width of pens that state none.

    Raises
    ------
    InputError
        The size is not positive, or the file cannot be written.
    """
    if not (width_mm > 0.0 and height_mm > 0.0):
        raise InputError(
            f"a picture of {width_mm:g} x {height_mm:g} mm cannot be written",
            hint="give a width and a height above 0 mm",
        )
    try:
        with replacing(path) as file:
            file.writelines(piece.encode() for piece in _pieces(drawing, width_mm, height_mm, pen_width_mm))
    except OSError as problem:
        reason = problem.strerror or str(problem)
        hint = "check the folder, its permissions and the free space"
        raise InputError(f"{path} cannot be written: {reason}", hint=hint) from None


def _pieces(drawing: Drawing, width_mm: float, height_mm: float, pen_width_mm: float) -> Iterator[str]:
    yield '<?xml version="1.0" encoding="UTF-8"?>\n'
    yield svg_text.head(width_mm, height_mm)
    for number, pen in enumerate(drawing.pens):
        strokes = (drawing.pen == number).nonzero()[0]
        if not len(strokes):
            continue
        width = pen_width_mm if pen.width_mm is None else pen.width_mm
        yield svg_text.group(f"pen-{number + 1}", pen.name, pen.colour, width)
        for stroke in strokes:
            yield svg_text.stroke(drawing.stroke(int(stroke)))
        yield "</g>\n"
    yield "</svg>\n"
