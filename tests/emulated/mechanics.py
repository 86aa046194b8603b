"""Two motors and two switches on an emulated board's pins: whole steps, counted edge by edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from emulated.machine import Machine
    from linewright.rig.rig import Rig


class Mechanics:
    """A cartesian machine without inertia.

    Parameters
    ----------
    machine : board whose pins are watched.
    rig : its pins, and whether its switches open or close when they are pressed.
    start : steps from the switches' points, of motors A and B.

    Attributes
    ----------
    at : steps from the switches' points; a switch is pressed at 0 and below.
    steps : all steps made, as (cycle of the rising edge, motor, +1 or -1).
    set_up : smallest time from a change of direction to that motor's next step, cycles.
    width : (shortest, longest) time that a step pin was high, cycles.
    """

    def __init__(self, machine: Machine, rig: Rig, start: tuple[int, int]) -> None:
        pins = rig.pins
        self._machine = machine
        self._step = {pins.step_a: 0, pins.step_b: 1}
        self._direction = {pins.direction_a: 0, pins.direction_b: 1}
        self._direction_pins = (pins.direction_a, pins.direction_b)
        self._switches = (pins.endstop_x, pins.endstop_y)
        self._opens = tuple(axis.endstop_contact == "normally-closed" for axis in (rig.x, rig.y))
        self._turned = [-(10**9), -(10**9)]
        self._rose: list[int | None] = [None, None]
        self.at = list(start)
        self.steps: list[tuple[int, int, int]] = []
        self.forget_extremes()
        machine.watch(*self._step, *self._direction)
        machine.on_edge = self._edge
        for motor in (0, 1):
            self.press(motor, start[motor] <= 0)

    def forget_extremes(self) -> None:
        """Reset `set_up` and `width`."""
        self.set_up = 10**9
        self.width = (10**9, 0)

    def press(self, motor: int, pressed: bool) -> None:
        """Press or release the switch of motor A (0) or B (1)."""
        self._machine.close(self._switches[motor], pressed != self._opens[motor])

    def _edge(self, pin: int, level: int, cycle: int) -> None:
        if pin in self._direction:
            self._turned[self._direction[pin]] = cycle
            return
        if pin not in self._step:
            return
        motor = self._step[pin]
        if level == 0:
            rose = self._rose[motor]
            if rose is not None:  # otherwise it has just become an output
                self.width = (min(self.width[0], cycle - rose), max(self.width[1], cycle - rose))
            return
        self._rose[motor] = cycle
        self.set_up = min(self.set_up, cycle - self._turned[motor])
        sign = 1 if self._machine.level(self._direction_pins[motor]) else -1
        self.steps.append((cycle, motor, sign))
        was_pressed = self.at[motor] <= 0
        self.at[motor] += sign
        pressed = self.at[motor] <= 0
        if pressed != was_pressed:
            self.press(motor, pressed)
