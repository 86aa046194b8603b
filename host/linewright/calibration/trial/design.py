"""A trial sheet as a value: strokes, measurements, and the program that draws it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from linewright.drawing.strokes import Drawing
from linewright.errors import SheetError
from linewright.motion import plan
from linewright.planning.placement import to_machine
from linewright.program.program import END, PenGroup, Program

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet


@dataclass(frozen=True)
class Entry:
    """One measurement.

    Parameters
    ----------
    name : short name, printed on the sheet where useful.
    ask : what to measure, in words.
    expected : value on a machine without errors; None: unknown.
    low, high : range of plausible values.
    unit : ``mm``, or the counted thing.
    needed : required for a fit.
    """

    name: str
    ask: str
    expected: float | None
    low: float
    high: float
    unit: str = "mm"
    needed: bool = True


@dataclass(frozen=True, eq=False)
class Part:
    """Strokes drawn with some keys of the rig changed.

    Parameters
    ----------
    drawing : sheet coordinates, mm.
    changes : as `Rig.changed` takes them.
    """

    drawing: Drawing
    changes: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial sheet.

    Parameters
    ----------
    name : name in the catalogue.
    title : a few words.
    parts : strokes, in drawing order.
    entries : the measurements.
    how : instructions for measuring, in order.
    raised : keys that must be changed in the rig that draws it, because ladders exceed the rig's limits.
    options : options of its design, for making it again.
    """

    name: str
    title: str
    parts: tuple[Part, ...]
    entries: tuple[Entry, ...]
    how: tuple[str, ...]
    raised: Mapping[str, object] = field(default_factory=dict)
    options: Mapping[str, float | str] = field(default_factory=dict)

    @property
    def drawing(self) -> Drawing:
        """All strokes, sheet coordinates, in drawing order."""
        return Drawing.one_after_the_other([part.drawing for part in self.parts])


Axis = Literal["x", "y"]

GENTLE_MM_S: Final = 60.0
GENTLE_MM_S2: Final = 100.0
"""Acceleration for marks that are measured: a carriage that rings at 8 Hz then swings by a / w^2 = 0.04 mm."""


def gently(rig: Rig) -> dict[str, object]:
    """Changes to a rig that make it draw marks accurately, however much it rings."""
    changes: dict[str, object] = {"homing.fast_mm_s": min(rig.homing.fast_mm_s, GENTLE_MM_S)}
    for name, axis in (("x", rig.x), ("y", rig.y)):
        changes[f"axis.{name}.speed_mm_s"] = min(axis.speed_mm_s, GENTLE_MM_S)
        changes[f"axis.{name}.accel_mm_s2"] = min(axis.accel_mm_s2, GENTLE_MM_S2)
    return changes


def machine_mm(sheet_mm: tuple[float, float], rig: Rig) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """(2,) float64: machine position of a place on the sheet."""
    return np.array(sheet_mm, dtype=np.float64) + np.array(rig.sheet.offset_mm, dtype=np.float64)


def program_of(trial: Trial, rig: Rig, sheet: Sheet) -> Program:
    """Plan a trial sheet. It is refused rather than clipped, because an incomplete sheet would be measured wrongly.

    It is drawn along the machine's axes, which it measures, even if the sheet is rotated.

    Raises
    ------
    SheetError
        A part of it lies outside the margins or the machine's reach.
    PlanError
        The limits allow no motion.
    """
    base = rig.changed(trial.raised) if trial.raised else rig
    straight = base.changed({"sheet.turn_deg": 0.0}) if base.sheet.turn_deg else base
    programs = []
    for part in trial.parts:
        placed = to_machine(part.drawing, sheet, straight)
        _refuse_ink_beside(placed, sheet, rig)
        if placed.cut:
            raise SheetError(
                f"the trial sheet '{trial.name}' does not fit: a part of it lies beyond the margins of the "
                f"{sheet.name} sheet or the machine's reach",
                hint="choose a smaller sheet with --sheet, or correct sheet.offset_mm and axis.?.travel_mm",
            )
        programs.append(plan(placed, straight.changed(part.changes) if part.changes else straight, sheet=sheet))
    return replace(
        joined(programs),
        rig_fingerprint=base.fingerprint(),
        rig_name=base.name,
        sheet_position=base.sheet.position,
    )


def _refuse_ink_beside(placed: Drawing, sheet: Sheet, rig: Rig) -> None:
    """Raise if a rotated sheet does not cover everything drawn along the machine's axes.

    Raises
    ------
    SheetError
        The message has the rotation.
    """
    points = rig.sheet.position.on_sheet(placed.points_mm)
    if len(points) and ((points < 0.0) | (points > (sheet.width_mm, sheet.height_mm))).any():
        raise SheetError(
            f"the sheet lies turned by {rig.sheet.turn_deg:g} degrees, and a trial sheet is drawn along the axes of "
            "the machine: a part of it would miss the paper",
            hint="lay the sheet straighter, then `linewright sheet find`",
        )


def joined(programs: list[Program]) -> Program:
    """Concatenate programs of one pen each; each starts and ends at park."""
    first = programs[0]
    if len(programs) == 1:
        return first
    columns: dict[str, Any] = {}
    for name in ("kind", "da", "db", "v_end", "servo_us", "dwell_ms", "rest_ticks", "ticks"):
        # Only the last end record is kept.
        parts = [getattr(program, name)[:-1] for program in programs[:-1]]
        columns[name] = np.concatenate((*parts, getattr(programs[-1], name)))
    strokes = []
    before = 0
    for program in programs:
        numbers = np.where(program.stroke_of_record >= 0, program.stroke_of_record + before, -1)
        strokes.append(numbers if program is programs[-1] else numbers[program.kind != END])
        before += len(program.drawing)
    return replace(
        first,
        **columns,
        stroke_of_record=np.concatenate(strokes).astype(np.int32),
        drawing=Drawing.one_after_the_other([program.drawing for program in programs]),
        groups=(PenGroup(pen=0, strokes=(0, before), records=(0, len(columns["kind"]))),),
        warnings=tuple(dict.fromkeys(warning for program in programs for warning in program.warnings)),
    )
