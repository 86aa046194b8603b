"""A single straight move with the pen up, as records: to where a program starts, or by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from linewire.records import END, RAMP
from linewright.motion.kinematics import Limits
from linewright.motion.ramps import StepPath, make_ramps

if TYPE_CHECKING:
    from linewright.rig import Rig


@dataclass(frozen=True, eq=False)
class Travel:
    """Records of one move, the end record included; columns as in `Program`, each (r,) int64."""

    kind: NDArray[np.int64]
    da: NDArray[np.int64]
    db: NDArray[np.int64]
    v_end: NDArray[np.int64]


def plan_travel(start_steps: tuple[int, int], end_steps: tuple[int, int], rig: Rig) -> Travel:
    """Plan a straight pen-up move between two motor positions, from rest to rest.

    Parameters
    ----------
    start_steps, end_steps : motor positions A, B; equal ones give the end record alone.
    rig : the machine, for its limits.

    Raises
    ------
    PlanError : the rig's limits allow no motion.
    """
    moves = start_steps != end_steps
    path = StepPath(
        steps=np.array([start_steps, end_steps][: 1 + moves], dtype=np.int64),
        cap=np.zeros(1 + moves),
        stroke=np.full(int(moves), -1, dtype=np.int64),
        free=np.ones(int(moves)),
        node_of_vertex=np.array([0, int(moves)], dtype=np.int64),
    )
    ramps = make_ramps(path, Limits.from_rig(rig))
    last = np.zeros(1, dtype=np.int64)
    return Travel(
        kind=np.concatenate((np.full(len(ramps.v_end), RAMP, dtype=np.int64), [END])),
        da=np.concatenate((ramps.d_steps[:, 0], last)),
        db=np.concatenate((ramps.d_steps[:, 1], last)),
        v_end=np.concatenate((ramps.v_end, last)),
    )
