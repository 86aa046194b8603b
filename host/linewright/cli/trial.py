"""``linewright trial``: sheets that the machine draws to be measured."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import next_steps, options, output, target

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Trial
    from linewright.calibration.trial.kit import Kit

Name = Annotated[
    str | None, typer.Argument(metavar="NAME", help="The trial sheet; without a name, all sheets are listed.")
]
Folder = Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Folder for program, picture and form.")]
AxisName = Annotated[str | None, typer.Option("--axis", metavar="x|y", help="For a ladder: the axis; default x.")]
Top = Annotated[
    float | None,
    typer.Option(
        "--top", metavar="VALUE", help="For a ladder: value of the last rung; default: twice the present limit."
    ),
]
Press = Annotated[
    float | None,
    typer.Option("--press", metavar="US", help="For heights: servo pulse beyond the first touch; default 30."),
]

Reach = Annotated[
    float | None,
    typer.Option(
        "--reach", metavar="MM", help="For straightness: largest deviation of a rail that can be read; default 0.5."
    ),
]


def trial(
    name: Name = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    folder: Folder = Path("trial"),
    axis: AxisName = None,
    top: Top = None,
    press: Press = None,
    reach: Reach = None,
    as_json: options.AsJson = False,
) -> None:
    """Make a sheet to be drawn and measured: what is crooked shows on it.

    Writes the program to draw, its picture, and a form to fill in. `linewright fit` reads the form.
    """
    from linewright.tasks import trials

    if name is None:
        _list(as_json=as_json)
        return
    aimed = target.of_rig(rig_file, said=not as_json)
    made, files = trials.make(trials.TrialTask(name, aimed, folder, sheet, axis, top, press, reach))
    with_own_rig = ("--rig", files.rig) if files.rig is not None else ()
    command = next_steps.command("draw", files.program, *with_own_rig)
    if as_json:
        output.emit_json(_described(made, files, command))
        return
    _tell(made, files, command, aimed.rig_file)


def _list(*, as_json: bool) -> None:
    from linewright.tasks import trials

    if as_json:
        output.emit_json({"trials": trials.names()})
        return
    output.say("Trial sheets, in the recommended order:")
    for name, about in trials.names().items():
        output.say(f"  {name:<14} {about}")
    output.say("`linewright trial NAME` makes one of them.")


def _described(made: Trial, files: Kit, command: str) -> dict[str, object]:
    return {
        "trial": made.name,
        "title": made.title,
        "program": str(files.program),
        "picture": str(files.picture),
        "form": str(files.form),
        "table": str(files.table),
        "paper": str(files.paper),
        "rig": None if files.rig is None else str(files.rig),
        "draw": command,
        "how": list(made.how),
        "predicted_s": files.predicted_s,
        "measurements": [
            {
                "name": entry.name,
                "measure": entry.ask,
                "unit": entry.unit,
                "as_drawn": entry.expected,
                "needed": entry.needed,
            }
            for entry in made.entries
        ],
    }


def _tell(made: Trial, files: Kit, command: str, rig_file: Path | None) -> None:
    from linewright import wording

    output.say(f"{made.title}: {wording.duration(files.predicted_s)} of drawing. Its picture is {files.picture}.")
    output.say("")
    output.say(f"1. Draw it:    {command}")
    output.say("2. Measure it:")
    for line in made.how:
        output.prose(f"   - {line}")
    if made.entries:
        output.say(f"3. Write the measurements into {files.table}, or on {files.paper}.")
        output.say(f"4. Fit them:   {next_steps.command('fit', files.table)}")
    else:  # measured by photograph
        photo = next_steps.command("fit", files.form, "--photo", "PICTURE", "--paper", "WIDTHxHEIGHT")
        output.say(f"3. Fit it:     {photo}")
    if rig_file is None:
        output.warn(
            "this sheet is for the default rig, and the fit has no file to write to; for a machine of your own, make "
            f"it with its rig file: linewright trial {made.name} --rig YOUR-RIG.toml"
        )
