"""Task: fit a trial sheet, and write the corrections to the rig file, once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError
from linewright.files import read_bounded
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Entry, Trial
    from linewright.calibration.trial.finding import Finding
    from linewright.calibration.trial.form import Form
    from linewright.calibration.trial.history import Undone
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target

PAPER_OFF_MM: Final = 6.0
"""Three times the tolerance of ISO 216: a measured size that differs by more belongs to another sheet."""

_SECTION: Final = "Measured errors of the machine; all are compensated in the plan."


@dataclass(frozen=True)
class FitTask:
    """Measurements, and the machine they belong to.

    Parameters
    ----------
    what : a filled-in form, or the name of a sheet.
    target : the machine whose rig file is corrected.
    answers : measurements by name, as typed, if there is no form.
    sheet : paper; None: as in the form, or the rig's own.
    photo : a photograph of the sheet ``photo``.
    paper : for a photograph: measured size of the paper, ``WIDTHxHEIGHT`` in mm.
    map_file : for a photograph: picture of the residuals at each cross.
    reading_mm : resolution of the ruler.
    only_show : write nothing.
    """

    what: str
    target: Target
    answers: Mapping[str, str] = field(default_factory=dict)
    sheet: str | None = None
    photo: Path | None = None
    paper: str | None = None
    map_file: Path | None = None
    reading_mm: float = 0.1
    only_show: bool = False

    def check(self) -> None:
        """Refuse values out of range and contradicting options.

        Raises
        ------
        InputError : a value is out of range, or options contradict each other.
        """
        if not 0.005 <= self.reading_mm <= 2.0:
            raise InputError(
                f"--reading {self.reading_mm:g} mm is outside 0.005..2 mm", hint="a ruler is read to 0.1 to 0.5 mm"
            )
        if self.photo is None and (self.paper is not None or self.map_file is not None):
            option = "--paper" if self.paper is not None else "--map"
            raise InputError(f"{option} goes with --photo", hint="leave it out, or name the picture with --photo")


@dataclass(frozen=True)
class Fitted:
    """Result of a fit.

    Parameters
    ----------
    kept : copy of the old rig file; None: nothing was written.
    """

    finding: Finding
    kept: Path | None


Ask = Callable[["Trial"], Mapping[str, str]]
"""Asks the user for every measurement of a sheet; `refuse_absurd` checks each figure."""


def fit(task: FitTask, front: Front, ask: Ask | None = None) -> Fitted:
    """Fit, and write the corrections to the rig file; the old file is kept beside the new one.

    Parameters
    ----------
    ask : asks for missing measurements; None: not possible.

    Raises
    ------
    InputError : a measurement is missing or impossible, the sheet was not drawn with this rig, or its
        measurements were applied already. Nothing is written then.
    Cancelled : the user says that the sheet was drawn with another rig.
    """
    from linewright.calibration.trial import catalogue, history
    from linewright.rig.sheet_place import sheet_on

    task.check()
    rig, rig_file = task.target.rig, task.target.rig_file
    lies = sheet_on(rig, task.sheet) if task.sheet else None
    if task.photo is not None:
        seen = _photographed(task, task.photo, lies, front)
    else:
        form = _form(task, lies, front, ask)
        finding = catalogue.kind(form.trial.name).fit(form.trial, form.rig, form.sheet, form.answers, task.reading_mm)
        seen = _Seen(finding, form.rig if form.knows_rig else None, form.number, history.digest_of(form.answers))
    finding = seen.finding
    if rig_file is None or task.only_show:
        return Fitted(finding, None)
    _check_origin(seen, rig, rig_file, front)
    if not finding.changes:
        return Fitted(finding, None)
    written = history.write(finding.trial, seen.number, seen.source, rig_file, finding.changes, _SECTION)
    return Fitted(finding, written.kept)


def undo(target: Target) -> Undone:
    """Undo the newest fit of a rig file.

    Raises
    ------
    InputError : the default rig has no file, there is no fit, or the values have been changed since.
    """
    from linewright.calibration.trial import history

    if target.rig_file is None:
        raise InputError("the default rig has no file to write the fit to", hint="name yours with --rig")
    return history.undo(target.rig_file)


def refuse_absurd(entry: Entry, text: str) -> None:
    """Refuse an impossible measurement.

    Raises
    ------
    InputError : the text is not a number, or far from the drawn length.
    """
    from linewright.calibration.trial import form

    form.refuse_absurd(entry, form.number(entry, text), "")


@dataclass(frozen=True)
class _Seen:
    """Result of evaluating a sheet.

    Parameters
    ----------
    drawn_with : the rig at the time of drawing; None: unknown.
    number : number of the sheet; "": unknown.
    source : digest of the measurements.
    """

    finding: Finding
    drawn_with: Rig | None
    number: str
    source: str


def _photographed(task: FitTask, photo: Path, sheet: Sheet | None, front: Front) -> _Seen:
    """Evaluate the photograph."""
    from linewright.calibration.trial import form, history, photo_fit, picture
    from linewright.pictures import album
    from linewright.pictures.residual_map import residual_map
    from linewright.rig.sheet_place import sheet_on
    from linewright.tasks.results import write_file

    write = None if task.map_file is None else album.writer(task.map_file)
    rig = task.target.rig
    lies = sheet or sheet_on(rig)
    drawn_with, number = None, ""
    newest = task.what == "photo" and sheet is None
    path = _newest_form(task.target, "photo", front) if newest else Path(task.what)
    if path is not None and str(path) != "photo":
        drawn = form.read(path, rig, sheet, measured=False)
        if drawn.trial.name != "photo":
            raise InputError(
                f"the sheet '{drawn.trial.name}' cannot be fitted from a photograph",
                hint="draw the sheet that `linewright trial photo` makes",
            )
        rig, lies = drawn.rig, drawn.sheet
        drawn_with = drawn.rig if drawn.knows_rig else None
        number = drawn.number
    size = None if task.paper is None else _paper_mm(task.paper, lies)
    sighting = picture.sight(picture.read(photo), lies, str(photo))
    finding, left = photo_fit.fit(sighting, rig, lies, size)
    if task.map_file is not None and write is not None:
        write_file(write(residual_map(lies, left.sheet_mm, left.off_mm)), task.map_file, over=True)
    finding = replace(finding, residuals=photo_fit.worst(left))
    return _Seen(finding, drawn_with, number, history.digest(read_bounded(photo, picture.MOST_BYTES)))


def _paper_mm(paper: str, lies: Sheet) -> tuple[float, float]:
    """Measured width and height of the paper."""
    from linewright.sheet.sizes import Sheet

    measured = Sheet.named(paper, margin_mm=0.0)
    size = (measured.width_mm, measured.height_mm)
    if max(abs(size[0] - lies.width_mm), abs(size[1] - lies.height_mm)) > PAPER_OFF_MM:
        raise InputError(
            f"--paper {paper} is not the size of the {lies.name} sheet, {lies.width_mm:g} x {lies.height_mm:g} mm",
            hint="give width and height as the sheet lies, in mm, or name the sheet with --sheet",
        )
    return size


def _newest_form(target: Target, name: str, front: Front) -> Path | None:
    """The form of the newest sheet of this name for the machine, which has the rig at the time of drawing."""
    from linewright.calibration.trial import history

    found = None if target.rig_file is None else history.newest_form(name, target.rig_file)
    if found is not None:
        front.note(f"assumed: this is the newest '{name}' sheet made for this rig; its form is {found}")
    return found


def _form(task: FitTask, sheet: Sheet | None, front: Front, ask: Ask | None) -> Form:
    """The filled-in form, or one made from given or typed measurements."""
    from linewright.calibration.trial import catalogue, form
    from linewright.rig.sheet_place import sheet_on

    target, what = task.target, task.what
    if what not in catalogue.KINDS:
        if task.answers:
            raise InputError(
                "both a form and values are given",
                hint="write the values into the form, or name the trial sheet instead",
            )
        return form.read(Path(what), target.rig, sheet)
    rig, lies, number, knows_rig = target.rig, sheet or sheet_on(target.rig), "", False
    trial = catalogue.design(what, rig, lies)
    newest = _newest_form(target, what, front) if sheet is None else None
    if newest is not None:
        drawn = form.read(newest, rig, measured=False)
        if drawn.trial.name == what:
            trial, rig, lies, number, knows_rig = drawn.trial, drawn.rig, drawn.sheet, drawn.number, drawn.knows_rig
    raw = dict(task.answers)
    if not raw and trial.entries:
        if ask is None:
            raise InputError("there are no measurements", hint="give a form, or NAME=VALUE for each measurement")
        raw = dict(ask(trial))
    return replace(form.checked(trial, rig, lies, raw, where=what), knows_rig=knows_rig, number=number)


def _check_origin(seen: _Seen, rig: Rig, rig_file: Path, front: Front) -> None:
    """Refuse a sheet that was not drawn with this rig file: its present corrections would be lost or counted twice."""
    from linewright.calibration.trial import history, origin

    finding, drawn_with = seen.finding, seen.drawn_with
    if finding.changes:
        history.refuse_twice(finding.trial, seen.number, seen.source, rig_file)
    held = origin.already(rig, finding.changes)
    if held is None:
        return  # the file has all corrections already
    if drawn_with is not None:
        if unlike := origin.differences(drawn_with, rig, finding.changes):
            raise InputError(
                f"this sheet was made for the rig '{drawn_with.name}', and {rig_file} differs from it in "
                + "; ".join(unlike),
                hint=f"draw the sheet again: `linewright trial {finding.trial}`",
            )
        return
    words = f"assumed: the measured sheet was drawn with {rig_file} as it is now"
    if not held:
        front.note(f"{words}, which has no correction yet")
        return
    answer = front.confirm("Is this so?", f"{words}, which has {', '.join(held)}")
    if answer is None:
        raise InputError(
            f"it is not confirmed that this sheet was drawn with {rig_file} as it is now, which has {', '.join(held)}; "
            "with an older sheet, the same error would be corrected twice",
            hint="give the form that `linewright trial` wrote, which records the rig; or run this in a terminal and "
            "confirm",
        )
    if not answer:
        raise Cancelled(f"{rig_file} stays unchanged")
