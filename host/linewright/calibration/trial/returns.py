"""Repeatability: the same position approached repeatedly from both sides, in terms of ISO 230-2.

At each target ten ticks are drawn one below the other, five approached from the left and five from the right (or from
above and below). The spread within a group shows the repeatability; the distance between the groups is the reversal
value.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from linewright.calibration.trial.design import Axis, Entry, Part, Trial, gently
from linewright.calibration.trial.finding import Finding, FoundValue
from linewright.calibration.trial.page import Page
from linewright.errors import SheetError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

TIMES: Final = 5
"""Approaches per side, as ISO 230-2 requires."""
TICK_MM: Final = 2.5
FAR_MM: Final = 25.0
RANGE_TO_DEVIATION: Final = 2.326
"""Expected range of five values in standard deviations: the factor d2 of control charts (ISO 7870-2; from memory, and
recomputed in the tests from the normal distribution)."""
TARGETS: Final = 3


def _targets(sheet: Sheet, axis: Axis) -> list[tuple[float, float]]:
    """Start of the stacks of ticks, along and across, sheet mm."""
    left, top, right, bottom = sheet.box_mm
    begin, end = (left + 40.0, right - 40.0) if axis == "x" else (top + 70.0, bottom - 40.0)
    if end - begin < 40.0:
        raise SheetError(f"the {sheet.name} sheet has no room for three targets", hint="take a larger sheet")
    across = top + 20.0 if axis == "x" else left + 6.0
    return [(begin + (end - begin) * i / (TARGETS - 1), across) for i in range(TARGETS)]


def design(rig: Rig, sheet: Sheet) -> Trial:
    """The sheet ``repeatability``.

    Raises
    ------
    SheetError
        The paper is too small.
    """
    left, top, _, _ = sheet.box_mm
    page = Page()
    page.text("REPEATABILITY", left + 16.0, top + 4.0)
    entries = []
    for axis in ("x", "y"):
        for number, (along, across) in enumerate(_targets(sheet, axis), start=1):
            for nth in range(2 * TIMES):
                side = -1.0 if nth < TIMES else 1.0
                begin = across + nth * TICK_MM
                far = along + side * FAR_MM
                for place, length in ((far, 1.0), (along, TICK_MM)):
                    ends = [(place, begin), (place, begin + length)]
                    page.line(*(ends if axis == "x" else [(b, a) for a, b in ends]))
            label = (along + 2.0, across + 3.0) if axis == "x" else (across + 3.0, along - 2.0)
            page.text(f"{axis.upper()}{number}", *label, 2.5)
            target = f"target {axis.upper()}{number}"
            ends_of = "leftmost to rightmost" if axis == "x" else "highest to lowest"
            entries += [
                Entry(f"{axis}{number}-{what}", f"{target}: {words}", 0.0, 0.0, 3.0)
                for what, words in (
                    ("first", f"spread of the first five ticks, {ends_of}"),
                    ("second", "spread of the last five ticks, likewise"),
                    ("step", "offset between the middle of the last five and that of the first five"),
                )
            ]
    how = (
        (
            "Each target has a row of ten ticks: the first five were approached from one side, the last five from the "
            "other."
        ),
        "The short ticks farther out mark the start of each approach; do not measure them.",
        "Use a magnifier. Write 0 if you see no offset; half the width of a 0.5 mm line is 0.25 mm.",
    )
    return Trial(
        "repeatability", "Repeatability and reversal", (Part(page.drawing(), gently(rig)),), tuple(entries), how
    )


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading_mm: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """Repeatability of both axes; no correction follows from it."""
    figures = []
    notes = []
    for axis in ("x", "y"):
        worst = 0.0
        steps = []
        for number in range(1, TARGETS + 1):
            first, second, step = (answers[f"{axis}{number}-{what}"] for what in ("first", "second", "step"))
            s = [spread / RANGE_TO_DEVIATION for spread in (first, second)]
            # ISO 230-2: unidirectional repeatability 4 s; bidirectional the largest of both and of 2 s + 2 s + |B|.
            worst = max(worst, 4.0 * s[0], 4.0 * s[1], 2.0 * s[0] + 2.0 * s[1] + step)
            steps.append(step)
        figures.append(FoundValue(f"repeatability of {axis}", 0.0, worst, None, "mm"))
        figures.append(FoundValue(f"reversal value of {axis}", 0.0, sum(steps) / len(steps), reading_mm, "mm"))
        if sum(steps) / len(steps) > 0.1:
            notes.append(f"Axis {axis} has backlash: measure it with the sheet 'backlash', and correct it.")
        if worst > 0.3:
            notes.append(f"Axis {axis} repeats poorly: look for a loose belt, pulley or pen holder.")
    return Finding("repeatability", tuple(figures), (), {}, tuple(notes))
