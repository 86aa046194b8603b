"""``linewright plan``: everything but the drawing itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import asked, next_steps, options, output, plan_many, target


def plan(
    sources: options.Sources = None,
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
    keep_as: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.lw",
            help="Keep the program, to be drawn later; of several sources or sheets, the folder for their programs.",
        ),
    ] = None,
    pictures: Annotated[
        Path, typer.Option("--pictures", "-p", metavar="FOLDER", help="Where the preview pictures go.")
    ] = Path("out"),
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Write no preview pictures.")] = False,
    speed_map: options.SpeedMap = False,
    poster: Annotated[
        bool,
        typer.Option(
            "--poster",
            help="Divide a picture of --size MM among as many sheets as it takes, with numbers and marks to join them.",
        ),
    ] = False,
    series: Annotated[
        Path | None,
        typer.Option(
            "--series",
            metavar="FILE.csv",
            help="Fill an arrangement's {column} with each row of a table: one program a row.",
            readable=False,
            show_default=False,
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", metavar="N", min=1, max=256, help="Processes for several sources; one per processor."
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Plan on the Dask cluster whose scheduler answers there. It and its workers exchange pickled objects, "
            "so each can run code on the others: use machines of your own, on a closed network or with TLS.",
        ),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """Plan a drawing without drawing it.

    Places the picture on its sheet, and gives preview, time, lengths and warnings. Nothing moves. Several pictures are
    planned side by side, each as it would be alone; what is wrong with one does not stop the others.
    """
    from linewright.cli.tables import drawings as report
    from linewright.cli.terminal import Terminal
    from linewright.errors import InputError
    from linewright.pictures import album
    from linewright.planning import pipeline
    from linewright.tasks import planning
    from linewright.tasks.sheets import SheetsTask

    many = sources is not None and (len(sources) > 1 or cluster is not None)
    if cluster is not None and not many:
        raise InputError("--cluster plans pictures, and none was named", hint="name files")
    if many and keep_as is not None and pipeline.is_job(keep_as):
        raise InputError(f"{keep_as} is one program, and several are planned", hint="name a folder")
    sheets = (
        poster or series is not None or (not many and sources is not None and any(map(pipeline.is_poster, sources)))
    )
    if many and sheets:
        raise InputError("a poster or a series is planned alone", hint="name one picture or arrangement")
    if sheets and keep_as is not None and pipeline.is_job(keep_as):
        raise InputError(f"{keep_as} is one program, and several sheets are planned", hint="name a folder")
    if not many and not sheets and keep_as is not None and not pipeline.is_job(keep_as):
        raise InputError(
            f"{keep_as} does not end in {pipeline.JOB_SUFFIX}", hint="`draw` knows programs by that ending"
        )
    outputs = planning.Outputs(keep_as, None if no_pictures else pictures, speed_map)
    first = "pictures" if many else sources[0] if sources else None
    given = asked.Given(first, text, text_file, pattern, sentence, maker_file, anew)
    wanted = asked.asked(given, method, as_json=as_json)
    rig = target.of_rig(rig_file, said=not as_json).rig
    placement = options.placement(sheet, landscape, margin_mm, fit, turn, pen_by, at=at, size_mm=size_mm, mirror=mirror)
    tidiness = options.tidiness(redraw_mm, effort)
    how = options.lines(
        wanted.method, pens, see_through=see_through, layers=layers, page=page, font=font, within=within, ink=ink
    )
    if many:
        tasks = [planning.PlanTask(source, rig, placement, how, tidiness) for source in sources or ()]
        plan_many.carry_out(tasks, outputs, planning.Spread(workers, cluster), as_json=as_json)
        return
    if sheets:
        task = planning.PlanTask(wanted.source, rig, placement, how, tidiness)
        base = album.stem(wanted.name)
        plan_many.carry_out_sheets(SheetsTask(task, base, poster, series), outputs, as_json=as_json)
        return
    job = options.job(wanted.source, rig, placement, how, tidiness, as_json=as_json)
    program = job.program
    with Terminal(as_json=as_json or no_pictures) as front:
        front.progress("writing the pictures")
        written = planning.write(program, wanted.name, outputs)
    if as_json:
        output.emit_json(
            {
                **program.describe(),
                "sheet": program.sheet.name,
                "sheet_mm": [program.sheet.width_mm, program.sheet.height_mm],
                "warnings": list(job.warnings),
                "pictures": [str(path) for path in written],
                "program": None if keep_as is None else str(keep_as),
            }
        )
        return
    for warning in job.warnings:
        output.warn(warning)
    output.console().print(report.plan_table(program, Path(wanted.name).name))
    for path in written:
        output.say(str(path))
    if keep_as is not None:
        change = ("--ask-pens",) if len(program.groups) > 1 else ()
        output.say(f"{keep_as} is kept. Draw it: {next_steps.command('draw', keep_as, *change)}")
