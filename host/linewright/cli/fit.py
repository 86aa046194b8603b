"""``linewright fit``: corrections in the rig file from the measurements of a trial sheet."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import next_steps, options, output, target

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Entry, Trial
    from linewright.calibration.trial.finding import Finding
    from linewright.cli.target import Target

What = Annotated[
    str | None,
    typer.Argument(metavar="FORM|NAME", help="A form that was filled in, or a trial sheet's name.", show_default=False),
]
Undo = Annotated[bool, typer.Option("--undo", help="Undo the newest fit of this rig, and exit.")]
Values = Annotated[
    list[str] | None,
    typer.Argument(metavar="NAME=VALUE", help="Measurements; asked for one by one if none are given."),
]
Reading = Annotated[
    float,
    typer.Option("--reading", metavar="MM", help="Resolution of the ruler; a finer one gives smaller uncertainties."),
]
Photo = Annotated[
    Path | None,
    typer.Option(
        "--photo", metavar="PICTURE", help="A photograph of the sheet 'photo', all four edges in it.", readable=False
    ),
]
Paper = Annotated[
    str | None,
    typer.Option("--paper", metavar="WIDTHxHEIGHT", help="With a photograph: the measured size of the paper in mm."),
]
MapFile = Annotated[
    Path | None,
    typer.Option(
        "--map",
        metavar="FILE",
        help="With a photograph: write a picture of the remaining error at each cross, .svg or .png.",
    ),
]
OnlyShow = Annotated[bool, typer.Option("--only-show", help="Show what was found; the rig file stays as it is.")]


def fit(
    what: What = None,
    values: Values = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    photo: Photo = None,
    paper: Paper = None,
    map_file: MapFile = None,
    reading: Reading = 0.1,
    only_show: OnlyShow = False,
    undo: Undo = False,
    as_json: options.AsJson = False,
) -> None:
    """Find out from measurements what is untrue about the machine, and write it into the rig file.

    The old rig file is kept beside the new one. Nothing is written if a measurement cannot be right.
    """
    from linewright.cli.terminal import Terminal
    from linewright.errors import InputError
    from linewright.tasks import fitting

    aimed = target.of_rig(rig_file, said=not as_json)
    if undo:
        if what is not None or values or photo is not None:
            raise InputError("--undo takes nothing to fit", hint="give --undo alone")
        _undo(aimed, as_json=as_json)
        return
    if what is None:
        raise InputError(
            "nothing to fit was named",
            hint="name a filled-in form, or a trial sheet; `linewright trial` lists the sheets",
        )
    answers = _answers(values or [])
    task = fitting.FitTask(what, aimed, answers, sheet, photo, paper, map_file, reading, only_show)
    with Terminal(as_json=as_json) as front:
        fitted = fitting.fit(task, front, _asked if sys.stdin.isatty() else None)
    if as_json:
        output.emit_json({**fitted.finding.describe(), "kept": None if fitted.kept is None else str(fitted.kept)})
        return
    _tell(fitted.finding, aimed.rig_file, fitted.kept, only_show=only_show)
    if map_file is not None:
        output.say(f"{map_file}: the remaining error at each cross")


def _undo(aimed: Target, *, as_json: bool) -> None:
    from linewright.tasks import fitting

    undone = fitting.undo(aimed)
    if as_json:
        output.emit_json({"trial": undone.entry.trial, "changes": dict(undone.entry.before), "of": undone.entry.when})
        return
    output.say(
        f"the fit of '{undone.entry.trial}' of {undone.entry.when} is undone; {aimed.rig_file} has these values again:"
    )
    for key, value in undone.entry.before.items():
        output.say(f"  {key}: {'nothing' if value is None else value}")


def _answers(values: list[str]) -> dict[str, str]:
    """Measurements as typed."""
    from linewright.errors import InputError

    raw: dict[str, str] = {}
    for value in values:
        name, equals, text = value.partition("=")
        if not equals:
            raise InputError(f"{value!r} is not a measurement", hint="write NAME=VALUE, such as 1-3=180.2")
        if name in raw:
            raise InputError(f"{name} is given twice", hint="keep one of the two")
        raw[name] = text
    return raw


def _asked(trial: Trial) -> dict[str, str]:
    """All measurements of a sheet, asked for one by one.

    Raises
    ------
    output.Stopped : the user stops.
    """
    for line in trial.how:
        output.prose(f"- {line}", stderr=True)
    output.prose("type back for the previous question, or stop to leave without changes", stderr=True)
    answers: list[str] = []
    while len(answers) < len(trial.entries):
        typed = _typed(trial.entries[len(answers)])
        if typed == "stop":
            output.say("nothing was written", stderr=True)
            raise output.Stopped
        if typed == "back":
            answers = answers[:-1]
        else:
            answers.append(typed)
    return {entry.name: text for entry, text in zip(trial.entries, answers, strict=True)}


def _typed(entry: Entry) -> str:
    """One figure, asked for until it is plausible; or ``back`` or ``stop``."""
    from linewright.errors import InputError
    from linewright.tasks import fitting

    drawn = "" if entry.expected is None else f" [drawn: {entry.expected:g} {entry.unit}]"
    asked = f"{entry.name}: {entry.ask}{drawn}" + ("" if entry.needed else " (Enter skips it)")
    while True:
        text = str(typer.prompt(asked, default="", show_default=False, err=True)).strip()
        if text.lower() in ("back", "stop"):
            return text.lower()
        if not text and not entry.needed:
            return text
        if not text:
            output.say(f"  a measured value in {entry.unit} is needed here", stderr=True)
            continue
        try:
            fitting.refuse_absurd(entry, text)
        except InputError as error:
            output.prose(f"  {error}; {error.hint}", stderr=True)
        else:
            return text


def _tell(finding: Finding, rig_file: Path | None, kept: Path | None, *, only_show: bool) -> None:
    from linewright.cli.tables import finding as finding_report

    console = output.console()
    console.print(finding_report.figures_table(finding))
    if finding.residuals:
        console.print()
        console.print(finding_report.residuals_table(finding))
    for note in finding.notes:
        output.warn(note)
    if not finding.changes:
        return
    if kept is not None:
        output.prose(f"\n{rig_file} is changed; the previous version is {kept}. `linewright fit --undo` restores it.")
        again = next_steps.command("trial", finding.trial)
        output.prose(f"To check the remaining error, make a new sheet and draw it: `{again}`")
    elif only_show:
        output.say("\nnothing was written (--only-show)")
    elif rig_file is None:
        output.say("\nnothing was written: name your rig file with --rig")
    else:
        output.say(f"\n{rig_file} has these values already")
