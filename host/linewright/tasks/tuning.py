"""Task: choosing shaper and acceleration for a machine that rings, tested on a drawing."""

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
"""Range of the allowed wobble: from a hundredth of a line's width to ten of them."""


def check_wobble(wobble_mm: float) -> None:
    """Refuse an allowed wobble out of range.

    Raises
    ------
    InputError : the value is out of range.
    """
    low, high = WOBBLE_MM
    if not low <= wobble_mm <= high:
        raise InputError(
            f"--wobble {wobble_mm:g} mm is outside {low:g}..{high:g} mm", hint="0.25 mm is half a line's width"
        )


def tune(
    job: Job, target: Target, front: Front, *, wobble_mm: float, only_show: bool = False
) -> tuple[TuningResult, Path | None]:
    """Find the fastest motion within the allowed wobble, and write its settings to the rig file.

    Returns the result, and the copy of the old rig file (None: nothing was written).

    Raises
    ------
    InputError : the rig has no frequencies, or its file cannot be written.
    """
    from linewright.calibration import tuning
    from linewright.rig.edit import edit_rig

    check_wobble(wobble_mm)
    choice = tuning.tune(job.program.drawing, target.rig, wobble_mm, front.progress)
    if target.rig_file is None or only_show or not choice.best.changes:
        return choice, None
    return choice, edit_rig(target.rig_file, choice.best.changes).kept
