"""``linewright lines``: only the strokes of a picture, as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import asked, options, output, target


def lines(
    *,
    source: options.Source = None,
    text: options.Text = None,
    text_file: options.TextFile = None,
    pattern: options.Pattern = None,
    sentence: options.Sentence = None,
    maker_file: options.MakerFile = None,
    anew: options.Anew = False,
    to: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="The SVG of plain strokes to write.", show_default=False),
    ],
    method: options.Method = None,
    pens: options.Pens = None,
    see_through: options.SeeThrough = False,
    layers: options.Layers = None,
    page: options.Page = 1,
    font: options.FontOption = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    landscape: options.Landscape = None,
    margin_mm: options.Margin = None,
    turn: options.TurnOption = options.AUTO,
    at: options.At = None,
    size_mm: options.Size = None,
    mirror: options.Mirror = False,
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
    redraw_mm: options.RedrawMm = 0.0,
    effort: options.EffortOption = options.Effort.NORMAL,
    as_json: options.AsJson = False,
) -> None:
    """Write the strokes of a picture as an SVG.

    An SVG keeps its own size. What has none, such as a photograph, becomes as large as the sheet allows, with the tones
    that the rig's pen gives at that size. An arrangement becomes a picture of its whole sheet.
    """
    from linewright import wording
    from linewright.cli.terminal import Terminal
    from linewright.pictures.strokes_svg import write_svg_strokes
    from linewright.tasks import planning

    given = asked.Given(source, text, text_file, pattern, sentence, maker_file, anew)
    wanted = asked.asked(given, method, as_json=as_json)
    rig = target.of_rig(rig_file, said=not as_json).rig
    # A drawing keeps its own size unless it is asked for another.
    own_size = Path(wanted.source).suffix.lower() in {".svg", ".svgz", ".pdf", ".dxf"}
    fit = not own_size or at is not None or size_mm is not None
    placement = options.placement(sheet, landscape, margin_mm, fit, turn, pen_by, at=at, size_mm=size_mm, mirror=mirror)
    how = options.lines(wanted.method, pens, tolerance_mm, see_through=see_through, layers=layers, page=page, font=font)
    task = planning.PlanTask(wanted.source, rig, placement, how, options.tidiness(redraw_mm, effort))
    with Terminal(as_json=as_json) as front:
        picture = planning.strokes(task, front, tidied=tidied)
    drawing = picture.drawing
    write_svg_strokes(drawing, picture.width_mm, picture.height_mm, to, pen_width_mm=rig.pen.width_mm)
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
