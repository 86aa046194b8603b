"""``linewright fit``: what was measured on a trial sheet becomes corrections in the rig file."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import next_steps, options, output, target

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Entry
    from linewright.calibration.trial.finding import Finding
    from linewright.calibration.trial.form import Form
    from linewright.cli.target import Target
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

PAPER_OFF_MM = 6.0
"""Three times what ISO 216 allows: a measured size that is farther off is another sheet."""

What = Annotated[
    str | None,
    typer.Argument(metavar="FORM|NAME", help="A form that was filled in, or a trial sheet's name.", show_default=False),
]
Undo = Annotated[bool, typer.Option("--undo", help="Take the newest fit of this rig back, and leave.")]
Values = Annotated[
    list[str] | None,
    typer.Argument(metavar="NAME=VALUE", help="Measurements; asked for one by one where none are given."),
]
Reading = Annotated[
    float, typer.Option("--reading", metavar="MM", help="To what the ruler was read: the finer, the surer the figures.")
]
Photo = Annotated[
    Path | None,
    typer.Option(
        "--photo", metavar="PICTURE", help="A photograph of the sheet 'photo', all four edges in it.", readable=False
    ),
]
Paper = Annotated[
    str | None,
    typer.Option(
        "--paper", metavar="WIDTHxHEIGHT", help="Of a photograph: the paper's size as you measured it, in mm."
    ),
]
MapFile = Annotated[
    Path | None,
    typer.Option(
        "--map", metavar="FILE", help="Of a photograph: a picture of what is left at each cross, .svg or .png."
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
    from linewright.calibration.trial import catalogue, history
    from linewright.errors import InputError
    from linewright.rig.sheet_place import sheet_on

    if not 0.005 <= reading <= 2.0:
        raise InputError(f"--reading {reading:g} mm is outside 0.005..2 mm", hint="a ruler is read to 0.1 to 0.5 mm")
    aimed = target.of_rig(rig_file, said=not as_json)
    rig, rig_file = aimed.rig, aimed.rig_file
    if undo:
        if what is not None or values or photo is not None:
            raise InputError("--undo takes nothing to fit", hint="leave the rest out")
        _undo(aimed, as_json=as_json)
        return
    if what is None:
        raise InputError(
            "nothing to fit was named", hint="name a form that was filled in, or a sheet: `linewright trial` lists them"
        )
    lies = sheet_on(rig, sheet) if sheet else None
    if photo is not None:
        seen = _photographed(what, photo, paper, map_file, aimed, lies)
    elif paper is not None or map_file is not None:
        option = "--paper" if paper is not None else "--map"
        raise InputError(f"{option} goes with --photo", hint="leave it out, or name the picture with --photo")
    else:
        form = _form(what, values or [], aimed, lies)
        finding = catalogue.kind(form.trial.name).fit(form.trial, form.rig, form.sheet, form.answers, reading)
        seen = _Seen(finding, form.rig if form.knows_rig else None, form.number, history.digest_of(form.answers))
    finding = seen.finding
    kept = None
    if rig_file and not only_show:
        _mind_origin(seen, rig, rig_file)
        if finding.changes:
            section = (
                "What measuring has found untrue about the machine; all of it is taken into account before anything "
                "moves."
            )
            written = history.write(finding.trial, seen.number, seen.source, rig_file, finding.changes, section)
            kept = written.kept
    if as_json:
        output.emit_json({**finding.describe(), "kept": None if kept is None else str(kept)})
        return
    _tell(finding, rig_file, kept, only_show=only_show)
    if map_file is not None:
        output.say(f"{map_file}: what is left at each cross")


@dataclass(frozen=True)
class _Seen:
    """What a sheet shows.

    Parameters
    ----------
    drawn_with : the rig that it was drawn with; None: nobody knows.
    number : of the sheet; "": nobody knows.
    source : digest of what was measured.
    """

    finding: Finding
    drawn_with: Rig | None
    number: str
    source: str


def _undo(aimed: Target, *, as_json: bool) -> None:
    from linewright.calibration.trial import history
    from linewright.errors import InputError

    if aimed.rig_file is None:
        raise InputError("the default rig has no file, so nothing was fitted into it", hint="name yours with --rig")
    undone = history.undo(aimed.rig_file)
    if as_json:
        output.emit_json({"trial": undone.entry.trial, "changes": dict(undone.entry.before), "of": undone.entry.when})
        return
    output.say(f"the fit of '{undone.entry.trial}' of {undone.entry.when} is taken back; {aimed.rig_file} says again:")
    for key, value in undone.entry.before.items():
        output.say(f"  {key}: {'nothing' if value is None else value}")


def _photographed(
    what: str, photo: Path, paper: str | None, map_file: Path | None, aimed: Target, sheet: Sheet | None
) -> _Seen:
    """What the photograph shows."""
    from dataclasses import replace

    from linewright.calibration.trial import form, history, photo_fit, picture
    from linewright.errors import InputError
    from linewright.pictures import album
    from linewright.pictures.residual_map import residual_map
    from linewright.rig.sheet_place import sheet_on
    from linewright.sheet.sizes import Sheet

    write = None if map_file is None else album.writer(map_file)
    rig = aimed.rig
    lies = sheet or sheet_on(rig)
    drawn_with, number = None, ""
    path = _newest_form(aimed, "photo") if what == "photo" and sheet is None else Path(what)
    if path is not None and str(path) != "photo":
        drawn = form.read(path, rig, sheet, measured=False)
        if drawn.trial.name != "photo":
            raise InputError(
                f"the sheet '{drawn.trial.name}' is not made to be photographed",
                hint="draw the one that `linewright trial photo` makes",
            )
        rig, lies = drawn.rig, drawn.sheet
        drawn_with = drawn.rig if drawn.knows_rig else None
        number = drawn.number
    size = None
    if paper is not None:
        measured = Sheet.named(paper, margin_mm=0.0)
        size = (measured.width_mm, measured.height_mm)
        if max(abs(size[0] - lies.width_mm), abs(size[1] - lies.height_mm)) > PAPER_OFF_MM:
            raise InputError(
                f"--paper {paper} is not the size of the {lies.name} sheet, {lies.width_mm:g} x {lies.height_mm:g} mm",
                hint="give width and height as the sheet lies, in mm, or name the sheet with --sheet",
            )
    sighting = picture.sight(picture.read(photo), lies, str(photo))
    finding, left = photo_fit.fit(sighting, rig, lies, size)
    if map_file is not None and write is not None:
        output.write_file(write(residual_map(lies, left.sheet_mm, left.off_mm)), map_file, over=True)
    finding = replace(finding, residuals=photo_fit.worst(left))
    return _Seen(finding, drawn_with, number, history.digest(photo.read_bytes()))


def _newest_form(aimed: Target, name: str) -> Path | None:
    """The form of the newest sheet of a name for this machine, which knows what that sheet was drawn with."""
    from linewright.calibration.trial import history

    found = None if aimed.rig_file is None else history.newest_form(name, aimed.rig_file)
    if found is not None:
        output.warn(f"this is taken to be the newest '{name}' sheet that was made for this rig; its form is {found}")
    return found


def _form(what: str, values: list[str], aimed: Target, sheet: Sheet | None) -> Form:
    from dataclasses import replace

    from linewright.calibration.trial import catalogue, form
    from linewright.errors import InputError
    from linewright.rig.sheet_place import sheet_on

    if what not in catalogue.KINDS:
        if values:
            raise InputError(
                "values are given and a form, too", hint="write them into the form, or name the trial sheet"
            )
        return form.read(Path(what), aimed.rig, sheet)
    rig, lies, number, knows_rig = aimed.rig, sheet or sheet_on(aimed.rig), "", False
    trial = catalogue.design(what, rig, lies)
    newest = _newest_form(aimed, what) if sheet is None else None
    if newest is not None:
        drawn = form.read(newest, rig, measured=False)
        if drawn.trial.name == what:
            trial, rig, lies, number, knows_rig = drawn.trial, drawn.rig, drawn.sheet, drawn.number, drawn.knows_rig
    raw: dict[str, str] = {}
    for value in values:
        name, equals, text = value.partition("=")
        if not equals:
            raise InputError(f"{value!r} is no measurement", hint="write NAME=VALUE, such as 1-3=180.2")
        if name in raw:
            raise InputError(f"{name} is given twice", hint="keep one of the two")
        raw[name] = text
    if not values and trial.entries:
        if not sys.stdin.isatty():
            raise InputError("there are no measurements", hint="give a form, or NAME=VALUE for each measurement")
        for line in trial.how:
            output.say(f"- {line}", stderr=True)
        for entry in trial.entries:
            raw[entry.name] = _typed(entry)
    return replace(form.checked(trial, rig, lies, raw, where=what), knows_rig=knows_rig, number=number)


def _typed(entry: Entry) -> str:
    """One figure, asked for until it can have been measured; the others are kept meanwhile."""
    from linewright.calibration.trial import form
    from linewright.errors import InputError

    drawn = "" if entry.expected is None else f" [drawn: {entry.expected:g} {entry.unit}]"
    asked = f"{entry.name}: {entry.ask}{drawn}" + ("" if entry.needed else " (Enter leaves it out)")
    while True:
        text = str(typer.prompt(asked, default="", show_default=False, err=True))
        if not text and not entry.needed:
            return text
        try:
            form.refuse_absurd(entry, form.number(entry, text), "")
        except InputError as error:
            output.say(f"  {error}; {error.hint}", stderr=True)
        else:
            return text


def _mind_origin(seen: _Seen, rig: Rig, rig_file: Path) -> None:
    """Refuse to correct a rig file by a sheet that was not drawn with it: what it corrects already would be lost or
    counted twice.
    """
    from linewright.calibration.trial import history, origin
    from linewright.errors import InputError

    finding, drawn_with = seen.finding, seen.drawn_with
    if finding.changes:
        history.refuse_twice(finding.trial, seen.number, seen.source, rig_file)
    held = origin.already(rig, finding.changes)
    if held is None:
        return  # the file says all this already
    if drawn_with is not None:
        if unlike := origin.differences(drawn_with, rig, finding.changes):
            raise InputError(
                f"this sheet was made for the rig '{drawn_with.name}', and {rig_file} differs from it in "
                + "; ".join(unlike),
                hint=f"draw the sheet again: {next_steps.command('trial', finding.trial)}",
            )
        return
    words = f"what was measured is taken to be of a sheet that was drawn with {rig_file} as it is now"
    if not held:
        output.warn(f"{words}, with no correction in it yet")
        return
    words += f", with {', '.join(held)}"
    if not sys.stdin.isatty():
        raise InputError(
            f"nobody has said that this sheet was drawn with {rig_file} as it is now, with {', '.join(held)}; "
            "of an older sheet, the same error would be corrected twice",
            hint="give the form that `linewright trial` wrote, which knows; or run this in a terminal, where it asks",
        )
    output.warn(words)
    typer.confirm("Was it drawn so?", abort=True, err=True)


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
        output.say(f"\n{rig_file} is changed; as it was, it is {kept}. `linewright fit --undo` takes it back.")
        output.say(f"Draw the sheet once more to see what is left: {next_steps.command('trial', finding.trial)}")
    elif only_show:
        output.say("\nnothing was written (--only-show)")
    elif rig_file is None:
        output.say("\nnothing was written: name your rig file with --rig")
    else:
        output.say(f"\n{rig_file} says all this already")
