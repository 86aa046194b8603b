"""Trial sheet for a photograph: a grid of crosses, three of them ringed, which show its orientation and mirroring."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Part, Trial, gently
from linewright.calibration.trial.page import RUN_UP_MM, Page
from linewright.errors import InputError, SheetError

if TYPE_CHECKING:
    from linewright.calibration.trial.finding import Finding
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

PITCH_MM: Final = 20.0
RING_MM: Final = 5.0
RINGED: Final = ((0, 0), (2, 0), (0, 3))
"""Column and row of the ringed crosses: their two distances from the first differ, so that orientation and mirroring
are determined."""
LEAST: Final = 4


def grid(sheet: Sheet) -> tuple[Floats, Floats]:
    """Positions of columns and rows, sheet mm.

    Raises
    ------
    SheetError
        The paper is too small.
    """
    left, top, right, bottom = sheet.box_mm
    begin = RUN_UP_MM + 2.0
    columns = int((right - left - begin - 6.0) // PITCH_MM) + 1
    rows = int((bottom - top - begin - 12.0) // PITCH_MM) + 1
    if min(columns, rows) < LEAST:
        raise SheetError(
            f"the {sheet.name} sheet has no room for {LEAST} x {LEAST} crosses", hint="take a larger sheet"
        )
    x, y = (PITCH_MM * np.arange(count, dtype=np.float64) for count in (columns, rows))
    return left + begin + x, top + begin + 6.0 + y


def design(rig: Rig, sheet: Sheet) -> Trial:
    """The sheet ``photo``."""
    x, y = grid(sheet)
    left, top, _, _ = sheet.box_mm
    page = Page()
    page.text("PHOTO", left + 16.0, top + 4.0)
    page.crosses(x, y)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    ring = RING_MM * np.column_stack((np.cos(turn), np.sin(turn)))
    for column, row in RINGED:
        page.strokes.append(np.array([x[column], y[row]]) + ring)
    how = (
        "Lay the sheet flat on a darker surface, all four edges visible, in even light without hard shadows.",
        (
            "Measure the width and the height of the paper with a ruler: its edges are the reference for measuring the "
            "picture."
        ),
        (
            "Photograph it from above with the main camera, so that the sheet fills the picture except for a narrow "
            "border."
        ),
    )
    return Trial("photo", "Crosses for a photograph", (Part(page.drawing(), gently(rig)),), (), how)


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """Not available: this sheet has no typed measurements.

    Raises
    ------
    InputError
        Always: the fit needs a photograph.
    """
    raise InputError("this sheet is measured in a photograph", hint="linewright fit photo --photo PICTURE")
