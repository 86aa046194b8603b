"""Task: making a trial sheet and its files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Trial
    from linewright.calibration.trial.kit import Kit
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class TrialTask:
    """Options of a trial sheet.

    Parameters
    ----------
    name : name of the sheet, see `names`.
    target : the machine that will draw it.
    folder : for program, picture and form.
    sheet : paper; None: the rig's own.
    axis : for a ladder: ``x`` or ``y``; None: x.
    top : for a ladder: its last rung; None: twice the present limit.
    press_us : for pen heights: pulse beyond first touch; None: 30.
    reach_mm : for straightness: largest measurable deviation; None: 0.5.
    """

    name: str
    target: Target
    folder: Path
    sheet: str | None = None
    axis: str | None = None
    top: float | None = None
    press_us: float | None = None
    reach_mm: float | None = None


def names() -> dict[str, str]:
    """All sheets with their purpose, in recommended order."""
    from linewright.calibration.trial import catalogue

    return {name: kind.about for name, kind in catalogue.KINDS.items()}


def make(task: TrialTask) -> tuple[Trial, Kit]:
    """Design a sheet and write its files.

    Raises
    ------
    InputError : there is no such sheet or axis, or a file cannot be written.
    SheetError : the sheet does not fit the paper or the machine.
    """
    from linewright.board import machines
    from linewright.calibration.trial import catalogue, history, kit
    from linewright.errors import InputError
    from linewright.rig.rig import Rig
    from linewright.rig.sheet_place import sheet_on

    if task.axis not in (None, "x", "y"):
        raise InputError(f"there is no axis {task.axis!r}", hint="take --axis x or --axis y")
    rig, rig_file = task.target.rig, task.target.rig_file
    lies = sheet_on(rig, task.sheet)
    made = catalogue.design(
        task.name, rig, lies, {"axis": task.axis, "top": task.top, "press_us": task.press_us, "reach_mm": task.reach_mm}
    )
    rig_text = Rig.default_text() if rig_file is None else rig_file.read_text(encoding="utf-8-sig")
    files = kit.write(made, rig, lies, task.folder, rig_text)
    if files.rig is not None and rig_file is not None:
        machines.describes(files.rig, rig_file)
    if rig_file is not None:
        history.made(made.name, files.number, rig_file, files.form)
    return made, files
