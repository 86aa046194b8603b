"""``linewright lines``: only the strokes of a picture, as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import options, output


def lines(
    file: options.Picture,
    to: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="The SVG of plain strokes to write.", show_default=False),
    ],
    tolerance_mm: Annotated[
        float,
        typer.Option(
            "--tolerance", metavar="MM", min=0.0001, max=10.0, help="How far a stroke may stray from its curve."
        ),
    ] = 0.02,
    tidied: Annotated[
        bool,
        typer.Option("--tidy/--as-found", help="Join, drop doubles and order the strokes, or leave them as found."),
    ] = False,
    pen_by: options.PenByOption = options.PenBy.COLOUR,
    as_json: options.AsJson = False,
) -> None:
    """Write the strokes of a picture as an SVG."""
    from linewright import pipeline
    from linewright.sources.svg import write_svg_strokes
    from linewright.views import wording

    picture = pipeline.read_picture(file, tolerance_mm=tolerance_mm, pen_by=pen_by.value)
    drawing = pipeline.tidied(picture.drawing) if tidied else picture.drawing
    write_svg_strokes(drawing, picture.width_mm, picture.height_mm, to)
    pen_down_mm = float(drawing.stroke_lengths_mm().sum())
    if as_json:
        output.emit_json(
            {
                "file": str(to),
                "strokes": len(drawing),
                "vertices": drawing.vertices,
                "pens": [pen.name for pen in drawing.pens],
                "pen_down_mm": pen_down_mm,
                "width_mm": picture.width_mm,
                "height_mm": picture.height_mm,
                "warnings": list(picture.warnings),
            }
        )
        return
    for warning in picture.warnings:
        output.warn(warning)
    output.say(
        f"{to}: {wording.count(len(drawing), 'stroke')}, {wording.count(drawing.vertices, 'vertex', 'vertices')}, "
        f"{wording.length(pen_down_mm)} of ink, {wording.count(len(drawing.pens), 'pen')}"
    )
