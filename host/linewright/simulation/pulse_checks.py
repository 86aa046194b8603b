"""Checks of every pulse on the tape against the limits of drivers, motors and machine.

**Pulse shape.** Step high time, low time, direction set-up and hold, per motor, in ticks. Exact: no allowance.

**Spacing.** The interval between two steps of a motor is never shorter than its own step rate allows. This includes the
secondary motor, which steps at the other motor's step times (Bresenham's algorithm).

**Speed and acceleration** are checked on the *position*, sampled every `GRID_TICKS` as whole steps, over windows of
several lengths ``h``, so that violations at any relevant time scale show in one of them::

    step rate, speed    |x(t + h) - x(t)|               <= v h (1 + e) + s
    acceleration        |x(t + h) - 2 x(t) + x(t - h)|  <= 1.05 a h^2 + 2 s + c

The tolerances:

``s``, whole steps. The ideal position is a real number. The dominant motor steps when the ideal line reaches its next
whole step, so it lags by 0 to 1; the other one is rounded to the nearest at those moments and moves on by up to one
step until the next: it is off by -1.5 to +0.5, counted in its direction of motion. Including reversals, the error of
a motor spans 3 steps (-1.5 to +1.5). A difference of two positions is uncertain by the span, a second difference by
twice the span.

``e``, time. A ramp's duration is cut to whole ticks: a train of one-step ramps runs fast by up to one tick per step,
that is rate / TICK_HZ. Ramps keep their time within 0.1 % otherwise (docs/MOTION.md).

``c``, corners. A corner is an instantaneous change of velocity by ``dv`` that approximates a curve within the junction
deviation ``d``. Let the velocity change at the constant rate ``a`` instead, from ``dv / 2a`` before to ``dv / 2a``
after the corner: that motion keeps the limit, joins the polyline on either side, and departs from it by at most ``dv^2
/ 8a``. With ``dv = 2 v sin(phi/2)`` and the highest speed that `linewright.motion.corners` allows, ``v^2 = 2 a d /
sin^2(phi/2)``, this is ``d``. Three corners in one window add up to at most ``4 d`` in a second difference; the fit
rule keeps them from overlapping. In windows as long as the turn of a hairpin, ``a h^2 >= 8 d``, a corner exceeds
nothing, braking before it included (`Corners.braked`); ``2 d`` are left for several corners in one window.

``1.05``: for corners taken while the path also accelerates. `linewright.motion.profile` uses all of it; without it,
hairpins would be taken 2 % faster than such windows allow. The project's specification allows 10 %.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.simulation.machine import Machine
from linewright.units import TICK_HZ

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

GRID_TICKS: Final = TICK_HZ // 2000
"""Positions are sampled every 0.5 ms: 20 steps at 40 000 steps/s, so that the shortest window still contains a few
steps."""
SPEED_WINDOWS: Final = (2, 10, 40, 200)
"""In samples: 1, 5, 20 and 100 ms."""
ACCEL_WINDOWS: Final = (4, 10, 20, 40, 100, 200)
"""In samples: 2 to 100 ms. At 2000 mm/s^2 and 80 steps/mm, a h^2 is 0.6 steps at 2 ms (where only a jump in speed
shows) and 1600 at 100 ms (where the tolerances are negligible)."""
STEP_SPREAD: Final = 3.0
TIME_ERROR: Final = 0.001
ACCEL_ALLOWANCE: Final = 1.05
_KEEP: Final = 2 * max(ACCEL_WINDOWS)
_REMEMBERED: Final = 20
"""Violations stored per check; all are counted."""

AXES: Final = ("x", "y")
MOTORS: Final = ("A", "B")


@dataclass(frozen=True)
class Violation:
    """One violation of a limit: check, axis, time (s since power-up), value and limit."""

    check: str
    time_s: float
    axis: str
    value: float
    limit: float
    unit: str

    def __str__(self) -> str:
        return (
            f"{self.check} of {self.axis} at {self.time_s:.6f} s: {self.value:.6g} {self.unit}, limit {self.limit:.6g}"
        )


@dataclass(frozen=True)
class PulseCheckResult:
    """Result of one check over a whole tape.

    Parameters
    ----------
    checked : number of values compared with a limit.
    broken : number of violations.
    worst : the value closest to, or furthest beyond, its limit; None if nothing was checked.
    violations : the first `_REMEMBERED` of them.
    """

    name: str
    checked: int
    broken: int
    worst: Violation | None
    violations: tuple[Violation, ...]


@dataclass
class Ledger:
    """Collects the results of one check."""

    name: str
    unit: str
    at_least: bool
    checked: int = 0
    broken: int = 0
    _ratio: float = 0.0
    _worst: Violation | None = None
    _violations: list[Violation] = field(default_factory=list)

    def compare(self, axis: str, ticks: Ints, values: Ints | Floats, limit: float, scale: float = 1.0) -> None:
        """Compare values with a limit, both in units of ``1/scale`` of the ledger's unit."""
        if not len(values):
            return
        self.checked += len(values)
        worst = int(np.argmin(values) if self.at_least else np.argmax(values))
        value = float(values[worst])
        # Share of the limit that is used; above 1 is a violation.
        ratio = limit / max(value, 1e-300) if self.at_least else value / max(limit, 1e-300)
        if ratio > self._ratio:
            self._ratio = ratio
            self._worst = self._violation(axis, int(ticks[worst]), value * scale, limit * scale)
        broken = value < limit if self.at_least else value > limit
        if broken:
            bad = np.flatnonzero(values < limit if self.at_least else values > limit)
            self.broken += len(bad)
            for i in bad[: _REMEMBERED - len(self._violations)]:
                self._violations.append(self._violation(axis, int(ticks[i]), float(values[i]) * scale, limit * scale))

    def result(self) -> PulseCheckResult:
        """The result so far."""
        return PulseCheckResult(self.name, self.checked, self.broken, self._worst, tuple(self._violations))

    def _violation(self, axis: str, tick: int, value: float, limit: float) -> Violation:
        return Violation(self.name, tick / TICK_HZ, axis, float(value), float(limit), self.unit)


@dataclass(frozen=True)
class WordTiming:
    """Timing of a pulse word, ticks: see `lineboard.ports.virtual`, LAYOUT OF A WORD."""

    overhead_ticks: int = 0
    setup_ticks: int = 0
    width_ticks: int = 0


@dataclass(frozen=True, eq=False)
class Run:
    """Words played without a gap, as times and directions of their steps; pure delays are left out.

    Parameters
    ----------
    start, end : start of the first word and end of the last, ticks.
    directed : (n,) int64, tick at which the word sets its directions.
    rise : (n,) int64, tick at which its step pins rise.
    pins : (n,) int64, the low four bits of the word.
    step_a, step_b : (n,) int64: -1, 0 or 1.
    """

    start: int
    end: int
    directed: Ints
    rise: Ints
    pins: Ints
    step_a: Ints
    step_b: Ints


def decode(words: NDArray[np.uint32], tick: int, shape: WordTiming) -> Run:
    """Decode pulse words that play without a gap from ``tick`` on."""
    waits = (words >> 4).astype(np.int64)
    ends = np.cumsum(waits + shape.overhead_ticks)
    ends += tick
    end = int(ends[-1]) if len(ends) else tick
    directed = ends - shape.overhead_ticks
    pins = (words & 15).astype(np.int64)
    steps = (pins & 3) != 0
    if not steps.all():
        directed, pins = directed[steps], pins[steps]
    step_a = (pins & 1) * (((pins >> 1) & 2) - 1)
    step_b = ((pins >> 1) & 1) * (((pins >> 2) & 2) - 1)
    return Run(tick, end, directed, directed + shape.setup_ticks, pins, step_a, step_b)


class _MotorPulses:
    """Pulse shape and spacing of one motor, continued from run to run."""

    _NEVER = -(1 << 60)

    def __init__(self, name: str, step_bit: int, direction_bit: int) -> None:
        self.name = name
        self._step_bit = step_bit
        self._direction_bit = direction_bit
        self._direction = -1
        self._directed = self._NEVER
        self._rise = self._NEVER

    def check(self, run: Run, shape: WordTiming, limits: _PulseLimits, ledgers: dict[str, Ledger]) -> None:
        direction = (run.pins >> self._direction_bit) & 1
        changes = np.flatnonzero(np.diff(direction, prepend=self._direction))
        at = np.flatnonzero((run.pins >> self._step_bit) & 1)
        rise = run.rise[at]
        if len(changes):
            # Compare a direction change with this motor's last step before it: direction must not change while the step
            # pin is high.
            before = np.searchsorted(at, changes) - 1
            last = np.where(before >= 0, rise[before], self._rise) if len(rise) else np.full(len(changes), self._rise)
            ledgers["direction hold"].compare(
                self.name, run.directed[changes], run.directed[changes] - last - shape.width_ticks, 0.0, limits.us
            )
            # Only the first step after a change can violate the set-up time.
            after = np.searchsorted(at, changes)
            stepped = after < len(at)
            first = rise[after[stepped]]
            ledgers["direction set-up"].compare(
                self.name, first, first - run.directed[changes[stepped]], limits.setup_ticks, limits.us
            )
        elif len(rise):
            ledgers["direction set-up"].compare(
                self.name, rise[:1], rise[:1] - self._directed, limits.setup_ticks, limits.us
            )
        if len(rise):
            spacing = np.diff(rise, prepend=self._rise)
            ledgers["step spacing"].compare(self.name, rise, spacing, limits.spacing_ticks[self._step_bit], limits.us)
            ledgers["step low time"].compare(
                self.name, rise, spacing - shape.width_ticks, limits.width_ticks, limits.us
            )
            self._rise = int(rise[-1])
        if len(changes):
            self._directed = int(run.directed[changes[-1]])
        if len(direction):
            self._direction = int(direction[-1])


@dataclass(frozen=True)
class _PulseLimits:
    setup_ticks: float
    width_ticks: float
    spacing_ticks: tuple[float, ...]  # of each motor
    us: float = 1e6 / TICK_HZ


class PulseChecks:
    """All checks of one tape. Call `shape`, `run` and `enable` in order of time, then `results`.

    Parameters
    ----------
    machine : whose limits are checked.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._shape = WordTiming()
        fastest = max(machine.step_rate_hz)
        ticks_per_us = TICK_HZ / 1e6
        self._limits = _PulseLimits(
            setup_ticks=machine.direction_setup_us * ticks_per_us,
            width_ticks=machine.step_width_us * ticks_per_us,
            # Minus one tick and the time error of a ramp: see ``e`` above.
            spacing_ticks=tuple((1 - TIME_ERROR) * TICK_HZ / rate - 1 for rate in machine.step_rate_hz),
        )
        shapes = ("step high time", "step low time", "direction set-up", "direction hold", "step spacing")
        self._ledgers = {name: Ledger(name, "us", at_least=True) for name in shapes}
        self._ledgers["step rate"] = Ledger("step rate", "steps/s", at_least=False)
        self._ledgers["speed"] = Ledger("speed", "mm/s", at_least=False)
        self._ledgers["acceleration"] = Ledger("acceleration", "mm/s^2", at_least=False)
        self._motors = (_MotorPulses("A", 0, 2), _MotorPulses("B", 1, 3))
        self._to_mm = machine.to_mm
        self._spread_mm = STEP_SPREAD * np.abs(self._to_mm).sum(axis=1)
        self._time_error = TIME_ERROR + fastest / TICK_HZ
        self._position = np.zeros(2, dtype=np.int64)
        self._end = 0
        self._next_sample = 0
        self._samples: Ints = np.zeros((2, 0), dtype=np.int64)
        self._rest()

    @property
    def position_steps(self) -> tuple[int, int]:
        """Counted steps of A and B since power-up."""
        return int(self._position[0]), int(self._position[1])

    def shape(self, tick: int, shape: WordTiming) -> None:
        """Word timing from the next run on."""
        self._shape = shape
        at, us = np.array([tick]), 1e6 / TICK_HZ
        for motor in MOTORS:
            self._ledgers["step high time"].compare(
                motor, at, np.array([shape.width_ticks]), self._limits.width_ticks, us
            )

    def run(self, run: Run) -> None:
        """Check a run of words; it must not begin before the last one ended."""
        if run.start > self._end:
            self._stand_still(run.start)
        for motor in self._motors:
            motor.check(run, self._shape, self._limits, self._ledgers)
        a = self._position[0] + np.cumsum(run.step_a)
        b = self._position[1] + np.cumsum(run.step_b)
        self._sample(run.rise, a, b, run.end)
        if len(a):
            self._position = np.array([a[-1], b[-1]])
        self._end = run.end

    def enable(self, tick: int, on: bool) -> None:
        """Drivers are switched on or off. After power-off the limits of motion do not apply, because the carriage
        coasts.
        """
        self._stand_still(tick)
        if not on:
            self._rest()

    def results(self) -> tuple[PulseCheckResult, ...]:
        """The results; the machine is at rest after the last run."""
        self._stand_still(self._end + _KEEP * GRID_TICKS)
        return tuple(ledger.result() for ledger in self._ledgers.values())

    def _stand_still(self, until: int) -> None:
        """No motion up to ``until``: check the stop, then discard the idle time."""
        if until <= self._end:
            return
        none: Ints = np.empty(0, dtype=np.int64)
        self._sample(none, none, none, min(until, self._end + (_KEEP + 1) * GRID_TICKS))
        if until > self._end + (_KEEP + 1) * GRID_TICKS:
            self._next_sample = -(-until // GRID_TICKS)
        self._end = until

    def _rest(self) -> None:
        """Restart sampling at the current position, as if the machine had always been there."""
        self._samples = np.repeat(self._position[:, None], _KEEP, axis=1)

    def _sample(self, rise: Ints, a: Ints, b: Ints, end: int) -> None:
        """Sample the position up to ``end`` and check all windows that become complete."""
        count = end // GRID_TICKS - self._next_sample + 1
        if count <= 0:
            return
        first = self._next_sample
        self._next_sample += count
        # Long delays are sampled in pieces, so that memory is bounded.
        for piece in range(first, first + count, 1 << 18):
            size = min(1 << 18, first + count - piece)
            grid = (piece + np.arange(size)) * GRID_TICKS
            index = np.searchsorted(rise, grid, side="right")
            new = np.empty((2, size), dtype=np.int64)
            for row, (steps, before) in enumerate(((a, self._position[0]), (b, self._position[1]))):
                new[row] = np.concatenate(([before], steps))[index]
            self._check_windows(new, grid)

    def _check_windows(self, new: Ints, grid: Ints) -> None:
        kept = self._samples.shape[1]
        samples = np.concatenate((self._samples, new), axis=1)
        ticks = grid[0] + (np.arange(samples.shape[1]) - kept) * GRID_TICKS
        for m in SPEED_WINDOWS:
            h = m * GRID_TICKS / TICK_HZ
            moved = np.abs(samples[:, kept:] - samples[:, kept - m : -m])
            middle = ticks[kept - m : -m] + m * GRID_TICKS // 2
            for i, motor in enumerate(MOTORS):
                limit = self._machine.step_rate_hz[i] * h * (1 + self._time_error) + STEP_SPREAD
                self._ledgers["step rate"].compare(motor, middle, moved[i], limit, 1 / h)
        mm = self._to_mm @ samples
        for m in SPEED_WINDOWS:
            h = m * GRID_TICKS / TICK_HZ
            path = np.abs(mm[:, kept:] - mm[:, kept - m : -m])
            middle = ticks[kept - m : -m] + m * GRID_TICKS // 2
            for i, axis in enumerate(AXES):
                limit = self._machine.speed_mm_s[i] * h * (1 + self._time_error) + self._spread_mm[i]
                self._ledgers["speed"].compare(axis, middle, path[i], limit, 1 / h)
        deviation_mm = self._machine.junction_deviation_mm
        for m in ACCEL_WINDOWS:
            h = m * GRID_TICKS / TICK_HZ
            bent = np.abs(mm[:, kept:] - 2 * mm[:, kept - m : -m] + mm[:, kept - 2 * m : -2 * m])
            for i, axis in enumerate(AXES):
                within_mm = self._machine.accel_mm_s2[i] * h * h
                corners_mm = deviation_mm * (2 if within_mm >= 8 * deviation_mm else 4)
                limit = ACCEL_ALLOWANCE * within_mm + 2 * self._spread_mm[i] + corners_mm
                self._ledgers["acceleration"].compare(axis, ticks[kept - m : -m], bent[i], limit, 1 / (h * h))
        self._samples = samples[:, -_KEEP:]
