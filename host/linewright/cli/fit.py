"""``linewright fit``: what was measured on a trial sheet becomes corrections in the rig file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output

if TYPE_CHECKING:
    from linewright.rig import Rig
    from linewright.sheet import Sheet
    from linewright.trial.finding import Finding
    from linewright.trial.form import Form

What = Annotated[
    str,
    typer.Argument(metavar="FORM|NAME", help="A form that was filled in, or a trial sheet's name.", show_default=False),
]
Values = Annotated[
    list[str] | None,
    typer.Argument(metavar="[NAME=VALUE...]", help="Measurements; asked for one by one where none are given."),
]
Reading = Annotated[
    float, typer.Option("--reading", metavar="MM", help="To what the ruler was read: the finer, the surer the figures.")
]
OnlyShow = Annotated[bool, typer.Option("--only-show", help="Show what was found; the rig file stays as it is.")]


def fit(
    what: What,
    values: Values = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    reading: Reading = 0.1,
    only_show: OnlyShow = False,
    as_json: options.AsJson = False,
) -> None:
    """Find out from measurements what is untrue about the machine, and write it into the rig file.

    The old rig file is kept beside the new one. Nothing is written if a measurement cannot be right.
    """
    from linewright.errors import InputError
    from linewright.sheet import Sheet
    from linewright.trial import catalogue

    if not 0.005 <= reading <= 2.0:
        raise InputError(f"--reading {reading:g} mm is outside 0.005..2 mm", hint="a ruler is read to 0.1 to 0.5 mm")
    rig = options.load_rig(rig_file)
    form = _form(what, values or [], rig, Sheet.on(rig, sheet) if sheet else None)
    finding = catalogue.kind(form.trial.name).fit(form.trial, form.rig, form.sheet, form.answers, reading)
    kept = _write(finding, rig_file) if rig_file and not only_show and finding.changes else None
    if as_json:
        output.emit_json({**finding.describe(), "kept": None if kept is None else str(kept)})
        return
    _tell(finding, rig_file, kept, only_show=only_show)


def _form(what: str, values: list[str], rig: Rig, sheet: Sheet | None) -> Form:
    from linewright.errors import InputError
    from linewright.sheet import Sheet
    from linewright.trial import catalogue, form

    if what not in catalogue.KINDS:
        if values:
            raise InputError(
                "values are given and a form, too", hint="write them into the form, or name the trial sheet"
            )
        return form.read(Path(what), rig, sheet)
    lies = sheet or Sheet.on(rig)
    trial = catalogue.design(what, rig, lies)
    raw: dict[str, str] = {}
    for value in values:
        name, equals, text = value.partition("=")
        if not equals:
            raise InputError(f"{value!r} is no measurement", hint="write NAME=VALUE, such as 1-3=180.2")
        if name in raw:
            raise InputError(f"{name} is given twice", hint="keep one of the two")
        raw[name] = text
    if not values:
        if not sys.stdin.isatty():
            raise InputError("there are no measurements", hint="give a form, or NAME=VALUE for each measurement")
        for line in trial.how:
            output.say(f"- {line}", stderr=True)
        for entry in trial.entries:
            asked = f"{entry.name}: {entry.ask}" + ("" if entry.needed else " (Enter leaves it out)")
            while True:
                raw[entry.name] = typer.prompt(asked, default="", show_default=False, err=True)
                try:
                    if raw[entry.name] or entry.needed:
                        form.number(entry, raw[entry.name])
                    break
                except InputError as error:
                    output.say(f"  {error}; {error.hint}", stderr=True)
    return form.checked(trial, rig, lies, raw, where=what)


def _write(finding: Finding, rig_file: Path) -> Path | None:
    from linewright.rig_edit import edit_rig

    section = (
        "What measuring has found untrue about the machine; all of it is taken into account before anything moves."
    )
    return edit_rig(rig_file, finding.changes, {"corrections": section}).kept


def _tell(finding: Finding, rig_file: Path | None, kept: Path | None, *, only_show: bool) -> None:
    from linewright.views import finding_report

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
        output.say(f"\n{rig_file} is changed; as it was, it is {kept}")
        output.say(f"Draw the sheet once more to see what is left: linewright trial {finding.trial} --rig {rig_file}")
    elif only_show:
        output.say("\nnothing was written (--only-show)")
    elif rig_file is None:
        output.say("\nnothing was written: name your rig file with --rig")
    else:
        output.say(f"\n{rig_file} says all this already")
