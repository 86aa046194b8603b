"""Trial sheets: what a machine draws to be measured, and the files that go with it."""

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
    """Which sheet is wanted.

    Parameters
    ----------
    name : of the sheet, as `names` lists them.
    target : the machine that is to draw it.
    folder : where program, picture and form are written.
    sheet : of paper; None: the rig's own.
    axis : of a ladder: ``x`` or ``y``; None: x.
    top : of a ladder: its last rung; None: double the present limit.
    press_us : of pen heights: servo beyond the first touch; None: 30.
    reach_mm : of straightness: how far off a rail can be and be read; None: 0.5.
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
    """Every sheet and what it is for, in the order in which they make sense."""
    from linewright.calibration.trial import catalogue

    return {name: kind.about for name, kind in catalogue.KINDS.items()}


def make(task: TrialTask) -> tuple[Trial, Kit]:
    """Design a sheet and write its files.

    Raises
    ------
    InputError : there is no such sheet or axis, or a file cannot be written.
    SheetError : it does not fit the paper or the machine.
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
