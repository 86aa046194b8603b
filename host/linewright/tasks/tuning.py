"""Choosing shaper and acceleration for a machine that rings, by what they make of a drawing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.calibration.tuning import TuningResult
    from linewright.planning.pipeline import Job
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target

WOBBLE_MM = (0.005, 5.0)
"""A hundredth of a line's width, and ten of them."""


def check_wobble(wobble_mm: float) -> None:
    """Refuse a goal that no line shows, or that every machine meets.

    Raises
    ------
    InputError : it is out of range.
    """
    low, high = WOBBLE_MM
    if not low <= wobble_mm <= high:
        raise InputError(
            f"--wobble {wobble_mm:g} mm is outside {low:g}..{high:g} mm", hint="half a line's width is 0.25 mm"
        )


def tune(
    job: Job, target: Target, front: Front, *, wobble_mm: float, only_show: bool = False
) -> tuple[TuningResult, Path | None]:
    """Find the quickest way to move that stays within the wobble, and write it into the rig file.

    Returns what was found, and where the earlier rig file is kept; None: nothing was written.

    Raises
    ------
    InputError : the rig does not say how it rings, or its file cannot be written.
    """
    from linewright.calibration import tuning
    from linewright.rig.edit import edit_rig

    check_wobble(wobble_mm)
    choice = tuning.tune(job.program.drawing, target.rig, wobble_mm, front.progress)
    if target.rig_file is None or only_show or not choice.best.changes:
        return choice, None
    return choice, edit_rig(target.rig_file, choice.best.changes).kept
