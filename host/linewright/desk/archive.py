"""`Archive`: past drawings of the desk, kept for viewing and redrawing."""

from __future__ import annotations

import contextlib
import json
import re
import shutil
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linewright.errors import InputError, LinewrightError
from linewright.planning.arrangement import Arrangement, from_json, to_json

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.log import LogEntry

FOLDER: Final = "drawn"
PROGRAM: Final = "program.lw"
SHEET: Final = "sheet.json"
BEGUN: Final = "begun.json"

KEPT: Final = 100
"""Drawings kept for viewing; a program takes a few megabytes at most."""

SHOWN: Final = 100
"""Log entries shown on the page."""

_ID: Final = re.compile(r"d\d{14}")


class Archive:
    """Programs and arrangements of past drawings, by start time.

    Parameters
    ----------
    folder : of the sheet's file.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / FOLDER

    def keep(self, began: str, program: Program, arrangement: Arrangement | None) -> None:
        """Keep a drawing; if that fails, the log shows it without a picture."""
        from linewright.program import file as program_file

        place = self._folder / id_of(began)
        try:
            place.mkdir(parents=True, exist_ok=True)
            program_file.save(program, place / PROGRAM)
            if arrangement is not None:
                (place / SHEET).write_text(to_json(arrangement), encoding="utf-8")
            for old in sorted(self._folder.glob("d*"))[:-KEPT]:
                shutil.rmtree(old, ignore_errors=True)
        except (OSError, LinewrightError):
            shutil.rmtree(place, ignore_errors=True)

    def begin(self, picture: str, arrangement: Arrangement) -> None:
        """Record the arrangement at the start of a drawing, so that it is known if the drawing is resumed."""
        with contextlib.suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            said = json.dumps({"picture": picture, "sheet": to_json(arrangement)})
            (self._folder / BEGUN).write_text(said, encoding="utf-8")

    def begun(self, picture: str) -> Arrangement | None:
        """The arrangement of the last drawing of this name; None: unknown."""
        try:
            said = json.loads((self._folder / BEGUN).read_text(encoding="utf-8"))
            return from_json(said["sheet"]) if said["picture"] == picture else None
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None

    def arrangement(self, name: str) -> Arrangement:
        """The arrangement of a past drawing.

        Raises
        ------
        InputError : it is not kept any more.
        """
        try:
            return from_json((self._place(name) / SHEET).read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise InputError("what lay on that sheet is not kept any more") from error

    def geometry(self, name: str, rig: Rig) -> bytes | None:
        """The strokes of a drawing, as `linewright.desk.geometry` packs them; None: they are not kept."""
        from linewright.desk import geometry
        from linewright.program import file as program_file

        try:
            return geometry.of_program(program_file.load(self._place(name) / PROGRAM), rig)
        except (OSError, LinewrightError):
            return None

    def log(self) -> list[dict[str, Any]]:
        """The newest drawings, for the page."""
        from linewright.run import log

        try:
            return [self._line(entry) for entry in log.entries(SHOWN)]
        except InputError:
            return []

    def _line(self, entry: LogEntry) -> dict[str, Any]:
        said = asdict(entry)
        name = id_of(entry.began)
        place = self._folder / name
        keys = ("began", "picture", "sheet", "rig", "outcome", "fault", "predicted_s", "played_s", "strokes")
        drift = entry.drift_x_mm, entry.drift_y_mm
        return {
            "id": name,
            **{key: said[key] for key in keys},
            "rehearsal": bool(entry.rehearsal),
            "drift_mm": None if None in drift else list(drift),
            "ink_mm": entry.pen_down_mm,
            "settings": None if entry.settings is None else json.loads(entry.settings),
            "geometry": name if (place / PROGRAM).exists() else None,
            "again": (place / SHEET).exists(),
        }

    def _place(self, name: str) -> Path:
        if not _ID.fullmatch(name):
            raise InputError("there is no such drawing")
        return self._folder / name


def id_of(began: str) -> str:
    """A drawing's id, from its start time in ISO 8601."""
    return f"d{re.sub(r'[^0-9]', '', began)[:14]}"
