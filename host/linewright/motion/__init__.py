"""How the machine should move: placed strokes become ramps in whole steps.

`plan` is the one entry; `kinematics`, `corners`, `profile` with `speeds`, `ramps` and `timing` are its parts, in the
order in which they are used.
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
    # Imported here because a Program, which the planner builds, itself needs `motion.timing` from this package.
    from linewright.motion import planner

    return planner.plan(drawing, rig, sheet=sheet)
