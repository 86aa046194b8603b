"""A single straight pen-up move as records: to a program's start, or by hand."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from linewire.records import END, RAMP
from linewright.machine.play import Arrivals, detours
from linewright.motion.kinematics import Limits
from linewright.motion.ramps import StepPath, make_ramps

if TYPE_CHECKING:
    from linewright.rig.rig import Rig


@dataclass(frozen=True, eq=False)
class Travel:
    """Records of one move, the end record included; columns as in `Program`, each (r,) int64."""

    kind: NDArray[np.int64]
    da: NDArray[np.int64]
    db: NDArray[np.int64]
    v_end: NDArray[np.int64]


def plan_travel(start_steps: tuple[int, int], end_steps: tuple[int, int], rig: Rig) -> Travel:
    """Plan a straight pen-up move between two motor positions, from rest to rest.

    On a machine with backlash it ends in the direction of homing, by an intermediate position if needed, so that the
    pen is where the motor positions say.

    Parameters
    ----------
    start_steps, end_steps : motor positions A, B; equal ones give the end record alone.
    rig : the machine, for its limits.

    Raises
    ------
    PlanError : the rig's limits allow no motion.
    """
    limits = Limits.from_rig(rig)
    stops = [start_steps, *_coming_from(start_steps, end_steps, rig, limits), end_steps]
    steps = np.array([stop for stop, after in pairwise([*stops, None]) if stop != after], dtype=np.int64)
    moves = len(steps) - 1
    path = StepPath(
        steps=steps,
        cap=np.zeros(1 + moves),
        stroke=np.full(moves, -1, dtype=np.int64),
        free=np.ones(moves),
        node_of_vertex=np.array([0, moves], dtype=np.int64),
    )
    ramps = make_ramps(path, limits)
    last = np.zeros(1, dtype=np.int64)
    return Travel(
        kind=np.concatenate((np.full(len(ramps.v_end), RAMP, dtype=np.int64), [END])),
        da=np.concatenate((ramps.d_steps[:, 0], last)),
        db=np.concatenate((ramps.d_steps[:, 1], last)),
        v_end=np.concatenate((ramps.v_end, last)),
    )


def _coming_from(
    start_steps: tuple[int, int], end_steps: tuple[int, int], rig: Rig, limits: Limits
) -> list[tuple[int, int]]:
    """Intermediate positions that take up backlash at the end; empty on a machine without backlash."""
    errors = rig.shape
    if not errors.plays or start_steps == end_steps:
        return []
    ends = limits.mm_at(np.array([start_steps, end_steps]))
    play = np.array(errors.play_mm)
    sense = np.where(play > 0.0, np.array(errors.home_sense, dtype=np.float64), 0.0)
    low, high = errors.room_mm
    _, via = detours(ends, Arrivals(np.array([1]), sense[None]), play, np.array(low), np.array(high))
    return [(int(a), int(b)) for a, b in np.rint(limits.steps_at(via))]
