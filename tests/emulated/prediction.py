"""The host's prediction for a program: every step, to the tick."""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

import numpy as np

from lineboard import kernel
from linewire.records import PEN, RAMP, REST

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linewright.program.program import Program

TICKS_PER_MS = 5000
ROOM = 4096
OVERHEAD = 1
"""Ticks of a word beyond its wait; independent of its contents."""


def steps(program: Program) -> NDArray[np.int64]:
    """(n, 3): tick, motor and sign of every step of an undisturbed program, from its beginning.

    The words come from the kernel as it runs on this computer, each ramp rendered in one go. That the last step of a
    ramp falls on the tick that `Program.ticks` says is asserted on the way: the closed formula of the host's planner.
    """
    state = kernel.new_state(OVERHEAD)
    words = array("I", [0] * ROOM)
    found: list[tuple[int, int, int]] = []
    begins = program.ticks_before
    for i, kind in enumerate(program.kind):
        tick = int(begins[i])
        if kind == RAMP:
            n = kernel.load(state, int(program.da[i]), int(program.db[i]), int(program.v_end[i]), kernel.PLENTY)
            assert n == max(abs(program.da[i]), abs(program.db[i]))
            while state[kernel.S_LEFT]:
                count = kernel.render(state, words, 0, ROOM, 1 << 29)
                assert count
                for word in words[:count]:
                    tick += (word >> 4) + OVERHEAD
                    for motor in (0, 1):
                        if word >> motor & 1:
                            found.append((tick, motor, 1 if word >> (motor + 2) & 1 else -1))
            assert tick == begins[i + 1], f"record {i}: {tick} instead of {begins[i + 1]}"
        elif kind in (PEN, REST):
            kernel.rest(state)
    return np.array(found, dtype=np.int64).reshape(-1, 3)
