"""Files of a trial sheet: program, picture, and the form in three formats."""

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
    """Paths of the files.

    Parameters
    ----------
    program, picture, form, table, paper : the program, its preview, and the form as JSON, CSV and Markdown.
    rig : a special rig file for drawing it, if needed: ladders exceed the limits of the user's own.
    number : number of the sheet.
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
    """Plan a trial sheet and write all of its files; existing files are kept.

    Parameters
    ----------
    rig_text : text of the rig file, for a sheet that needs a special one.

    Raises
    ------
    InputError
        The folder cannot be written.
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
            f"cannot write into {folder}: {error.strerror or error}",
            hint="check the folder, its permissions and the free space",
        ) from error
    program_file.save(program, kit.program)
    return kit


def _free_stem(folder: Path, name: str) -> str:
    """A file name that no form in the folder has, because an existing form may be filled in."""
    stem, number = name, 1
    while (folder / f"{stem}.json").exists():
        number += 1
        stem = f"{name}-{number}"
    return stem
