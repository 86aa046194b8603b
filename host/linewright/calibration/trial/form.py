"""The form of a trial sheet: written empty, read filled in, and validated.

It has three formats: JSON, which includes the rig at the time of drawing; CSV, for spreadsheet programs; Markdown, for
printing.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from linewright.calibration.trial import catalogue
from linewright.calibration.trial.design import Entry, Trial
from linewright.errors import InputError, LinewrightError
from linewright.files import opened
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.sheet.sizes import Sheet
from linewright.units import MM_PER_INCH

FILE_LIMIT_BYTES: Final = 1_048_576
NEAR: Final = 0.12
"""Relative tolerance for recognising a length in a wrong unit or a wrong line: more than any accepted scale and
squareness error."""

_NUMBER: Final = re.compile(r"\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm|cm|m|in|inch|inches|\"|'')?\s*")


@dataclass(frozen=True, eq=False)
class Form:
    """A trial sheet as drawn, and its measurements.

    Parameters
    ----------
    trial, rig, sheet : as drawn.
    answers : values by name of entry; empty entries are missing.
    knows_rig : the rig is the one stored when the sheet was made, not one named later.
    number : unique number of the sheet; "" if unknown.
    """

    trial: Trial
    rig: Rig
    sheet: Sheet
    answers: Mapping[str, float]
    knows_rig: bool = False
    number: str = ""


def to_json(trial: Trial, rig: Rig, sheet: Sheet, number: str) -> str:
    """The empty form with everything needed for a fit; ``number`` identifies the sheet."""
    about = {
        "trial": trial.name,
        "number": number,
        "title": trial.title,
        "options": dict(trial.options),
        "sheet": [sheet.width_mm, sheet.height_mm, sheet.margin_mm, sheet.name],
        "how": list(trial.how),
        "measurements": {entry.name: None for entry in trial.entries},
        "about": {entry.name: _words(entry) for entry in trial.entries},
        "rig": rig.model_dump(mode="json", exclude_unset=True),
    }
    return json.dumps(about, indent=1, ensure_ascii=False) + "\n"


def to_csv(trial: Trial) -> str:
    """CSV table with an empty column for the measurements."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["trial", "name", "measure", "unit", "as drawn", "measured"])
    for entry in trial.entries:
        expected = "" if entry.expected is None else f"{entry.expected:g}"
        table.writerow([trial.name, entry.name, entry.ask, entry.unit, expected, ""])
    return out.getvalue()


def to_markdown(trial: Trial) -> str:
    """Instructions, and a table to fill in by hand."""
    lines = [f"# {trial.title}", "", *(f"{i}. {line}" for i, line in enumerate(trial.how, start=1)), ""]
    lines += ["| name | measure | as drawn | measured |", "|---|---|---|---|"]
    for entry in trial.entries:
        expected = "" if entry.expected is None else f"{entry.expected:g} {entry.unit}"
        blank = "" if entry.needed else "(may be left out)"
        lines.append(f"| {entry.name} | {entry.ask} | {expected} | {blank} |")
    return "\n".join(lines) + "\n"


def _words(entry: Entry) -> str:
    expected = "" if entry.expected is None else f"; as drawn: {entry.expected:g}"
    return f"{entry.ask} ({entry.unit}{expected})" + ("" if entry.needed else "; may be left out")


def read(path: Path, rig: Rig, sheet: Sheet | None = None, *, measured: bool = True) -> Form:
    """Read a filled-in form, JSON or CSV.

    Parameters
    ----------
    path : for a CSV, the rig comes from the JSON of the same name beside it, if there is one.
    rig, sheet : used if the form does not contain its own.
    measured : False: ignore the measurements.

    Raises
    ------
    InputError
        The file is no form, or has impossible values.
    """
    try:
        with opened(path) as stream:
            data = stream.read(FILE_LIMIT_BYTES + 1)
        text = data.decode("utf-8-sig")
    except OSError as error:
        hint = "give the form that `linewright trial` wrote, or the name of a trial sheet"
        raise InputError(f"cannot read {path}: {error.strerror or error}", hint=hint) from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is not a text file, so it cannot be a form", hint=_FORM_HINT) from error
    if len(data) > FILE_LIMIT_BYTES:
        raise InputError(f"{path} is larger than {FILE_LIMIT_BYTES} bytes, the limit for a form", hint=_FORM_HINT)
    if text.lstrip().startswith("{"):
        return _from_json(text, path, partly=not measured)
    name, raw = _from_csv(text, path)
    beside = path.with_suffix(".json")
    if beside != path and beside.exists():
        known = _from_json(beside.read_text(encoding="utf-8"), beside, partly=True)
        if known.trial.name == name:
            answered = checked(known.trial, known.rig, known.sheet, raw, where=str(path))
            return replace(answered, knows_rig=True, number=known.number)
    lies = sheet or sheet_on(rig)
    return checked(catalogue.design(name, rig, lies), rig, lies, raw, where=str(path))


_FORM_HINT: Final = "fill in the .json or .csv file that `linewright trial` wrote"


def _from_json(text: str, path: Path, *, partly: bool = False) -> Form:
    try:
        said: Any = json.loads(text)
        name, measured = said["trial"], said["measurements"]
        width, height, margin, called = said["sheet"]
        sheet = Sheet(float(width), float(height), float(margin), str(called))
        rig = Rig.default().model_validate(said["rig"])
        trial = catalogue.design(str(name), rig, sheet, said.get("options"))
        sheet_number = str(said.get("number", ""))
        raw = {str(key): "" if value is None else str(value) for key, value in measured.items()}
    except LinewrightError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(
            f"{path} is not a form, or is damaged ({type(error).__name__}: {error})", hint=_FORM_HINT
        ) from error
    if partly:
        return Form(trial, rig, sheet, {}, knows_rig=True, number=sheet_number)
    return replace(checked(trial, rig, sheet, raw, where=str(path)), knows_rig=True, number=sheet_number)


def _from_csv(text: str, path: Path) -> tuple[str, dict[str, str]]:
    dialect = ";" if text.partition("\n")[0].count(";") > text.partition("\n")[0].count(",") else ","
    rows = list(csv.DictReader(io.StringIO(text), delimiter=dialect))
    if not rows or not {"trial", "name", "measured"} <= set(rows[0]):
        raise InputError(f"{path} is not a form: it lacks the columns 'trial', 'name' and 'measured'", hint=_FORM_HINT)
    names = {(row["trial"] or "").strip() for row in rows} - {""}
    if len(names) != 1:
        raise InputError(
            f"{path} has measurements of {len(names)} trial sheets, not of one: {', '.join(sorted(names))}",
            hint=_FORM_HINT,
        )
    answers = {(row["name"] or "").strip(): (row["measured"] or "").strip() for row in rows}
    if len(answers) != len(rows):
        raise InputError(f"{path} names a measurement twice", hint="keep one line for each")
    return names.pop(), answers


def checked(trial: Trial, rig: Rig, sheet: Sheet, raw: Mapping[str, str], *, where: str = "the form") -> Form:
    """Convert the written values to numbers, and refuse impossible ones.

    Raises
    ------
    InputError
        A value is missing, no number, in another unit, swapped with another, or absurd.
    """
    if not trial.entries:
        raise InputError(
            f"the sheet '{trial.name}' needs a photograph, and none is given",
            hint="add --photo PICTURE: the whole sheet from above, all four edges of the paper in it",
        )
    entries = {entry.name: entry for entry in trial.entries}
    for name in raw:
        if name not in entries:
            raise InputError(f"{where}: there is no measurement {name!r}", hint=f"there are: {', '.join(entries)}")
    answers: dict[str, float] = {}
    for entry in trial.entries:
        text = raw.get(entry.name, "")
        if text:
            answers[entry.name] = number(entry, text, where=where)
    _refuse_swapped(trial, answers, where)
    missing = [entry.name for entry in trial.entries if entry.needed and entry.name not in answers]
    if missing:
        many = "measurement is" if len(missing) == 1 else "measurements are"
        raise InputError(
            f"{where}: {len(missing)} {many} missing: {', '.join(missing[:8])}{'...' if len(missing) > 8 else ''}",
            hint="measure them on the sheet, or draw the sheet again",
        )
    if not answers:
        raise InputError(f"{where}: there are no measurements", hint=_FORM_HINT)
    for entry in trial.entries:
        if entry.name in answers:
            refuse_absurd(entry, answers[entry.name], where)
    return Form(trial, rig, sheet, answers)


def number(entry: Entry, text: str, *, where: str = "") -> float:
    """The value written for an entry, in the entry's unit.

    Raises
    ------
    InputError
        The text is not a number, or has another unit.
    """
    found = _NUMBER.fullmatch(text)
    place = f"{where}: " if where else ""
    if not found:
        raise InputError(
            f"{place}{entry.name} = {text[:40]!r} is not a number", hint=f"write {entry.ask} in {entry.unit}"
        )
    value = float(found[1].replace(",", "."))
    unit = found[2]
    if unit and entry.unit != "mm":
        raise InputError(f"{place}{entry.name} = {text!r} has a unit, but is a count of {entry.unit}s", hint=entry.ask)
    if unit in ("in", "inch", "inches", '"', "''"):
        raise InputError(
            f"{place}{entry.name} = {text!r} is in inches", hint=f"write millimetres: {value * MM_PER_INCH:.1f}"
        )
    scale = {"cm": 10.0, "m": 1000.0}.get(unit or "", 1.0)
    return value * scale


def _refuse_swapped(trial: Trial, answers: Mapping[str, float], where: str) -> None:
    """Refuse two lengths that each match the other's expected value and not their own."""
    known = {e.name: e.expected for e in trial.entries if e.expected and e.unit == "mm" and e.name in answers}

    def fits(value: float, name: str) -> bool:
        expected = known[name] or 1.0
        return abs(value / expected - 1.0) < NEAR

    strays = [name for name in known if not fits(answers[name], name)]
    for a in strays:
        for b in strays:
            if a < b and fits(answers[a], b) and fits(answers[b], a):
                raise InputError(
                    f"{where}: {a} = {answers[a]:g} mm and {b} = {answers[b]:g} mm look swapped; they were drawn with "
                    f"{known[a]:g} and {known[b]:g} mm",
                    hint="exchange them, or measure again",
                )


def refuse_absurd(entry: Entry, value: float, where: str) -> None:
    """Refuse an impossible value.

    Raises
    ------
    InputError
        The message suggests what was meant.
    """
    if entry.low <= value <= entry.high and math.isfinite(value):
        return
    expected = entry.expected
    hint = f"measure again: {entry.ask}"
    said = f"{where}: {entry.name} = {value:g} {entry.unit}" if where else f"{entry.name} = {value:g} {entry.unit}"
    if expected and entry.unit == "mm":
        for factor, unit in ((MM_PER_INCH, "inches"), (10.0, "centimetres")):
            if abs(value * factor / expected - 1.0) < NEAR:
                raise InputError(
                    f"{said} looks like {unit}; {expected:g} mm were drawn", hint=f"write {value * factor:.1f}"
                )
        raise InputError(f"{said} is not plausible; {expected:g} mm were drawn", hint=hint)
    raise InputError(f"{said} is outside {entry.low:g}..{entry.high:g}", hint=hint)
