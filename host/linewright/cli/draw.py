"""``linewright draw``: a picture, or a program kept earlier, onto the paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import asked, cautions, drawing_task, options, output
from linewright.cli.task import Task

Port = Annotated[
    str,
    typer.Option(
        "--port",
        metavar="PORT",
        help="virtual, serial:PATH (such as serial:/dev/ttyACM0) or socket:HOST:PORT. "
        "virtual takes options: virtual:backlash_x_mm=0.2,interpreter=micropython.",
    ),
]


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
    rig_file: options.RigFile = None,
    port: Port = "virtual",
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
    """Draw a picture or a kept program.

    Plans, connects, homes, draws, and says how it went. Keys hold and slow down; Ctrl-C stops with the pen up, and
    `linewright resume` carries on later.
    """
    from linewright.board.drift import DriftCheck

    given = asked.Given(source, text, text_file, pattern, sentence, maker_file, anew)
    wanted = asked.asked(given, method, as_json=as_json)
    rig = options.load_rig(rig_file)
    drift = DriftCheck.of(rig, check_drift, drift_limit_mm)
    placement = options.placement(sheet, landscape, margin_mm, fit, turn, pen_by, at=at, size_mm=size_mm, mirror=mirror)
    tidiness = options.tidiness(redraw_mm, effort)
    job = options.job(wanted.source, rig, placement, options.lines(wanted.method, pens), tidiness, as_json=as_json)
    for caution in cautions.before_moving(port):
        output.say(f"caution: {caution}", stderr=True)
    drawing_task.carry_out(
        Task(
            name=wanted.name,
            program=job.program,
            warnings=job.warnings,
            rig=rig,
            rig_file=rig_file,
            port=port,
            ask_pens=ask_pens,
            pictures=pictures,
            as_json=as_json,
            drift=drift,
        )
    )
