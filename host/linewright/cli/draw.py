"""``linewright draw``: a picture, or a program kept earlier, onto the paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import asked, drawing_report, options, output, target
from linewright.cli.terminal import Terminal
from linewright.errors import InputError
from linewright.tasks import cautions

if TYPE_CHECKING:
    from linewright.drawing.strokes import Pen
    from linewright.program.program import Program


def draw(
    source: options.SourceOrJob = None,
    text: options.Text = None,
    text_file: options.TextFile = None,
    pattern: options.Pattern = None,
    sentence: options.Sentence = None,
    maker_file: options.MakerFile = None,
    anew: options.Anew = False,
    method: options.Method = None,
    pens: options.Pens = None,
    see_through: options.SeeThrough = False,
    layers: options.Layers = None,
    page: options.Page = 1,
    font: options.FontOption = None,
    within: options.Within = None,
    ink: options.Ink = None,
    rig_file: options.RigFile = None,
    port: options.Port = None,
    sheet: options.SheetName = None,
    landscape: options.Landscape = None,
    margin_mm: options.Margin = None,
    fit: options.Fit = True,
    turn: options.TurnOption = options.AUTO,
    at: options.At = None,
    size_mm: options.Size = None,
    mirror: options.Mirror = False,
    pen_by: options.PenByOption = options.PenBy.COLOUR,
    redraw_mm: options.RedrawMm = 0.0,
    effort: options.EffortOption = options.Effort.NORMAL,
    ask_pens: options.AskPens = None,
    only: options.Only = None,
    from_stroke: options.FromStroke = None,
    speed: options.Speed = None,
    outline: options.Outline = False,
    check_drift: options.CheckDrift = None,
    drift_limit_mm: options.DriftLimit = None,
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures",
            "-p",
            metavar="FOLDER",
            help="Write the preview there, and on the virtual rig also what the pen drew.",
        ),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """Draw a picture or a kept program; of a folder, its programs, sheet after sheet.

    Plans, connects, homes, draws, and says how it went. Keys hold and slow down; Ctrl-C stops with the pen up, and
    `linewright resume` carries on later.
    """
    from linewright.board.drift import DriftCheck
    from linewright.planning import pipeline
    from linewright.run import part
    from linewright.tasks.draw_task import DrawTask

    asked_part = _part_of(only)
    if source is not None and Path(source).is_dir():
        folder = [str(path) for path in sorted(Path(source).iterdir()) if pipeline.is_job(path)]
        if not folder:
            raise InputError(
                f"there is no program in the folder {source}", hint="`linewright plan *.svg -o FOLDER` keeps some there"
            )
    else:
        folder = []
    given = asked.Given(source, text, text_file, pattern, sentence, maker_file, anew)
    wanted = asked.asked(given, method, as_json=as_json)
    aimed = target.aim(rig_file, port, said=not as_json)
    rig = aimed.rig
    drift = DriftCheck.of(rig, check_drift, drift_limit_mm)
    placement = options.placement(sheet, landscape, margin_mm, fit, turn, pen_by, at=at, size_mm=size_mm, mirror=mirror)
    tidiness = options.tidiness(redraw_mm, effort)
    lines = options.lines(
        wanted.method, pens, see_through=see_through, layers=layers, page=page, font=font, within=within, ink=ink
    )
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)
    for number, one in enumerate(folder or [wanted.source]):
        job = options.job(one, rig, placement, lines, tidiness, as_json=as_json)
        program = job.program if asked_part is None else part.only_pen(job.program, asked_part, rig)
        _mind_pens(lines.pens, program)
        if number:
            _next_sheet(Path(one).name, aimed)
        drawing_report.carry_out(
            DrawTask(
                name=Path(one).name if folder else wanted.name,
                program=program,
                warnings=job.warnings,
                target=aimed,
                ask_pens=drawing_report.asks_pens(ask_pens, aimed, as_json=as_json),
                pictures=pictures,
                drift=drift,
                from_stroke=from_stroke or 1,
                pace=1.0 if speed is None else speed / 100.0,
                outline=outline,
            ),
            as_json=as_json,
        )


def _part_of(only: str | None) -> str | None:
    """The name of the pen in ``--only pen=NAME``."""
    if only is None:
        return None
    what, equals, name = only.partition("=")
    if what.strip() != "pen" or not equals or not name.strip():
        raise InputError(f"--only {only!r} names no part of a drawing", hint="write --only pen=NAME, such as pen=black")
    return name.strip()


def _mind_pens(named: tuple[Pen, ...], program: Program) -> None:
    """Pens that were named and have nothing to draw need not be fetched."""
    used = {program.drawing.pens[group.pen].name for group in program.groups}
    if idle := [pen.name for pen in named if pen.name not in used]:
        output.warn(
            f"not needed: {', '.join(idle)}; nothing in this drawing is drawn with {'it' if len(idle) == 1 else 'them'}"
        )


def _next_sheet(name: str, aimed: target.Target) -> None:
    """Wait for paper; the virtual rig needs none.

    Raises
    ------
    InputError : nobody is there.
    """
    if aimed.on_virtual_rig:
        return
    if not Terminal(as_json=False).ready(f"lay a new sheet for {name}"):
        raise InputError(
            f"nobody is there to lay a new sheet for {name}", hint="draw the programs one by one, or from a terminal"
        )
