"""``linewright plan``: plan a drawing without drawing it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import drawing_report, next_steps, option_groups, options, output, plan_many, target
from linewright.cli.expanded import expanded
from linewright.cli.option_groups import (
    BudgetOptions,
    LineOptions,
    NameOptions,
    OrderOptions,
    PlaceOptions,
    SheetOptions,
    SurroundOptions,
)


@dataclass(frozen=True, kw_only=True)
class PlanOptions:
    """Options of `linewright plan`."""

    sources: options.Sources = None
    name: NameOptions = field(default_factory=NameOptions)
    how: LineOptions = field(default_factory=LineOptions)
    budget: BudgetOptions = field(default_factory=BudgetOptions)
    rig_file: options.RigFile = None
    on: SheetOptions = field(default_factory=SheetOptions)
    fit: options.Fit = True
    place: PlaceOptions = field(default_factory=PlaceOptions)
    around: SurroundOptions = field(default_factory=SurroundOptions)
    order: OrderOptions = field(default_factory=OrderOptions)
    keep_as: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.lw",
            help="Save the program, to be drawn later; with several sources or sheets: the folder for their programs.",
        ),
    ] = None
    pictures: Annotated[
        Path, typer.Option("--pictures", "-p", metavar="FOLDER", help="Folder for the preview pictures.")
    ] = Path("out")
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Write no preview pictures.")] = False
    speed_map: options.SpeedMap = False
    poster: Annotated[
        bool,
        typer.Option(
            "--poster",
            help="Divide a picture of --size MM among several sheets, with numbers and marks for joining them.",
        ),
    ] = False
    series: Annotated[
        Path | None,
        typer.Option(
            "--series",
            metavar="FILE.csv",
            help="Replace each {column} in an arrangement by the values of a CSV table: one program per row.",
            readable=False,
            show_default=False,
        ),
    ] = None
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            metavar="N",
            min=1,
            max=256,
            help="Number of processes for several sources; default: one per processor.",
        ),
    ] = None
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Plan on the Dask cluster whose scheduler answers there. It and its workers exchange pickled objects, "
            "so each can run code on the others: use machines of your own, on a closed network or with TLS.",
        ),
    ] = None
    as_json: options.AsJson = False

    @property
    def many(self) -> bool:
        """Whether several pictures, or one by the rules for several, are planned."""
        return self.sources is not None and (len(self.sources) > 1 or self.cluster is not None)

    @property
    def sheets(self) -> bool:
        """Whether one source gives several sheets."""
        from linewright.planning import pipeline

        asked = self.poster or self.series is not None
        return asked or (not self.many and self.sources is not None and any(map(pipeline.is_poster, self.sources)))


@expanded
def plan(given: PlanOptions) -> None:
    """Plan a drawing without drawing it.

    Places the picture on its sheet, and gives preview, time, lengths and warnings. Nothing moves. Several pictures are
    planned side by side, each as it would be alone; what is wrong with one does not stop the others.
    """
    carry_out(given)


def carry_out(given: PlanOptions) -> None:
    """Plan as the options say, and print the results.

    Raises
    ------
    InputError
        Options contradict each other, or the picture cannot be drawn.
    """
    from linewright.cli.tables import drawings as report
    from linewright.cli.terminal import Terminal
    from linewright.pictures import album
    from linewright.tasks import planning
    from linewright.tasks.sheets import SheetsTask
    from linewright.tasks.subject import subject

    sheets = given.sheets
    _refuse_what_does_not_go_together(given, sheets=sheets)
    as_json, keep_as = given.as_json, given.keep_as
    outputs = planning.Outputs(keep_as, None if given.no_pictures else given.pictures, given.speed_map)
    first = "pictures" if given.many else given.sources[0] if given.sources else None
    with Terminal(as_json=as_json) as front:
        wanted = subject(given.name.named(first), given.how.method, front)
    task = planning.PlanTask(
        wanted.source,
        target.of_rig(given.rig_file, said=not as_json).rig,
        option_groups.placement(given.on, given.place, fit=given.fit, pen_by=given.order.pen_by),
        option_groups.lines(given.how, wanted.method, given.budget),
        given.order.tidiness(),
        given.around.surround(),
    )
    if given.many:
        tasks = [replace(task, source=source) for source in given.sources or ()]
        plan_many.carry_out(tasks, outputs, planning.Spread(given.workers, given.cluster), as_json=as_json)
        return
    if sheets:
        wish = SheetsTask(task, album.stem(wanted.name), given.poster, given.series)
        plan_many.carry_out_sheets(wish, outputs, as_json=as_json)
        return
    job = options.job(task, as_json=as_json)
    program = job.program
    with Terminal(as_json=as_json or given.no_pictures) as front:
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
    drawing_report.note_idle_pens(task.lines.pens, program)
    output.console().print(report.plan_table(program, Path(wanted.name).name))
    for path in written:
        output.say(str(path))
    if keep_as is not None:
        change = ("--ask-pens",) if len(program.groups) > 1 else ()
        output.say(f"{keep_as} is saved. Draw it: {next_steps.command('draw', keep_as, *change)}")


def _refuse_what_does_not_go_together(given: PlanOptions, *, sheets: bool) -> None:
    from linewright.errors import InputError
    from linewright.planning import pipeline

    keep_as = given.keep_as
    if given.cluster is not None and not given.many:
        raise InputError("--cluster needs picture files, and none was named", hint="name files")
    if given.many and keep_as is not None and pipeline.is_job(keep_as):
        raise InputError(f"{keep_as} names one program, and several pictures are planned", hint="name a folder")
    if given.many and sheets:
        raise InputError(
            "a poster or a series cannot be planned together with other pictures",
            hint="name one picture or arrangement",
        )
    if sheets and keep_as is not None and pipeline.is_job(keep_as):
        raise InputError(f"{keep_as} names one program, and several sheets are planned", hint="name a folder")
    if not given.many and not sheets and keep_as is not None and not pipeline.is_job(keep_as):
        raise InputError(
            f"{keep_as} does not end in {pipeline.JOB_SUFFIX}", hint="`draw` recognises programs by this ending"
        )
