"""Scale and squareness from lengths between marks: a grid of nine crosses, or two circles.

On a machine without errors all lengths are as planned. Horizontal and vertical lengths show the scales, diagonals the
squareness. All are fitted together, because a squareness error also lengthens what its axis draws.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Entry, Part, Trial, gently, machine_mm
from linewright.calibration.trial.finding import Finding, FoundValue, Residual
from linewright.calibration.trial.least_squares import READING_SHARE, solve
from linewright.calibration.trial.page import RUN_UP_MM, Page
from linewright.errors import SheetError
from linewright.machine.shape import MachineShape

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

SMALLEST_MM: Final = 60.0
"""Smallest grid: reading to 0.1 mm is then 0.2 %."""

OFF_SHARE: Final = 0.22
"""Largest accepted relative error of a length: a rig file allows scales of 0.2, and squareness adds to it."""

# Pairs of crosses, numbered by rows: 1 2 3 / 4 5 6 / 7 8 9.
LEVEL: Final = ("1-3", "4-6", "7-9")
UPRIGHT: Final = ("1-7", "2-8", "3-9")
ACROSS: Final = ("1-9", "3-7", "1-6", "3-4", "4-9", "6-7")


@dataclass(frozen=True)
class Distance:
    """Two places of the sheet whose distance is measured, sheet mm."""

    name: str
    ask: str
    begin: tuple[float, float]
    end: tuple[float, float]

    @property
    def length_mm(self) -> float:
        """Planned length, mm."""
        return math.dist(self.begin, self.end)


def _grid(sheet: Sheet) -> tuple[Floats, Floats]:
    """Positions of the three columns and rows, sheet mm: as far apart as possible, in whole centimetres."""
    left, top, right, bottom = sheet.box_mm
    edge = 9.0
    room = np.array([right - left - 2 * edge - RUN_UP_MM, bottom - top - 2 * edge - RUN_UP_MM - 8.0])
    size = np.floor(room / 20.0) * 20.0
    if size.min() < SMALLEST_MM:
        raise SheetError(
            f"the {sheet.name} sheet leaves {room[0]:.0f} x {room[1]:.0f} mm for the marks; "
            f"they need {SMALLEST_MM:g} mm either way",
            hint="take a larger sheet or a smaller margin",
        )
    x = left + edge + RUN_UP_MM + size[0] * np.array([0.0, 0.5, 1.0])
    y = top + edge + RUN_UP_MM + 6.0 + size[1] * np.array([0.0, 0.5, 1.0])
    return x, y


def _grid_spans(sheet: Sheet, names: tuple[str, ...]) -> list[Distance]:
    x, y = _grid(sheet)
    spans = []
    for name in names:
        a, b = (int(number) - 1 for number in name.split("-"))
        spans.append(
            Distance(
                name,
                f"from cross {a + 1} to cross {b + 1}",
                (float(x[a % 3]), float(y[a // 3])),
                (float(x[b % 3]), float(y[b // 3])),
            )
        )
    return spans


def _circle_spans(sheet: Sheet) -> list[Distance]:
    left, top, right, bottom = sheet.box_mm
    middle = ((left + right) / 2, (top + bottom) / 2 + 4.0)
    largest = math.floor((min(right - left, bottom - top) / 2 - 12.0) / 10.0) * 10.0
    if largest < SMALLEST_MM / 2:
        raise SheetError(
            f"the {sheet.name} sheet has no room for a circle of {SMALLEST_MM:g} mm", hint="take a larger sheet"
        )
    spans = []
    for size, radius in (("large", largest), ("small", largest / 2)):
        for way, turn_deg in (("level", 0.0), ("upright", 90.0), ("falling", 45.0), ("rising", -45.0)):
            reach = radius * np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
            spans.append(
                Distance(
                    f"{size}-{way}",
                    f"diameter of the {size} circle, {_WAYS[way]}",
                    (float(middle[0] - reach[0]), float(middle[1] - reach[1])),
                    (float(middle[0] + reach[0]), float(middle[1] + reach[1])),
                )
            )
    return spans


_WAYS: Final = {
    "level": "left to right",
    "upright": "top to bottom",
    "falling": "from top left to bottom right",
    "rising": "from bottom left to top right",
}


def spans_of(name: str, sheet: Sheet) -> list[Distance]:
    """Lengths to be measured on one sheet of this family."""
    if name == "circle":
        return _circle_spans(sheet)
    return _grid_spans(sheet, LEVEL + UPRIGHT + (ACROSS if name == "squareness" else ()))


def design(name: str, rig: Rig, sheet: Sheet) -> Trial:
    """The sheet ``scale``, ``squareness`` or ``circle``.

    Raises
    ------
    SheetError
        The paper is too small.
    """
    spans = spans_of(name, sheet)
    page = Page()
    left, top, _, _ = sheet.box_mm
    page.text(name.upper(), left + 16.0, top + 4.0)
    if name == "circle":
        _draw_circles(page, spans)
        title = "Circles for scale and squareness"
    else:
        x, y = _grid(sheet)
        page.crosses(x, y)
        for number in range(9):
            page.text(str(number + 1), float(x[number % 3]) + 1.5, float(y[number // 3]) - 1.8)
        title = "Scale of both axes" if name == "scale" else "Scale and squareness, from sides and diagonals"
    entries = tuple(
        Entry(
            span.name,
            span.ask,
            round(span.length_mm, 3),
            span.length_mm * (1.0 - OFF_SHARE),
            span.length_mm * (1.0 + OFF_SHARE),
            needed=not span.name.startswith("small"),
        )
        for span in spans
    )
    where = "from middle to middle of the lines" if name == "circle" else "between the middles of the crosses"
    how: tuple[str, ...] = (
        "Let the ink dry, and lay the sheet flat. Take a steel ruler; a printed paper scale or a tape may be 1 % off.",
        f"Measure each length {where}. Lay the ruler's 10 mm line, not its worn end, on the first mark; take 10 off.",
        "Read to 0.1 mm with a magnifier; if possible, measure twice and write down the mean.",
    )
    if name != "circle":
        how += ("The short dashes at the left and at the top are run-ups; do not measure them.",)
    return Trial(name, title, (Part(page.drawing(), gently(rig)),), entries, how)


def _draw_circles(page: Page, spans: list[Distance]) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 361)
    middle = np.array(spans[0].begin) / 2 + np.array(spans[0].end) / 2
    for span in (spans[0], spans[4]):
        radius = span.length_mm / 2
        page.strokes.append(middle + radius * np.column_stack((np.cos(turn), np.sin(turn))))
    page.crosses(middle[:1], middle[1:])


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading_mm: float) -> Finding:
    """Scale of both axes, and squareness if diagonals were measured.

    Parameters
    ----------
    trial, rig, sheet : as drawn; corrections at that time are taken into account.
    answers : measured length by name of span, mm; enough to determine the unknowns.
    reading_mm : resolution of the ruler.
    """
    spans = [span for span in spans_of(trial.name, sheet) if span.name in answers]
    measured = np.array([answers[span.name] for span in spans])
    known = rig.shape
    scale = rig.scale
    ends = np.concatenate([[machine_mm(span.begin, rig), machine_mm(span.end, rig)] for span in spans])
    # Belt positions: those to which the machine was commanded, with its present corrections.
    belt = known.carriage_mm(ends) / scale
    leans = trial.name != "scale"

    def lengths(unknown: Floats) -> Floats:
        errors = MachineShape(
            lean=float(unknown[2]) if leans else known.lean, straight_x=known.straight_x, straight_y=known.straight_y
        )
        places = errors.true_mm(belt * (1.0 + unknown[:2]))
        return np.asarray(np.hypot(*(places[1::2] - places[::2]).T), dtype=np.float64)

    start = np.array([*(scale - 1.0), *([known.lean] if leans else [])])
    found = solve(lengths, measured, start, READING_SHARE * reading_mm)
    before = rig.corrections
    changes: dict[str, object] = {
        "corrections.scale_x": round(float(found.values[0]), 6),
        "corrections.scale_y": round(float(found.values[1]), 6),
    }
    figures = [
        FoundValue("scale of x", 100 * before.scale_x, 100 * float(found.values[0]), 100 * float(found.stated[0]), "%"),
        FoundValue("scale of y", 100 * before.scale_y, 100 * float(found.values[1]), 100 * float(found.stated[1]), "%"),
    ]
    notes = []
    if leans:
        lean_deg = math.degrees(math.atan(float(found.values[2])))
        changes["corrections.squareness_deg"] = round(lean_deg, 5)
        stated = math.degrees(float(found.stated[2]))
        figures.append(FoundValue("squareness", before.squareness_deg, lean_deg, stated, "degrees"))
        if abs(lean_deg) > 1.0:
            notes.append("The axes are more than a degree out of square: adjust the rails instead of correcting this.")
    else:
        notes.append("The sheet 'squareness' also has diagonals: it gives these values and the squareness together.")
    residuals = tuple(
        Residual(span.name, float(value), float(off), "mm")
        for span, value, off in zip(spans, measured, found.residuals, strict=True)
    )
    return Finding(trial.name, tuple(figures), residuals, changes, tuple(notes))
