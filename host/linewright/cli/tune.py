"""``linewright tune``: shaper and acceleration for a machine that rings, by what they do to a drawing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output, target

if TYPE_CHECKING:
    from linewright.calibration.tuning import TuningResult

Picture = Annotated[
    str, typer.Argument(metavar="FILE", help="A picture or a kept program: what you draw.", show_default=False)
]
Wobble = Annotated[
    float, typer.Option("--wobble", metavar="MM", help="The goal: how far lines may swing beside where they belong.")
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
    from linewright import tidy
    from linewright.calibration.tuning import tune as run
    from linewright.cli.progress import ProgressBar
    from linewright.errors import InputError
    from linewright.planning import pipeline
    from linewright.rig.edit import edit_rig

    if not 0.005 <= wobble <= 5.0:
        raise InputError(f"--wobble {wobble:g} mm is outside 0.005..5 mm", hint="half a line's width is 0.25 mm")
    aimed = target.of_rig(rig_file, said=not as_json)
    rig, rig_file = aimed.rig, aimed.rig_file
    job = options.job(picture, rig, pipeline.Placement(sheet=sheet), pipeline.Lines(), tidy.Tidiness(), as_json=as_json)
    with ProgressBar(shown=not as_json) as bar:
        choice = run(job.program.drawing, rig, wobble, bar.share)
    kept = None
    if rig_file is not None and not only_show and choice.best.changes:
        kept = edit_rig(rig_file, choice.best.changes).kept
    if as_json:
        output.emit_json({**choice.describe(), "kept": None if kept is None else str(kept)})
        return
    _tell(choice, wobble, rig_file, kept)


def _tell(choice: TuningResult, wobble: float, rig_file: Path | None, kept: Path | None) -> None:
    from linewright.cli.tables import tuning as tuning_report

    output.console().print(tuning_report.candidates_table(choice))
    output.say(tuning_report.verdict(choice, wobble))
    if kept is not None:
        output.say(f"{rig_file} is changed; as it was, it is {kept}")
    elif choice.best.changes and rig_file is None:
        output.say("nothing was written: name your rig file with --rig")
