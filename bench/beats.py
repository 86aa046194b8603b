"""Effect of stepping one motor at the other's step times: gaps between steps, and the deviation of an elastic tip.

    .venv/bin/python bench/beats.py

Lines of 200 mm at angles at which the gaps come as often as the default rig rings (14 and 19 Hz), and at 44 degrees.
Pulses are those of the board's kernel; the tip is that of the virtual rig's mechanics, across the line, from a second
after the start on, when the start has died down. The reference is the same line with the steps of the second motor at
the moments of its own position.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from smoothness import DAMPING, MACHINES, pulses

from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.mechanics import Mechanics
from linewright.units import TICK_HZ

LINES = ((44.0, 120.0), (44.0, 40.0), (44.92, 120.0), (44.941, 120.0), (44.76, 40.0), (44.82, 40.0))
"""Degrees, mm/s."""
FROM = np.array([30.0, 30.0])
LENGTH_MM = 200.0
SETTLED_S = 1.0
BEFORE_END_S = 0.2

Ints = NDArray[np.int64]


def across_mm(
    machine: Machine, rise: Ints, step_a: Ints, step_b: Ints, turn: float, seen: tuple[float, float]
) -> float:
    """Half the peak-to-peak deviation of the tip, mm, across a line at an angle (rad), between two ticks."""
    hz = MACHINES[0][1]
    mechanics = Mechanics(machine, Faults(ringing_x_hz=hz[0], ringing_y_hz=hz[1], ringing_damping=DAMPING))
    pen = mechanics.pen(rise, *mechanics.carriage(rise, step_a, step_b))
    there = (rise > seen[0]) & (rise < seen[1])
    off = (pen[there] @ np.array([-math.sin(turn), math.cos(turn)])).astype(np.float64)
    # A line ends on whole steps, so its angle differs slightly.
    time = (rise[there] - rise[0]) / TICK_HZ
    return float(np.ptp(off - np.polyval(np.polyfit(time, off, 1), time))) / 2.0


def main() -> None:
    print("degrees  mm/s  beats, Hz   gaps of the second motor, us (least, mean, most)  across, mm  own clock    words")
    for degrees, speed in LINES:
        rig = Rig.default().changed({"motion.pen_down_speed_mm_s": speed})
        turn = math.radians(degrees)
        end = FROM + LENGTH_MM * np.array([math.cos(turn), math.sin(turn)])
        program = motion.plan(Drawing.from_strokes([[FROM, end]]), rig)
        rise, step_a, step_b, before = pulses(program)
        ramps = np.flatnonzero((program.stroke_of_record == 0) & program.is_ramp)
        begin, finish = int(before[ramps[0]]), int(before[ramps[-1]] + program.ticks[ramps[-1]])
        drawn = (rise >= begin) & (rise <= finish)
        rise, step_a, step_b = rise[drawn], step_a[drawn], step_b[drawn]
        seen = (begin + SETTLED_S * TICK_HZ, finish - BEFORE_END_S * TICK_HZ)
        cruise = (rise > seen[0]) & (rise < seen[1])
        gaps = np.diff(rise[cruise & (step_b != 0)]) / TICK_HZ * 1e6
        first, second = rise[step_a != 0], int(np.count_nonzero(step_b))
        # Positions at which a motor is midway between whole steps, in steps of the first motor, whose times are known.
        midway = (np.arange(second) + 0.5) * len(first) / second
        own = np.rint(np.interp(midway, np.arange(len(first) + 1), np.append(begin, first))).astype(np.int64)
        both, of_first = np.concatenate((first, own)), np.arange(len(first) + second) < len(first)
        by = np.argsort(both, kind="stable")
        machine = Machine.from_rig(rig)
        rides = across_mm(machine, rise, step_a, step_b, turn, seen)
        alone = across_mm(
            machine, both[by], of_first[by].astype(np.int64), (~of_first[by]).astype(np.int64), turn, seen
        )
        beats_hz = (1.0 - second / len(first)) * np.count_nonzero(cruise & (step_a != 0)) / np.ptp(seen) * TICK_HZ
        print(
            f"{degrees:7.3f} {speed:5.0f} {beats_hz:10.1f} {gaps.min():14.1f} {gaps.mean():9.1f} {gaps.max():9.1f}"
            f" {rides:28.4f} {alone:10.4f}    {len(first)} -> {len(first) + second}"
        )


if __name__ == "__main__":
    main()
