"""``linewright compare``: one photograph drawn by every method, side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from linewright.cli import next_steps, option_groups, options, output, target
from linewright.cli.option_groups import SheetOptions

if TYPE_CHECKING:
    from linewright.sources.picture import Picture, Report

_USUAL_FOLDER: Final = Path("out")
"""The folder in which `plan` also puts its pictures."""


def compare(
    photo: Annotated[str, typer.Argument(metavar="PHOTO", help="A photograph.", show_default=False)],
    to: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="FILE.png", help="The contact sheet to write; out/PHOTO-methods.png usually."
        ),
    ] = None,
    method: Annotated[
        list[str] | None,
        typer.Option("--as", metavar="METHOD[:SETTING=VALUE,...]", help="Compare only this method; may be repeated."),
    ] = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    landscape: options.Landscape = None,
    margin_mm: options.Margin = None,
    as_json: options.AsJson = False,
) -> None:
    """Show a photograph by every method on one contact sheet, with the drawing time and the tone error of each.

    The time is the planner's for your rig, with the quick order of strokes; nothing is drawn. The tone error is the
    mean difference of ink coverage from the coverage wanted, 0 to 1, with the ink drawn at the pen's true width and
    seen from across a room; likeness is how alike the two are in structure, 1 for equal.
    """
    from rich.table import Table

    from linewright import wording
    from linewright.cli.progress import ProgressBar
    from linewright.errors import InputError
    from linewright.files import replacing
    from linewright.pictures.contact_sheet import refuse_other_than_png
    from linewright.planning import comparison, pipeline
    from linewright.planning.comparison_sheet import comparison_sheet
    from linewright.planning.plan_task import PlanTask
    from linewright.rig.sheet_place import sheet_on
    from linewright.sources import photograph
    from linewright.sources.tone.method import needs_extra
    from linewright.tidy import Tidiness, Watcher

    sheet_file = to or _USUAL_FOLDER / f"{Path(photo).stem}-methods.png"
    refuse_other_than_png(sheet_file)
    needs_extra()
    rig = target.of_rig(rig_file, said=not as_json).rig
    placement = option_groups.placement(SheetOptions(sheet=sheet, landscape=landscape, margin_mm=margin_mm))
    on = sheet_on(rig, placement.sheet, landscape=placement.landscape, margin_mm=placement.margin_mm)

    def drawing_s(picture: Picture, report: Report) -> float:
        task = PlanTask(photo, rig, placement, tidiness=Tidiness(effort="quick"))
        return pipeline.planned(picture, task, Watcher(report)).program.predicted_s

    with ProgressBar(shown=not as_json) as bar:
        wish = pipeline.wish_for(rig, on, placement, bar.share)
        taken = photograph.load(photo)
        asked, why = (method, "") if method else comparison.with_pick(taken, wish)
        entries = list(comparison.compare(taken, wish, asked, drawing_s))
        if all(entry.picture is None for entry in entries):
            raise InputError(f"{photo}: no method finds anything to draw", hint=entries[0].trouble)
        bar.say("drawing the contact sheet")
        recommended = entries[0].method if why else ""
        content = comparison_sheet(taken, entries, pen_mm=rig.pen.width_mm, recommended=recommended)
    try:
        if to is None:
            _USUAL_FOLDER.mkdir(exist_ok=True)
        with replacing(sheet_file) as stream:
            stream.write(content)
    except OSError as error:
        raise InputError(
            f"{sheet_file} cannot be written: {error.strerror or error}", hint="name another file"
        ) from None
    if as_json:
        output.emit_json(
            {"file": str(sheet_file), "recommended": recommended, "methods": [_figures(entry) for entry in entries]}
        )
        return
    for warning in taken.warnings:
        output.warn(warning)
    heads = ("method", "strokes", "ink", "drawing time", "tone error", "likeness", "near", "computed in")
    table = Table(*heads, box=None, pad_edge=False)
    for entry in entries:
        name = f"{entry.method} (for {entry.suits})" if entry.suits else entry.method
        if entry.picture is None or entry.reading is None or entry.drawing_s is None:
            table.add_row(name, "-", "-", "-", "-", "-", "-", f"{wording.duration(entry.seconds)}: {entry.trouble}")
            continue
        drawing = entry.picture.drawing
        ink = wording.length(float(drawing.stroke_lengths_mm().sum()))
        reading = entry.reading
        table.add_row(
            name,
            wording.grouped(len(drawing)),
            ink,
            wording.duration(entry.drawing_s),
            f"{reading.error:.3f}",
            f"{reading.likeness:.2f}",
            "-" if entry.near is None else f"{entry.near:.2f}",
            wording.duration(entry.seconds),
        )
    output.console().print(table)
    output.say(
        "tone error: mean difference from the grey wanted, 0 is none; likeness: of the structure seen, 1 is equal; "
        "near: the same from 1 m; "
        "drawing time: as planned for the rig, with a quick order of strokes"
    )
    if why:
        output.say(f"recommended (the star on the sheet): {entries[0].method} ({why})")
    same_sheet = _sheet_options(sheet, landscape, margin_mm)
    output.say("to draw one of them as shown:")
    for entry in entries:
        if entry.picture is not None:
            output.say(f"  {next_steps.command('draw', photo, '--as', entry.method, *same_sheet)}")
    output.say(str(sheet_file))


def _sheet_options(sheet: str | None, landscape: bool | None, margin_mm: float | None) -> list[str]:
    """The words of a command that takes the same sheet."""
    words = [] if sheet is None else ["--sheet", sheet]
    if margin_mm is not None:
        words += ["--margin", f"{margin_mm:g}"]
    if landscape is not None:
        words.append("--landscape" if landscape else "--portrait")
    return words


def _figures(entry: object) -> dict[str, object]:
    from linewright.planning.comparison import ComparedMethod

    assert isinstance(entry, ComparedMethod)
    figures: dict[str, object] = {"method": entry.method, "seconds": entry.seconds, "trouble": entry.trouble}
    if entry.picture is not None and entry.reading is not None:
        likeness = entry.reading.likeness
        figures |= {
            "strokes": len(entry.picture.drawing),
            "pen_down_mm": float(entry.picture.drawing.stroke_lengths_mm().sum()),
            "predicted_s": entry.drawing_s,
            "tone_error": entry.reading.error,
            "tone_bias": entry.reading.bias,
            "likeness_near": entry.near if entry.near == entry.near else None,
            "likeness": likeness if likeness == likeness else None,  # NaN for a picture of few pixels; JSON has none
        }
    return figures
