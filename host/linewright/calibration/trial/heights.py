"""Pen heights over the sheet: at each place a row of dashes with increasing pressure.

The first complete dash shows the pulse at which the pen touches the paper there. The resulting map gives every place
the same pressure, and the height just clear of the highest place.

Groups of short lines at the top measure the time from that height to the paper and back: each group is drawn with a
longer dwell. With too short a dwell a line begins late, or ends in a hook towards the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Entry, Part, Trial, machine_mm
from linewright.calibration.trial.finding import Finding, FoundValue
from linewright.calibration.trial.page import Page
from linewright.errors import InputError, SheetError
from linewright.motion.pen_lifts import near_height
from linewright.rig.checks import SERVO_FRAME_MS

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

STEP_US: Final = 20
LEVELS: Final = 11
"""Number of pulses, from 100 us below ``pen.down_us`` to 100 us above: about 10 degrees of a common servo either way.
If the raised pen is nearer, the row begins just below it and is shorter."""
DASH_MM: Final = 1.6
PRESS_US: Final = 30.0
"""Default pulse beyond first touch: about 3 degrees of a common servo."""

WAITS_MS: Final = (30, 45, 60, 75, 90, 105, 120)
"""Dwells from slightly more than a servo frame to most of the time of a full lift."""
WAIT = "wait"
LINES_TO_A_WAIT: Final = 4
"""Lines per dwell: a servo reads its pulse every 20 ms, so of four lines one is late by most of that."""
WAIT_LINE_MM: Final = 3.0


def _grid(sheet: Sheet) -> tuple[Floats, Floats]:
    """Positions of columns and rows, sheet mm."""
    left, top, right, bottom = sheet.box_mm
    columns = int(np.clip((right - left) // 40.0, 2, 7))
    rows = int(np.clip((bottom - top - 20.0) // 40.0, 2, 9))
    if right - left < 60.0 or bottom - top < 70.0:
        raise SheetError(f"the {sheet.name} sheet has no room for rows of dashes", hint="take a larger sheet")
    return np.linspace(left + 16.0, right - 16.0, columns), np.linspace(top + 22.0, bottom - 10.0, rows)


def pulses(rig: Rig) -> NDArray[np.int64]:
    """(n,) servo pulses in order of pressure; `LEVELS` of them, or fewer if the raised pen is near.

    Raises
    ------
    InputError
        The pen's heights leave no room for them.
    """
    heavier = 1 if rig.pen.down_us > rig.pen.up_us else -1
    lighter = _lighter(rig)
    heaviest = rig.pen.down_us + heavier * STEP_US * (LEVELS // 2)
    if lighter < 1 or not 500 <= heaviest <= 2500:
        raise InputError(
            f"the trial goes from just below the raised pen, pen.up_us = {rig.pen.up_us}, to {heaviest} us, beyond "
            f"pen.down_us = {rig.pen.down_us}: too near to each other, or to the servo's stop",
            hint=f"set pen.up_us and pen.down_us at least {2 * STEP_US} us apart, by `linewright board pen`",
        )
    return rig.pen.down_us + heavier * STEP_US * np.arange(-lighter, LEVELS // 2 + 1)


def _lighter(rig: Rig) -> int:
    """Number of dashes lighter than ``pen.down_us``: half of them, or as many as fit below the raised pen."""
    return min(LEVELS // 2, abs(rig.pen.down_us - rig.pen.up_us) // STEP_US - 1)


def design(rig: Rig, sheet: Sheet, press_us: float = PRESS_US) -> Trial:
    """The sheet ``heights``.

    Raises
    ------
    SheetError, InputError
        The paper or the pen's heights leave no room for it.
    """
    x, y = _grid(sheet)
    left, top, _, _ = sheet.box_mm
    # The dashes have different pressures, so no single near height suits all of them.
    level: dict[str, object] = {"corrections.pen_height": {}, "pen.near_us": 0}
    labels = Page()
    labels.text("PEN HEIGHTS", left + 16.0, top + 4.0)
    for row, at_y in enumerate(y):
        for column, at_x in enumerate(x):
            labels.text(f"{chr(65 + column)}{row + 1}", float(at_x) - 3.0, float(at_y) - 4.0, 2.5)
    # Labels have the highest pressure, so that they are legible where dashes fail.
    row_us = pulses(rig)
    levels = len(row_us)
    parts = [Part(labels.drawing(), {"pen.down_us": int(row_us[-1]), **level})]
    for nth, pulse in enumerate(row_us):
        page = Page()
        for at_y in y:
            for at_x in x:
                begin = float(at_x) + (nth - levels // 2) * (DASH_MM + 1.0) - DASH_MM / 2
                page.line((begin, float(at_y)), (begin + DASH_MM, float(at_y)))
        parts.append(Part(page.drawing(), {"pen.down_us": int(pulse), **level}))
    waits = _waits(rig)
    for nth, wait_ms in enumerate(waits):
        page = Page()
        for line in range(LINES_TO_A_WAIT):
            at_x = left + 16.0 + nth * (LINES_TO_A_WAIT + 1.5) * 1.5 + 1.5 * line
            page.line((at_x, top + 10.0), (at_x, top + 10.0 + WAIT_LINE_MM))
        near = near_height(rig.pen, _touch_us(rig), wait_ms)
        parts.append(Part(page.drawing(), {**level, **near}))
    entries = tuple(
        Entry(
            f"{chr(65 + column)}{row + 1}",
            f"place {chr(65 + column)}{row + 1}: number of the first unbroken dash from the left (1..{levels}; "
            f"{levels + 1} if none is)",
            _lighter(rig) + 1.0,
            1,
            levels + 1,
            "dash",
        )
        for row in range(len(y))
        for column in range(len(x))
    )
    if waits:
        ask = (
            f"number of the first group of upright lines without hooks at their ends (1..{len(waits)}; "
            f"{len(waits) + 1} if there is none)"
        )
        entries = (*entries, Entry(WAIT, ask, None, 1, len(waits) + 1, "group", needed=False))
    how = (
        f"At each place the machine draws {levels} dashes from left to right, each with the servo {STEP_US} us lower.",
        (
            "The first dashes may be missing where the paper lies low; include their places in the count. "
            f"Dash {levels // 2 + 1} is below the middle of the label."
        ),
        "Write down the number of the first dash that is neither broken nor faint.",
        "The groups of upright lines at the top show the time that the pen needs to leave the paper: look for hooks.",
    )
    return Trial("heights", "Pen heights over the sheet", tuple(parts), entries, how, options={"press_us": press_us})


def _touch_us(rig: Rig, press_us: float = PRESS_US) -> float:
    """Pulse of first touch, if ``pen.down_us`` has the usual pressure."""
    return rig.pen.down_us - (1 if rig.pen.down_us > rig.pen.up_us else -1) * press_us


def _waits(rig: Rig) -> tuple[int, ...]:
    """Tested dwells, ms; none if the pen is raised too little for a near height."""
    return tuple(wait for wait in WAITS_MS if near_height(rig.pen, _touch_us(rig), wait))


def _near(rig: Rig, press_us: float, first_clean: float | None) -> dict[str, object]:
    """Settings for lifting during travel: the map lowers the near height as it lowers the pen at the highest place.

    The dwell is the first clean one plus a servo frame, because the phase of the servo varies.
    """
    waits = _waits(rig)
    if first_clean is None:
        return near_height(rig.pen, _touch_us(rig, press_us))
    if first_clean > len(waits):
        return {"pen.near_us": 0}
    return near_height(rig.pen, _touch_us(rig, press_us), waits[round(first_clean) - 1] + SERVO_FRAME_MS) or {
        "pen.near_us": 0
    }


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """A map of changes to ``pen.down_us`` that makes the pressure uniform.

    Parameters
    ----------
    answers : number of the first whole dash by name of the place.
    reading : not used; a row is read to a dash with any ruler.
    """
    x, y = _grid(sheet)
    light = pulses(rig)
    heavier = 1 if rig.pen.down_us > rig.pen.up_us else -1
    press_us = float(trial.options.get("press_us", PRESS_US))
    shown = np.array([[answers[f"{chr(65 + c)}{r + 1}"] for c in range(len(x))] for r in range(len(y))])
    # The first whole dash is the first pulse beyond touch, so the touch is half a step before it on average.
    touch = light[0] + heavier * STEP_US * (shown - 1.0 - 0.5)
    change = touch + heavier * press_us - rig.pen.down_us
    offset = machine_mm((0.0, 0.0), rig)
    changes: dict[str, object] = {
        "corrections.pen_height.x_mm": [round(float(at + offset[0]), 1) for at in x],
        "corrections.pen_height.y_mm": [round(float(at + offset[1]), 1) for at in y],
        "corrections.pen_height.change_us": [[round(float(v), 1) for v in row] for row in change],
    }
    beyond = heavier * (rig.pen.down_us - touch)
    changes |= _near(rig, float(press_us), answers.get(WAIT))
    notes = []
    if (shown > len(light)).any():
        notes.append(f"At some places even the lowest dash is broken: raise pen.down_us by {100 * heavier:+d} us.")
    if (shown <= 1).all():
        notes.append(
            "Every dash is unbroken everywhere: the pen never left the paper. Raise the pen and draw the sheet again."
        )
    figures = (
        FoundValue("lightest pressure", float(beyond.min()), press_us, STEP_US / 2.0, "us beyond touch"),
        FoundValue("heaviest pressure", float(beyond.max()), press_us, STEP_US / 2.0, "us beyond touch"),
    )
    return Finding("heights", figures, (), changes, tuple(notes))
