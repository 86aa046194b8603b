"""``linewright draw``: draw a picture or a saved program."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import drawing_report, option_groups, options, output, target
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
from linewright.cli.terminal import Terminal
from linewright.errors import InputError
from linewright.tasks import cautions


@dataclass(frozen=True, kw_only=True)
class DrawOptions:
    """Options of `linewright draw`."""

    source: options.SourceOrJob = None
    name: NameOptions
    how: LineOptions
    budget: BudgetOptions
    rig_file: options.RigFile = None
    port: options.Port = None
    on: SheetOptions
    fit: options.Fit = True
    place: PlaceOptions
    around: SurroundOptions
    order: OrderOptions
    ask_pens: options.AskPens = None
    only: options.Only = None
    from_stroke: options.FromStroke = None
    speed: options.Speed = None
    outline: options.Outline = False
    check_drift: options.CheckDrift = None
    drift_limit_mm: options.DriftLimit = None
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures",
            "-p",
            metavar="FOLDER",
            help="Folder for the preview pictures, and on the virtual rig also for the drawn result.",
        ),
    ] = None
    as_json: options.AsJson = False


@expanded
def draw(given: DrawOptions) -> None:
    """Draw a picture, a saved program, or all programs of a folder, sheet after sheet.

    Plans, connects, homes, draws, and says how it went. Keys hold and slow down; Ctrl-C stops with the pen up, and
    `linewright resume` continues later.
    """
    from linewright.board.drift import DriftCheck
    from linewright.tasks import draw_task
    from linewright.tasks.planning import PlanTask
    from linewright.tasks.subject import subject

    only = None if given.only is None else _pen_named(given.only)
    kept = draw_task.programs_in(given.source)
    as_json = given.as_json
    with Terminal(as_json=as_json) as front:
        wanted = subject(given.name.named(given.source), given.how.method, front)
    aimed = target.aim(given.rig_file, given.port, said=not as_json)
    plan = PlanTask(
        wanted.source,
        aimed.rig,
        option_groups.placement(given.on, given.place, fit=given.fit, pen_by=given.order.pen_by),
        option_groups.lines(given.how, wanted.method, given.budget),
        given.order.tidiness(),
        given.around.surround(),
    )
    drift = DriftCheck.of(aimed.rig, given.check_drift, given.drift_limit_mm)
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)
    for number, one in enumerate(kept or [wanted.source]):
        job = options.job(replace(plan, source=one), as_json=as_json)
        task = draw_task.DrawTask(
            name=Path(one).name if kept else wanted.name,
            program=job.program,
            warnings=job.warnings,
            target=aimed,
            ask_pens=drawing_report.asks_pens(given.ask_pens, aimed, as_json=as_json),
            pictures=given.pictures,
            drift=drift,
            from_stroke=given.from_stroke,
            pens_said=given.ask_pens,
            pace=1.0 if given.speed is None else given.speed / 100.0,
            outline=given.outline,
        )
        task = task if only is None else task.with_only(only)
        drawing_report.note_idle_pens(plan.lines.pens, task.program)
        if number:
            _next_sheet(Path(one).name, aimed)
        drawing_report.carry_out(task, as_json=as_json)


def _pen_named(only: str) -> str:
    """The name of the pen in ``--only pen=NAME``."""
    what, equals, name = only.partition("=")
    if what.strip() != "pen" or not equals or not name.strip():
        raise InputError(f"--only {only!r} is not of the form pen=NAME", hint="such as --only pen=black")
    return name.strip()


def _next_sheet(name: str, aimed: target.Target) -> None:
    """Wait until a new sheet is in place; the virtual rig needs none.

    Raises
    ------
    InputError : there is no terminal to ask on.
    """
    if aimed.on_virtual_rig:
        return
    if not Terminal(as_json=False).ready(f"lay a new sheet for {name}"):
        raise InputError(
            f"{name} needs a new sheet, and there is no terminal to ask on",
            hint="draw the programs one by one, or from a terminal",
        )
