"""``linewright lines``: write only the strokes of a picture, as a picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import option_groups, options, output, target
from linewright.cli.expanded import expanded
from linewright.cli.option_groups import LineOptions, NameOptions, OrderOptions, PlaceOptions, SheetOptions


@dataclass(frozen=True, kw_only=True)
class LinesOptions:
    """Options of `linewright lines`."""

    source: options.Source = None
    name: NameOptions
    to: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="The SVG of plain strokes to write.", show_default=False),
    ]
    how: LineOptions
    rig_file: options.RigFile = None
    on: SheetOptions
    place: PlaceOptions
    tolerance_mm: Annotated[
        float,
        typer.Option(
            "--tolerance", metavar="MM", min=0.0001, max=10.0, help="Largest deviation of a stroke from its curve."
        ),
    ] = 0.02
    tidied: Annotated[
        bool,
        typer.Option(
            "--tidy/--as-found", help="Join strokes, remove duplicates and order them, or leave them unchanged."
        ),
    ] = False
    order: OrderOptions
    as_json: options.AsJson = False


@expanded
def lines(given: LinesOptions) -> None:
    """Write the strokes of a picture as an SVG.

    An SVG keeps its own size. What has none, such as a photograph, becomes as large as the sheet allows, with the tones
    that the rig's pen gives at that size. An arrangement becomes a picture of its whole sheet.
    """
    from linewright import wording
    from linewright.cli.terminal import Terminal
    from linewright.pictures.strokes_svg import write_svg_strokes
    from linewright.tasks import planning
    from linewright.tasks.subject import subject

    as_json, to = given.as_json, given.to
    with Terminal(as_json=as_json) as front:
        wanted = subject(given.name.named(given.source), given.how.method, front)
    rig = target.of_rig(given.rig_file, said=not as_json).rig
    # A drawing keeps its own size unless another one is requested.
    own_size = Path(wanted.source).suffix.lower() in {".svg", ".svgz", ".pdf", ".dxf"}
    fit = not own_size or given.place.at is not None or given.place.size_mm is not None
    task = planning.PlanTask(
        wanted.source,
        rig,
        option_groups.placement(given.on, given.place, fit=fit, pen_by=given.order.pen_by),
        option_groups.lines(given.how, wanted.method, tolerance_mm=given.tolerance_mm),
        given.order.tidiness(),
    )
    with Terminal(as_json=as_json) as front:
        picture = planning.strokes(task, front, tidied=given.tidied)
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
