"""Motion planning: placed strokes become ramps in whole steps.

`plan` is the entry point.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet


def plan(drawing: Drawing, rig: Rig, *, sheet: Sheet | None = None) -> Program:
    """Plan a drawing that is placed on the machine: see `planner.plan`."""
    # Imported late, so that modules of this package can be imported without the planner.
    from linewright.motion import planner

    return planner.plan(drawing, rig, sheet=sheet)
