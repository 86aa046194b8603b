"""Simulation from commanded steps to pen position: lost steps, scale, backlash, squareness, straightness, ringing, and
the pen's pressure.

Everything is vectorised over arrays of steps and keeps its state between calls, so that a tape of any length is
processed in pieces. The order is that of the machine: motor (lost steps), belt (scale), carriage (backlash, then
ringing), frame (squareness, straightness).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.machine.play import follow
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.units import TICK_HZ

DOWN_BEYOND_TOUCH_US: Final = 30.0
"""Distance of ``pen_down_us`` beyond first touch at the machine's zero: about 3 degrees of the servo."""

Floats = NDArray[np.float64]
Ticks = NDArray[np.int64]


class LostSteps:
    """A motor that loses every step that comes sooner than ``1/rate`` after the step before.

    A real motor's torque falls with speed until it misses steps; this is the simplest model of that effect. It depends
    only on the interval between two commanded steps.
    """

    def __init__(self, pull_out_hz: float) -> None:
        self._shortest_ticks = TICK_HZ / pull_out_hz if pull_out_hz else 0.0
        self._last = -(1 << 62)
        self.lost = 0

    def followed(self, ticks: Ticks, step: NDArray[np.int64]) -> NDArray[np.int64]:
        """Steps that the motor follows.

        Parameters
        ----------
        ticks : (n,) int64, ascending: when the pulses rise.
        step : (n,) int64: -1, 0 or 1.

        Returns
        -------
        (n,) int64: the same with the lost steps set to 0.
        """
        if not self._shortest_ticks or not len(ticks):
            return step
        at = np.flatnonzero(step)
        if not len(at):
            return step
        moments = ticks[at]
        late = np.diff(moments, prepend=self._last) >= self._shortest_ticks
        self._last = int(moments[-1])
        self.lost += len(at) - int(late.sum())
        done = step.copy()
        done[at[~late]] = 0
        return done


class Play:
    """Backlash of one axis: the carriage moves only when the drive has crossed the clearance."""

    def __init__(self, play_mm: float, start_mm: float) -> None:
        self._half = play_mm / 2
        self._out = start_mm

    def follow(self, drive_mm: Floats) -> Floats:
        """(n,) float64: carriage position for each drive position."""
        if not self._half or not len(drive_mm):
            return drive_mm
        out = follow(drive_mm, self._half, self._out)
        self._out = float(out[-1])
        return out


class Ringing:
    """One axis as a second-order system driven by the carriage's commanded position, solved exactly.

    ``y'' + 2 z w y' + w^2 y = w^2 x`` with ``x`` a step function of time. A unit step of ``x`` leaves the deviation ``y
    - x = -Re((1 - i z/sqrt(1 - z^2)) * exp(l t))``, ``l = w (-z + i sqrt(1 - z^2))`` (step response of the damped
    oscillator, any text on vibration). Deviations superpose, so the state is one complex number per axis and a run of
    steps is a running sum, without sampling or integration error.

    Parameters
    ----------
    frequency_hz : undamped natural frequency; 0 = stiff.
    damping : ratio z, 0 <= z < 1.
    start_mm, start_tick : initial rest position and time.
    """

    _GROWTH = 20.0
    """exp(20) = 5e8: largest scale factor within the running sum before it is restarted. Leaves 7 of 16 digits."""

    def __init__(self, frequency_hz: float, damping: float, start_mm: float, start_tick: int) -> None:
        omega = 2 * math.pi * frequency_hz
        root = math.sqrt(1 - damping * damping)
        self._pole = complex(-damping * omega, root * omega)
        self._gain = complex(1.0, -damping / root)
        self._swing = 0j  # sum of the steps so far, each rotated and decayed up to ``_tick``
        self._tick = start_tick
        self._x = start_mm
        self.stiff = frequency_hz == 0
        self._span_ticks = math.inf if not damping or self.stiff else TICK_HZ * self._GROWTH / (damping * omega)

    def respond(self, ticks: Ticks, drive_mm: Floats) -> Floats:
        """Axis position at each tick, at the moment the drive steps to ``drive_mm``.

        Parameters
        ----------
        ticks : (n,) int64, ascending.
        drive_mm : (n,) float64: the drive's position from that tick on.

        Returns
        -------
        (n,) float64, mm
        """
        if self.stiff or not len(ticks):
            return drive_mm
        out = np.empty(len(ticks))
        first = 0
        while first < len(ticks):
            last = len(ticks)
            if ticks[-1] - self._tick > self._span_ticks:
                last = int(np.searchsorted(ticks, self._tick + self._span_ticks, side="right"))
                if last == first:
                    # After a long pause, decay the swing up to the next step.
                    self._swing *= np.exp(self._pole * (int(ticks[first]) - self._tick) / TICK_HZ)
                    self._tick = int(ticks[first])
                    continue
            x = drive_mm[first:last]
            turn = np.exp(self._pole * ((ticks[first:last] - self._tick) / TICK_HZ))
            jumps = np.diff(x, prepend=self._x)
            swing = turn * (self._swing + np.cumsum(jumps / turn))
            out[first:last] = x - (self._gain * swing).real
            self._swing, self._tick, self._x = complex(swing[-1]), int(ticks[last - 1]), float(x[-1])
            first = last
        return out

    @property
    def settled_ticks(self) -> int:
        """Time after the last step until the swing has decayed to a thousandth (2 s without damping), ticks."""
        if self.stiff:
            return 0
        return round(TICK_HZ * min(2.0, math.log(1000) / max(-self._pole.real, 1e-9)))


class Mechanics:
    """All mechanics of one machine with its faults.

    Parameters
    ----------
    machine, faults : the simulated machine.
    tick : start time, at rest.
    """

    def __init__(self, machine: Machine, faults: Faults, tick: int = 0) -> None:
        self._to_mm = machine.to_mm
        self.start_mm = start_position_mm(machine, faults)
        self._motors = (LostSteps(faults.pull_out_a_hz), LostSteps(faults.pull_out_b_hz))
        self._true_steps = np.zeros(2, dtype=np.int64)
        self._scale = (1 + faults.scale_x, 1 + faults.scale_y)
        self._play = (
            Play(faults.backlash_x_mm, self.start_mm[0]),
            Play(faults.backlash_y_mm, self.start_mm[1]),
        )
        self._ringing = (
            Ringing(faults.ringing_x_hz, faults.ringing_damping, self.start_mm[0], tick),
            Ringing(faults.ringing_y_hz, faults.ringing_damping, self.start_mm[1], tick),
        )
        self._lean = math.tan(math.radians(faults.skew_deg))
        self._bow = (faults.bow_x_mm, faults.bow_y_mm)
        self._travel = machine.travel_mm
        self._pulses = (machine.pen_up_us, machine.pen_down_us)
        self._paper_us = (faults.paper_tilt_x_us, faults.paper_tilt_y_us, faults.paper_bow_us)

    def carriage(self, ticks: Ticks, step_a: NDArray[np.int64], step_b: NDArray[np.int64]) -> tuple[Floats, Floats]:
        """Carriage position on its axes after each word's step, as the endstops see it.

        Parameters
        ----------
        ticks : (n,) int64: rising edges of the step pins.
        step_a, step_b : (n,) int64: -1, 0 or 1.

        Returns
        -------
        x_mm, y_mm : (n,) float64, from the true zero of the axes.
        """
        a = self._true_steps[0] + np.cumsum(self._motors[0].followed(ticks, step_a))
        b = self._true_steps[1] + np.cumsum(self._motors[1].followed(ticks, step_b))
        if len(a):
            self._true_steps = np.array([a[-1], b[-1]])
        axes = []
        for i in (0, 1):
            drive = self.start_mm[i] + self._scale[i] * (self._to_mm[i, 0] * a + self._to_mm[i, 1] * b)
            axes.append(self._play[i].follow(drive))
        return axes[0], axes[1]

    def pen(self, ticks: Ticks, x_mm: Floats, y_mm: Floats) -> Floats:
        """(n, 2) float64, mm: pen position while the carriage's drive is at ``x_mm, y_mm``."""
        x = self._ringing[0].respond(ticks, x_mm)
        y = self._ringing[1].respond(ticks, y_mm)
        return self._framed(x, y)

    def pen_at_rest(self, x_mm: float, y_mm: float) -> Floats:
        """(2,) float64, mm: pen position at rest for a standing carriage."""
        return np.asarray(self._framed(np.array([x_mm]), np.array([y_mm]))[0])

    def _framed(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """(n, 2) float64, mm: positions on the sheet, given positions along rails with squareness and straightness
        errors.
        """
        aside_x = self._bow[1] * _hump(y_mm / self._travel[1])
        aside_y = self._bow[0] * _hump(x_mm / self._travel[0])
        return np.column_stack((x_mm + self._lean * y_mm + aside_x, y_mm + aside_y))

    def pressure_us(self, servo_us: int, pen_mm: Floats) -> Floats:
        """(n,) float64: servo pulse beyond first touch at places (n, 2); negative: no ink."""
        up, down = self._pulses
        tilt_x, tilt_y, sag = self._paper_us
        along, across = pen_mm[:, 0] / self._travel[0], pen_mm[:, 1] / self._travel[1]
        deeper = tilt_x * along + tilt_y * across + sag * (_hump(along) + _hump(across)) / 2.0
        return np.asarray(abs(servo_us - up) - abs(down - up) + DOWN_BEYOND_TOUCH_US - deeper)

    @property
    def lost_steps(self) -> tuple[int, int]:
        """Lost steps of motors A and B so far."""
        return self._motors[0].lost, self._motors[1].lost

    @property
    def settled_ticks(self) -> int:
        """Longest time that the pen may still move after the last step, ticks."""
        return max(ringing.settled_ticks for ringing in self._ringing)


def _hump(share: Floats) -> Floats:
    """(n,) 0 at both ends of the travel, 1 in its middle."""
    return 4.0 * share * (1.0 - share)


def start_position_mm(machine: Machine, faults: Faults) -> tuple[float, float]:
    """Carriage position at power-up: as requested, limited to the travel and rounded to whole steps.

    An axis without endstop starts at its zero, where its owner puts it by hand.
    """
    asked = np.array([faults.start_x_mm, faults.start_y_mm])
    for i in (0, 1):
        asked[i] = 0.0 if machine.endstop[i] == "none" else min(asked[i], machine.frame_mm[i])
    x, y = machine.to_mm @ np.rint(machine.to_steps @ asked)
    return float(x), float(y)
