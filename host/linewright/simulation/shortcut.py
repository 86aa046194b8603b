"""Draws a program on the simulated mechanics without board and link: fast, for trials over many machines.

Each step is made at the exact time of its ramp's constant acceleration, so the result differs from the board's only by
rounding to ticks. Pace, starvation and homing by switches are not simulated here; see `harness`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.program.program import PEN, RAMP
from linewright.simulation.mechanics import Mechanics
from linewright.units import TICK_HZ

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.simulation.faults import Faults
    from linewright.simulation.machine import Machine

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_RUN_UP_MM: Final = 8.0
"""Distance moved in homing direction before the program: more than any backlash that can be set."""
_RUN_UP_STEP_TICKS: Final = TICK_HZ // 400
"""5 mm/s at 80 steps/mm: too slow to cause ringing."""


@dataclass(frozen=True, eq=False)
class DrawnInk:
    """The drawn strokes.

    Parameters
    ----------
    points_mm : (n, 2) float64, true machine mm.
    seconds : (n,) float64, time since the program's start.
    pressure_us : (n,) float64, servo pulse beyond first touch; negative: no ink.
    starts : (k + 1,) int64, as in `Drawing`.
    """

    points_mm: Floats
    seconds: Floats
    pressure_us: Floats
    starts: Ints

    def stroke(self, i: int) -> Floats:
        """Points of stroke ``i``, (m, 2), mm."""
        return self.points_mm[self.starts[i] : self.starts[i + 1]]

    def pressure(self, i: int) -> Floats:
        """Pressure along stroke ``i``, (m,), us."""
        return self.pressure_us[self.starts[i] : self.starts[i + 1]]


def draw_on(machine: Machine, faults: Faults, program: Program) -> DrawnInk:
    """Draw a program on a machine with faults that is homed to its zero, with the sheet placed there.

    Parameters
    ----------
    machine, faults : as for `Mechanics`; the direction of homing follows from the machine's endstops.
    program : starts at park.
    """
    ticks, steps, before = _steps_of(program)
    run_up_ticks, run_up = _run_up(machine)
    from_zero = _straight_way(np.array(program.start_steps))
    lead = np.concatenate((run_up, from_zero))
    lead_ticks = np.concatenate((run_up_ticks, run_up_ticks[-1] + _RUN_UP_STEP_TICKS * (1 + np.arange(len(from_zero)))))
    begin = int(lead_ticks[-1]) + TICK_HZ
    mechanics = Mechanics(machine, _before_run_up(machine, faults))
    all_ticks, all_steps = np.concatenate((lead_ticks, ticks + begin)), np.concatenate((lead, steps))
    x, y = mechanics.carriage(all_ticks, all_steps[:, 0], all_steps[:, 1])
    zero = len(run_up) - 1
    paper = mechanics.pen_at_rest(float(x[zero]), float(y[zero]))
    pen = mechanics.pen(all_ticks, x, y)[len(lead) - 1 :] - paper

    stops = np.flatnonzero((program.kind == PEN) & (program.dwell_ms > 0))
    first, last = before[stops[::2]], before[stops[1::2]]
    count = last - first + 1
    starts = np.concatenate(([0], np.cumsum(count)))
    at = np.repeat(first - starts[:-1], count) + np.arange(starts[-1])
    # The pulse at each of those moments: that of the last pen record played.
    actions = np.flatnonzero(program.kind == PEN)
    holding = np.searchsorted(before[actions], at, side="right") - 1
    pulse = program.servo_us[actions[np.minimum(holding, np.repeat(np.searchsorted(actions, stops[1::2]) - 1, count))]]
    points = pen[at]
    pressure = np.empty(len(points))
    for servo_us in np.unique(pulse):
        here = pulse == servo_us
        pressure[here] = mechanics.pressure_us(int(servo_us), points[here])
    moments = np.concatenate(([0], ticks))[at] / TICK_HZ
    return DrawnInk(points, moments, pressure, starts)


def _steps_of(program: Program) -> tuple[Ints, Ints, Ints]:
    """Ticks (n,) and motor steps (n, 2) of a program, and the number of steps before each record (r + 1,)."""
    ramp = program.kind == RAMP
    da, db = program.da.astype(np.int64), program.db.astype(np.int64)
    count = np.where(ramp, np.maximum(np.abs(da), np.abs(db)), 0)
    before = np.concatenate(([0], np.cumsum(count)))
    record = np.repeat(np.arange(len(program)), count)
    nth = np.arange(before[-1]) - before[record] + 1
    due = count[record]
    share = nth / due
    length = np.hypot(da, db)
    v0, v1 = program.v_start.astype(np.float64), program.v_end.astype(np.float64)
    # At constant acceleration v^2 is linear along the path, and the time to a place is 2 s / (v0 + v(s)).
    v = np.sqrt(v0[record] ** 2 + (v1[record] ** 2 - v0[record] ** 2) * share)
    whole = np.where(length > 0, 2.0 * length / np.maximum(v0 + v1, 1e-9), 0.0)
    seconds = 2.0 * length[record] * share / np.maximum(v0[record] + v, 1e-9)
    ticks = program.ticks_before[:-1][record] + np.rint(seconds / whole[record] * program.ticks[record])
    steps = np.empty((len(record), 2), dtype=np.int64)
    for axis, moved in enumerate((da, db)):
        # In whole numbers, so that no step is counted twice by rounding.
        twice = 2 * np.abs(moved)[record]
        done = (twice * nth + due) // (2 * due) - (twice * (nth - 1) + due) // (2 * due)
        steps[:, axis] = np.sign(moved)[record] * done
    return np.maximum.accumulate(ticks.astype(np.int64)), steps, before


def _before_run_up(machine: Machine, faults: Faults) -> Faults:
    """The machine placed so that the run-up ends where homing ends: off the switch by the back-off, or at the far end's
    zero.
    """
    start = {}
    for name, scale, end in (("x", faults.scale_x, machine.endstop[0]), ("y", faults.scale_y, machine.endstop[1])):
        zero = machine.home_backoff_mm if end == "min" else 0.0
        start[f"start_{name}_mm"] = zero - (-1.0 if end == "max" else 1.0) * _RUN_UP_MM * (1.0 + scale)
    return replace(faults, **start)


def _run_up(machine: Machine) -> tuple[Ints, Ints]:
    """A move that ends at zero in the direction of homing, axis by axis."""
    parts = []
    for axis, end in enumerate(machine.endstop):
        sense = -1.0 if end == "max" else 1.0
        way = np.zeros(2)
        way[axis] = sense * _RUN_UP_MM
        parts.append(_straight_way(np.rint(machine.to_steps @ way).astype(np.int64)))
    steps = np.concatenate(parts)
    return _RUN_UP_STEP_TICKS * (1 + np.arange(len(steps))), steps


def _straight_way(target: Ints) -> Ints:
    """(n, 2) int64: single steps from the origin to a motor position."""
    n = int(np.abs(target).max(initial=0))
    done = np.rint(np.arange(n + 1)[:, None] * target / max(n, 1)).astype(np.int64)
    return np.diff(done, axis=0)
