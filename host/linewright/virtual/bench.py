"""Wiring between board and machine, with faults, and switches that a person can press.

The board's settings and the actual wiring may differ: a reversed motor, swapped plugs, a switch that never closes.
Bring-up has to find that out. So the virtual rig can be miswired, its switches can be pressed, and its carriage can be
observed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine

SERVO_MIDDLE_US: Final = 1500
"""Middle pulse of a hobby servo (common practice); a reversed arm mirrors pulses around it."""

# The lowest bits of a word, as in `lineboard.kernel`: steps of A and B, then their directions.
_STEP_A, _STEP_B, _UP_A, _UP_B = 1, 2, 4, 8


@dataclass(frozen=True)
class MachineView:
    """What a person sees of the machine.

    Parameters
    ----------
    carriage_mm : x and y, from the true zero of the axes.
    servo_us : pulse that acts on the servo's arm; 0 before the first.
    pen_down : the pen touches the paper.
    powered : the motors have power.
    """

    carriage_mm: tuple[float, float]
    servo_us: int
    pen_down: bool
    powered: bool


class Bench:
    """The wiring of one rig.

    Parameters
    ----------
    machine, faults : the machine and its faults.

    Attributes
    ----------
    faults : present faults.
    fingers : whether the switches of x and y are pressed.
    power_on : the motor supply is switched on.
    """

    def __init__(self, machine: Machine, faults: Faults) -> None:
        self._machine = machine
        self.faults = faults
        self.fingers = [False, False]
        self.power_on = True
        self._turned = machine.reversed  # directions that the board inverts
        self._pins = machine.endstop_pins  # pins that the board reads for the switches
        self._opens = machine.opens  # switches that the board treats as normally closed
        self._pattern: NDArray[np.uint32] | None = None

    def believed(self, turned: int, endstop_pins: tuple[int, int], contacts: int = 0) -> None:
        """Store the settings that the board has received."""
        self._opens = (bool(contacts & 1), bool(contacts & 2))
        self._turned = (bool(turned & 1), bool(turned & 2))
        self._pins = endstop_pins
        self._pattern = self._patterns()

    def rewired(self, faults: Faults) -> None:
        """Change the faults of the wiring."""
        self.faults = faults
        self._pattern = self._patterns()

    def to_motors(self, words: NDArray[np.uint32]) -> NDArray[np.uint32]:
        """(n,) uint32: the words as they reach the motors; always a copy."""
        if not self.power_on:
            return np.asarray(words & ~np.uint32(_STEP_A | _STEP_B))
        if self._pattern is None:
            return words.copy()
        return np.asarray((words & ~np.uint32(15)) | self._pattern[words & 15])

    def to_servo(self, us: int) -> int:
        """The pulse as it acts on the servo's arm; 0 stays 0."""
        return 2 * SERVO_MIDDLE_US - us if us and self.faults.inverted_servo else us

    def seen(self, levels: Sequence[bool]) -> tuple[bool, bool]:
        """Levels that the board reads from its endstops.

        Parameters
        ----------
        levels : contacts of x and y closed, by the carriage's position.
        """
        faults = self.faults
        x = (levels[0] or self.fingers[0] or bool(faults.stuck_x)) and not faults.dead_x
        y = (levels[1] or self.fingers[1] or bool(faults.stuck_y)) and not faults.dead_y
        wired = self._machine.endstop_pins
        opens = self._machine.opens
        exchanged = self._pins != wired and self._pins == (wired[1], wired[0])
        if exchanged != bool(faults.swapped_endstops):
            x, y = y, x
            opens = (opens[1], opens[0])
        # The board inverts a switch whose kind is set wrongly.
        return x != (opens[0] != self._opens[0]), y != (opens[1] != self._opens[1])

    def _patterns(self) -> NDArray[np.uint32] | None:
        """(16,) uint32: mapping of each pattern of steps and directions; None for the identity."""
        out = np.array([self._at_motors(pattern) for pattern in range(16)], dtype=np.uint32)
        return None if (out == np.arange(16)).all() else out

    def _at_motors(self, pattern: int) -> int:
        faults = self.faults
        drivers = [
            (bool(pattern & _STEP_A), bool(pattern & _UP_A) != self._turned[0]),
            (bool(pattern & _STEP_B), bool(pattern & _UP_B) != self._turned[1]),
        ]
        if faults.swapped_motors:
            drivers.reverse()
        result = 0
        wrong = (bool(faults.reversed_a), bool(faults.reversed_b))
        still = (bool(faults.still_a), bool(faults.still_b))
        for i, (step, up) in enumerate(drivers):
            result |= (step and not still[i]) << i
            result |= (up != (self._machine.reversed[i] != wrong[i])) << (i + 2)
        return result
