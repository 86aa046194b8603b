"""Parts of a drawing: one pen, or everything from a stroke on; and its bounding box."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.motion.pens import of_groups
from linewright.program.remainder import Tail
from linewright.run.recovery import ResumePoint, record_of

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.rig.rig import Rig


def only_pen(program: Program, name: str) -> Program:
    """The part of a program drawn by one pen, as a program of its own, as it was planned.

    Parameters
    ----------
    name : name of the pen, or its colour as ``#rrggbb``.

    Raises
    ------
    InputError
        The drawing has no such pen.
    """
    pens = [program.drawing.pens[group.pen] for group in program.groups]
    wanted = name.strip().lower()
    chosen = [number for number, pen in enumerate(pens) if wanted in (pen.name.lower(), pen.colour)]
    if not chosen:
        raise InputError(
            f"no pen of this drawing is called {name!r}",
            hint=f"its pens are {', '.join(dict.fromkeys(pen.name for pen in pens))}",
        )
    part = of_groups(program, chosen)
    return replace(part, warnings=of_its_pens(program.warnings, part))


def of_its_pens(warnings: tuple[str, ...], program: Program) -> tuple[str, ...]:
    """The warnings without those about pens that draw nothing in the program; such warnings start with the pen's
    name.
    """
    pens = program.drawing.pens
    idle = {pen.name for pen in pens} - {pens[group.pen].name for group in program.groups}
    return tuple(text for text in warnings if not any(text.startswith(f"the pen '{name}' ") for name in idle))


def from_stroke(program: Program, stroke: int, rig: Rig) -> ResumePoint:
    """Start point of a drawing without the strokes before a given one.

    Parameters
    ----------
    stroke : from 1 on.

    Raises
    ------
    InputError
        There is no such stroke.
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
    """(5, 2) float64, mm: corners of the bounding box of all strokes from ``first_stroke`` on, closed."""
    part = program.drawing.select(np.arange(first_stroke, len(program.drawing)))
    left, top, right, bottom = part.bounds_mm()
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom], [left, top]])
