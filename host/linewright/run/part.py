"""Part of a drawing: one of its pens, or what begins at a stroke; and the box that all of it keeps to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.motion import plan
from linewright.program.remainder import Tail
from linewright.run.recovery import ResumePoint, record_of

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.rig.rig import Rig


def only_pen(program: Program, name: str, rig: Rig) -> Program:
    """What one pen of a program draws, as a program of its own.

    Parameters
    ----------
    name : of the pen, or its colour as ``#rrggbb``.
    rig : that the program was planned for.

    Raises
    ------
    InputError
        If the drawing has no such pen.
    PlanError
        As from planning.
    """
    pens = [program.drawing.pens[group.pen] for group in program.groups]
    wanted = name.strip().lower()
    chosen = [
        group for group, pen in zip(program.groups, pens, strict=True) if wanted in (pen.name.lower(), pen.colour)
    ]
    if not chosen:
        raise InputError(
            f"no pen of this drawing is called {name!r}", hint=f"its pens: {', '.join(pen.name for pen in pens)}"
        )
    strokes = np.concatenate([np.arange(*group.strokes) for group in chosen])
    return plan(program.drawing.select(strokes), rig, sheet=program.sheet)


def from_stroke(program: Program, stroke: int, rig: Rig) -> ResumePoint:
    """Where a drawing begins that leaves out everything before a stroke.

    Parameters
    ----------
    stroke : from 1 on.

    Raises
    ------
    InputError
        If there is no such stroke.
    """
    count = len(program.drawing)
    if not 1 <= stroke <= count:
        raise InputError(
            f"there is no stroke {stroke}: this drawing has 1 to {count}", hint="--from-stroke counts from 1"
        )
    if stroke == 1:
        return ResumePoint(0, Tail.of(program))
    return ResumePoint(stroke - 1, Tail.of(program, record_of(program, stroke - 1), lower_ms=rig.pen.lower_ms))


def outline_mm(program: Program, first_stroke: int = 0) -> NDArray[np.float64]:
    """(5, 2) float64, mm: the corners of the box around all strokes from one on, and the first corner again."""
    part = program.drawing.select(np.arange(first_stroke, len(program.drawing)))
    left, top, right, bottom = part.bounds_mm()
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom], [left, top]])
