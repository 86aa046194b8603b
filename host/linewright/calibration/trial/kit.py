"""The files that go with a trial sheet: the program to draw, its picture, the form in three shapes."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.calibration.trial import form
from linewright.calibration.trial.design import program_of
from linewright.errors import InputError
from linewright.files import replacing
from linewright.program import file as program_file
from linewright.rig.edit import changed_text

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Trial
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet


@dataclass(frozen=True)
class Kit:
    """Where the files are.

    Parameters
    ----------
    program, picture, form, table, paper : to draw, to look at, and the form as JSON, CSV and Markdown.
    rig : the rig file to draw it with, where it must differ from the user's own: ladders go beyond its limits.
    number : of the sheet.
    predicted_s : playing time.
    """

    program: Path
    picture: Path
    form: Path
    table: Path
    paper: Path
    rig: Path | None
    number: str
    predicted_s: float


def write(trial: Trial, rig: Rig, sheet: Sheet, folder: Path, rig_text: str) -> Kit:
    """Plan a trial sheet and write everything that goes with it; what is there already is kept.

    Parameters
    ----------
    rig_text : the rig file's own text, for a sheet that needs another one.

    Raises
    ------
    InputError
        If the folder cannot be written.
    SheetError, PlanError
        As `program_of`.
    """
    from linewright.pictures import album
    from linewright.pictures.raster import to_png

    program: Program = program_of(trial, rig, sheet)
    stem = _free_stem(folder, trial.name)
    number = secrets.token_hex(4)
    kit = Kit(
        **{
            what: folder / f"{stem}{suffix}"
            for what, suffix in (
                ("program", ".lw"),
                ("picture", ".png"),
                ("form", ".json"),
                ("table", ".csv"),
                ("paper", ".md"),
            )
        },
        rig=folder / f"{stem}-rig.toml" if trial.raised else None,
        number=number,
        predicted_s=program.predicted_s,
    )
    contents = {
        kit.picture: to_png(album.preview_scene(program, trial.title)),
        kit.form: form.to_json(trial, rig, sheet, number).encode(),
        kit.table: form.to_csv(trial).encode(),
        kit.paper: form.to_markdown(trial).encode(),
    }
    if kit.rig is not None:
        contents[kit.rig] = changed_text(rig_text, trial.raised).encode()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, data in contents.items():
            with replacing(path) as stream:
                stream.write(data)
    except OSError as error:
        raise InputError(
            f"cannot write into {folder}: {error.strerror or error}", hint="check the folder, its permissions and room"
        ) from error
    program_file.save(program, kit.program)
    return kit


def _free_stem(folder: Path, name: str) -> str:
    """A name that no form in the folder has yet: an old one may be filled in."""
    stem, number = name, 1
    while (folder / f"{stem}.json").exists():
        number += 1
        stem = f"{name}-{number}"
    return stem
