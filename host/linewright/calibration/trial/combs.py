"""Backlash from two combs whose lines are approached from opposite sides.

The lines of one comb are ``PITCH_MM`` apart, those of the other ``LESS_MM`` less, as on a vernier (P. Vernier, "La
construction, l'usage, et les proprietes du quadrant nouveau de mathematique", 1631). Line 0 of both is planned at the
same place. The comb approached from the other side is shifted by ``B``, so the coinciding lines have the number ``B /
LESS_MM``. No ruler is needed, and the eye sees an offset of 0.05 mm between two lines.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Axis, Entry, Part, Trial, gently
from linewright.calibration.trial.finding import Finding, FoundValue, Residual
from linewright.calibration.trial.least_squares import COVERAGE
from linewright.calibration.trial.page import RUN_UP_MM, Page
from linewright.errors import SheetError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

PITCH_MM: Final = 2.0
LESS_MM: Final = 0.05
LINE_MM: Final = 5.0
FIRST, LAST = -4, 18
"""Numbers of the lines: backlash up to 0.9 mm, and some negative values for over-correction."""

SCATTER_LINES: Final = 0.5
"""Standard uncertainty of a reading, in lines: rounding to half a line gives 0.14, and sometimes a neighbour is
read."""

NAMES: Final = ("x-upper", "x-lower", "y-left", "y-right")


def design(rig: Rig, sheet: Sheet) -> Trial:
    """The sheet ``backlash``: two pairs of combs for each axis.

    Raises
    ------
    SheetError
        The paper is too small.
    """
    left, top, right, bottom = sheet.box_mm
    length = (LAST - FIRST) * PITCH_MM
    lead = RUN_UP_MM + 2.0
    if right - left < length + 2 * lead + 50.0 or bottom - top < length + 2 * lead + 60.0:
        raise SheetError(f"the {sheet.name} sheet has no room for the combs", hint="take a larger sheet")
    page = Page()
    page.text("BACKLASH", left + 16.0, top + 4.0)
    for axis, zero, across in places(sheet):
        _pair(page, zero, across, axis)
    entries = tuple(
        Entry(
            name,
            f"the {'lower' if name == 'x-lower' else 'upper' if name == 'x-upper' else name[2:]} pair of combs for "
            f"{name[0]}: number of the line that continues straight from one comb into the other (halves allowed)",
            0.0,
            FIRST,
            LAST,
            "line",
            needed=name in ("x-upper", "y-left"),
        )
        for name in NAMES
    )
    how = (
        "Each pair of combs is drawn from opposite sides. Without backlash their lines 0 meet.",
        "Find the line of one comb that continues straight in the other. Every fifth line is numbered.",
        (
            "If two neighbouring lines look equally straight, write the value between them, such as 6.5. No ruler is "
            "needed."
        ),
    )
    return Trial(
        "backlash", "Backlash, by combs drawn from both sides", (Part(page.drawing(), gently(rig)),), entries, how
    )


def places(sheet: Sheet) -> list[tuple[Axis, float, float]]:
    """For each pair of `NAMES`: axis, position of line 0, and position across where the combs meet, sheet mm."""
    left, top, right, bottom = sheet.box_mm
    begin = RUN_UP_MM + 2.0 - FIRST * PITCH_MM
    return [
        ("x", left + begin, top + 24.0),
        ("x", left + begin, bottom - 14.0),
        ("y", top + 38.0 + begin, left + 20.0),
        ("y", top + 38.0 + begin, right - 22.0),
    ]


def _pair(page: Page, zero: float, across: float, axis: Axis) -> None:
    """Two combs that meet at ``across``; the first is drawn in ascending order, the other in descending order."""

    def dash(along: float, begin: float, end: float) -> None:
        page.line(*(((along, v) if axis == "x" else (v, along)) for v in (begin, end)))

    numbers = np.arange(FIRST, LAST + 1)
    dash(zero + FIRST * PITCH_MM - RUN_UP_MM, across - LINE_MM, across - LINE_MM + 2.0)
    for k in numbers:
        longer = 2.0 if k % 5 == 0 else 0.0
        dash(zero + k * PITCH_MM, across - LINE_MM - longer, across)
    dash(zero + LAST * PITCH_MM + RUN_UP_MM, across + LINE_MM, across + LINE_MM - 2.0)
    for k in numbers[::-1]:
        dash(zero + k * (PITCH_MM - LESS_MM), across, across + LINE_MM)
    for k in numbers[numbers % 5 == 0]:
        place = (zero + k * PITCH_MM - 1.2, across - LINE_MM - 3.0)
        page.text(str(k), *(place if axis == "x" else (across - LINE_MM - 3.0 - 2.5 * len(str(k)), place[0] + 2.7)))


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """Backlash of both axes: the measured value plus the rig's present correction.

    Parameters
    ----------
    answers : number of the coinciding line by name of the pair.
    reading : not used; a comb is read to half a line with any ruler.
    """
    figures, residuals, changes = [], [], {}
    notes = []
    for axis, before in (("x", rig.corrections.backlash_x_mm), ("y", rig.corrections.backlash_y_mm)):
        names = [name for name in NAMES if name[0] == axis and name in answers]
        if not names:
            continue
        shown = np.array([answers[name] * LESS_MM for name in names])
        after = before + float(shown.mean())
        scatter = max(SCATTER_LINES * LESS_MM, float(np.ptp(shown)) / 2)
        figures.append(FoundValue(f"backlash of {axis}", before, after, COVERAGE * scatter / len(names) ** 0.5, "mm"))
        residuals += [
            Residual(name, answers[name], (value - float(shown.mean())) / LESS_MM, "line")
            for name, value in zip(names, shown, strict=True)
        ]
        if after < 0.0:
            notes.append(
                f"Axis {axis} has a negative result; its backlash is set to 0. Were lines missing because the pen was "
                "dry?"
            )
        changes[f"corrections.backlash_{axis}_mm"] = round(max(after, 0.0), 4)
        if after > 0.3:
            notes.append(f"Axis {axis} has much backlash: first look for a loose pulley screw or a slack belt.")
    return Finding("backlash", tuple(figures), tuple(residuals), changes, tuple(notes))
