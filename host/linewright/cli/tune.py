"""``linewright tune``: choose shaper and acceleration for a machine that rings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output, target

if TYPE_CHECKING:
    from linewright.calibration.tuning import TuningResult

Picture = Annotated[
    str, typer.Argument(metavar="FILE", help="A typical picture or saved program of yours.", show_default=False)
]
Wobble = Annotated[
    float, typer.Option("--wobble", metavar="MM", help="Goal: largest deviation of the lines from the plan.")
]
OnlyShow = Annotated[bool, typer.Option("--only-show", help="Show what was found; the rig file stays as it is.")]


def tune(
    picture: Picture,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    wobble: Wobble = 0.1,
    only_show: OnlyShow = False,
    as_json: options.AsJson = False,
) -> None:
    """Choose how to move a machine that rings, by what it would make of a drawing of yours.

    Tries shapers and accelerations on a model that rings as your ringing sheet has shown, takes the quickest that
    stays within the wobble, and writes it into the rig file. The old file is kept.
    """
    from linewright.cli.terminal import Terminal
    from linewright.planning.pipeline import Placement
    from linewright.tasks import tuning
    from linewright.tasks.planning import PlanTask

    tuning.check_wobble(wobble)
    aimed = target.of_rig(rig_file, said=not as_json)
    job = options.job(PlanTask(picture, aimed.rig, Placement(sheet=sheet)), as_json=as_json)
    with Terminal(as_json=as_json) as front:
        choice, kept = tuning.tune(job, aimed, front, wobble_mm=wobble, only_show=only_show)
    if as_json:
        output.emit_json({**choice.describe(), "kept": None if kept is None else str(kept)})
        return
    _tell(choice, wobble, aimed.rig_file, kept)


def _tell(choice: TuningResult, wobble: float, rig_file: Path | None, kept: Path | None) -> None:
    from linewright.cli.tables import tuning as tuning_report

    output.console().print(tuning_report.candidates_table(choice))
    output.prose(tuning_report.verdict(choice, wobble))
    if kept is not None:
        output.say(f"{rig_file} is changed; the previous version is {kept}")
    elif choice.best.changes and rig_file is None:
        output.say("nothing was written: name your rig file with --rig")
