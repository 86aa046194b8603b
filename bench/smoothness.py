"""Drawing time against ringing: plain trapezoids of speed, bounded jerk, and shaping, on a carriage that rings.

python bench/smoothness.py
"""

from __future__ import annotations

from array import array

import numpy as np
from numpy.typing import NDArray

from lineboard import kernel
from linewright.program import PEN, RAMP, Program
from linewright.units import TICK_HZ
from linewright.virtual.checks import Shape, decode
from linewright.virtual.deviation import PenRun, StrokeComparer
from linewright.virtual.faults import Faults
from linewright.virtual.machine import Machine
from linewright.virtual.mechanics import Mechanics

SHAPE = Shape(overhead_ticks=15, setup_ticks=5, width_ticks=10)
REST_SAMPLE_TICKS = TICK_HZ // 1000


def pulses(program: Program) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """What the board's kernel plays: rise (n,) ticks, steps of A and B (n,), and the tick at which records start."""
    state = kernel.new_state(SHAPE.overhead_ticks)
    words = array("i", [0] * 8192)
    pieces: list[NDArray[np.uint32]] = []
    for i in range(len(program)):
        if program.kind[i] == RAMP:
            kernel.load(state, int(program.da[i]), int(program.db[i]), int(program.v_end[i]), kernel.PLENTY)
            while state[kernel.S_LEFT]:
                count = kernel.render(state, words, 0, len(words), 1 << 28)
                pieces.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
        else:
            kernel.rest(state)
            if program.ticks[i]:
                count = kernel.delay(state, words, 0, len(words), int(program.ticks[i]))
                pieces.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
    run = decode(np.concatenate(pieces), 0, SHAPE)
    return run.rise, run.step_a, run.step_b, program.ticks_before


def ringing(program: Program, machine: Machine, faults: Faults) -> float:
    """Largest distance of the drawn ink from the line that was asked for, mm."""
    rise, step_a, step_b, before = pulses(program)
    # Moments in the pauses, so that a carriage that swings at rest is seen.
    moments = np.arange(0, int(before[-1]), REST_SAMPLE_TICKS)
    where = np.searchsorted(rise, moments)
    rise = np.insert(rise, where, moments)
    step_a, step_b = np.insert(step_a, where, 0), np.insert(step_b, where, 0)
    mechanics = Mechanics(machine, faults)
    x, y = mechanics.carriage(rise, step_a, step_b)
    pen = mechanics.pen(rise, x, y)
    start = machine.to_mm @ np.array(program.start_steps)
    pen = pen - np.array(mechanics.start_mm) + start
    steps = np.array(program.start_steps) + np.cumsum(np.stack((step_a, step_b), axis=1), axis=0)
    moved = np.cumsum((step_a | step_b) != 0)
    comparer = StrokeComparer(program.drawing, machine)
    # A servo has its pen on the paper when the time for lowering is over, and off it when that for lifting is.
    actions = np.flatnonzero(program.kind == PEN)
    for down, up in zip(actions[::2].tolist(), actions[1::2].tolist(), strict=True):
        first, last = np.searchsorted(rise, (before[down] + program.ticks[down], before[up] + program.ticks[up]))
        begin, end = first - 1, last - 1
        comparer.add(PenRun(pen[begin:last], moved[begin:last] - moved[begin], tuple(steps[begin]), tuple(steps[end])))
    found = comparer.result()
    assert found.strokes_drawn == len(program.drawing), found
    return found.max_mm
