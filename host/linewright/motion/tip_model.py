"""Model of an elastic machine: tip position for given drive positions, and its distance from the lines.

An axis of circular frequency ``w`` and damping ratio ``z`` that is driven along ``x(t)`` obeys ``y'' + 2 z w y' + w^2 y
= w^2 x``. A step of the drive leaves a swing that evolves as ``exp(l t)``, with the pole ``l = w (-z + i sqrt(1 -
z^2))``; all steps add up to one complex number for each axis, so a whole program is a running sum.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.kinematics import Floats, Limits
from linewright.motion.pen_lifts import PenLifts
from linewright.motion.timeline import Stretches

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

Indices = NDArray[np.int64]
Swings = NDArray[np.complex128]

PERIOD_S: Final = 1e-3
"""Longest sampling period: 70 samples of a wave of 14 Hz. `PER_WAVE` may require a shorter one."""

PER_WAVE: Final = 40.0
"""Fewest samples per period of the fastest axis: the second difference is then within 0.2 % of the second
derivative."""

WINDOW: Final = 4
"""Samples before and after over which a motor's acceleration is averaged."""

SLACK: Final = 1e-3
"""Tolerance of sampled speeds."""

LEAVES: Final = 0.8
"""Share of the error budget that swing left by a pen-up move may use."""

SHARP_RAD: Final = 0.3
"""Corners that turn by more are checked one by one: a tip may cut them and still be near the line."""

NEAR_CORNER: Final = 24
"""Samples before and after the planned time of a corner within which the tip's closest approach is searched."""

MOST_DECAYS: Final = 500.0
"""Decay times after which a stretch is not resolved further: e^500 is within float64."""

SEEN: Final = 2
"""Every how many samples the tip is compared with the line."""

LOOKS: Final = 3
"""Segments searched for the one nearest to the tip."""


@dataclass(frozen=True)
class Elastic:
    """An elastic machine and the required accuracy of its tip.

    Parameters
    ----------
    frequency_hz, damping : natural frequency and damping ratio along x and y; frequency 0: stiff.
    band : relative uncertainty of the frequencies.
    swing_mm : largest distance of the tip from its line, all causes together.
    settle_s, lift_s : standstill before the pen touches the paper, and before it leaves it.
    """

    frequency_hz: tuple[float, float]
    damping: tuple[float, float]
    band: float
    swing_mm: float
    settle_s: float
    lift_s: float

    @classmethod
    def from_rig(cls, rig: Rig) -> Elastic | None:
        """From a rig file; None if its shaper is not "tip"."""
        asked = rig.smoothing
        if asked.shaper != "tip" or not (asked.x_hz or asked.y_hz):
            return None
        lifts = PenLifts.from_rig(rig)
        settle_ms = min(lifts.near_ms, lifts.lower_ms) if lifts.overlap else lifts.lower_ms
        lift_ms = lifts.near_ms if lifts.overlap else lifts.lift_ms
        return cls(
            (asked.x_hz, asked.y_hz),
            (asked.x_damping, asked.y_damping),
            asked.band,
            # Lengths on paper may exceed lengths on the machine by this factor.
            asked.swing_mm / rig.shape.stretch,
            settle_ms / 1000.0,
            lift_ms / 1000.0,
        )

    @property
    def factors(self) -> tuple[float, ...]:
        """Factors on the frequencies at the ends of the band."""
        return (1.0 - self.band, 1.0 + self.band) if self.band else (1.0,)

    def pole(self, axis: int, factor: float) -> complex:
        """Pole of an axis, 1/s; 0 for a stiff one."""
        z = self.damping[axis]
        return complex(-z, math.sqrt(1.0 - z * z)) * 2.0 * math.pi * self.frequency_hz[axis] * factor

    @property
    def period_s(self) -> float:
        """Sampling period."""
        return min(PERIOD_S, 1.0 / (PER_WAVE * max(self.frequency_hz)))


@dataclass(frozen=True, eq=False)
class TipModel:
    """Stretches with their drive positions, on the elastic model.

    Parameters
    ----------
    allowed_mm : (k,) float64, allowed distance of the tip in each.
    begins : (2, f, k) complex128, swing of the tip at the start of each, by axis and frequency of the band.
    first : (k + 1,) int64, first sample of each.
    due_mm : (m,) float64, planned distance of the tip along the stretches (`Stretches.along_mm`).
    drive_mm : (m, 2) float64, of the motors.
    carriage_mm : (m, 2) float64, what drives the tip: the same, but for backlash.
    """

    stretches: Stretches
    limits: Limits
    elastic: Elastic
    allowed_mm: Floats
    begins: Swings
    first: Indices
    due_mm: Floats
    drive_mm: Floats
    carriage_mm: Floats

    @cached_property
    def owner(self) -> Indices:
        """(m,) int64, stretch of each sample."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    def over(self, *, played: bool = False) -> Floats:
        """(m,) ratio of each sample to what is allowed; above 1 it is beyond.

        ``played``: the drives follow ramps, so motor limits are not checked, and the nearest segment is searched for
        every frequency. Otherwise the one found for the first frequency is used for all, because their tips are
        hundredths of a millimetre apart.
        """
        worst = np.zeros(len(self.drive_mm)) if played else self._motors()
        owner, ends = self.owner, self.first[1:] - 1
        drawn = self.stretches.drawing[self.stretches.starts[:-1]]
        pen = np.flatnonzero(drawn[owner])[::SEEN]
        allowed = self.allowed_mm
        tips = [[self._tip(axis, number) for number in range(len(self.elastic.factors))] for axis in (0, 1)]
        segment: Indices | None = None
        for (x, left_x), (y, left_y) in itertools.product(*tips):
            tip = np.column_stack((x[pen], y[pen]))
            if segment is None or played:
                segment, far = self._nearest(tip, pen)
            else:
                far = self._beside(tip, segment)
            worst[pen] = np.maximum(worst[pen], far / allowed[owner[pen]])
            # Swing after the end counts where the pen is still down, or is lowered before the swing has decayed.
            left = np.hypot(left_x, left_y)
            at_end = np.where(drawn, left / allowed, left * self._decay() / (allowed * LEAVES))
            worst[ends] = np.maximum(worst[ends], at_end)
            at, missed = self._missed(np.column_stack((x, y)))
            np.maximum.at(worst, at, missed / allowed[owner[at]])
        return worst

    def _missed(self, tip: Floats) -> tuple[Indices, Floats]:
        """Sharp corners that are drawn: (c,) sample at which the tip is nearest to each, and its distance."""
        points, along = self.stretches.points_mm, self.stretches.along_mm
        step = np.diff(points, axis=0)
        across = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
        turn = np.abs(np.arctan2(across, np.sum(step[1:] * step[:-1], axis=1)))
        corner = np.flatnonzero((turn > SHARP_RAD) & ~self.stretches.rest[1:-1] & self.stretches.drawing[1:]) + 1
        at = np.minimum(np.searchsorted(self.due_mm, along[corner]), len(tip) - 1)
        moments = np.clip(at[:, None] + np.arange(-NEAR_CORNER, NEAR_CORNER + 1, 2), 0, len(tip) - 1)
        x = tip[moments, 0] - points[corner, 0, None]
        y = tip[moments, 1] - points[corner, 1, None]
        near = np.sqrt((x * x + y * y).min(axis=1, initial=np.inf))
        return at, near

    def swings(self) -> Swings:
        """(2, f, k) complex128: swing that the motion of each stretch leaves, without what came before it."""
        own = replace(self, begins=np.zeros_like(self.begins))
        ends = self.first[1:] - 1
        found = np.zeros_like(self.begins)
        for axis, number in itertools.product((0, 1), range(len(self.elastic.factors))):
            found[axis, number] = own._swing(axis, number)[ends]
        return found

    def _decay(self) -> float:
        """Factor by which a swing decays until the pen touches."""
        poles = [self.elastic.pole(axis, 1.0) for axis in (0, 1)]
        return math.exp(max(pole.real for pole in poles if pole) * self.elastic.settle_s)

    def _motors(self) -> Floats:
        """(m,) ratio of accelerations and speeds of the axes and step rates of the motors to their limits."""
        limits, period, x = self.limits, self.elastic.period_s, self.drive_mm
        moved = np.diff(x, axis=0, append=x[-1:])
        moved[self.first[1:] - 1] = 0.0
        speed = np.abs(moved) / period / limits.speed_mm_s
        rate = np.abs(limits.steps_at(moved)) / period / limits.step_rate_hz
        worst = np.maximum(speed.max(axis=1), rate.max(axis=1)) / (1.0 + SLACK)
        w = WINDOW
        if len(x) > 2 * w:
            bent = np.abs(x[2 * w :] - 2.0 * x[w:-w] + x[: -2 * w]) / (w * period) ** 2 / limits.accel_mm_s2
            within = self.owner[2 * w :] == self.owner[: -2 * w]
            worst[w:-w] = np.maximum(worst[w:-w], np.where(within, bent.max(axis=1), 0.0))
        return np.asarray(worst)

    def _swing(self, axis: int, number: int) -> Swings:
        """(m,) complex128, mm: sum of the carriage's steps so far, each rotated and decayed by its age."""
        pole = self.elastic.pole(axis, self.elastic.factors[number])
        moved = np.diff(self.carriage_mm[:, axis], prepend=self.carriage_mm[:1, axis])
        moved[self.first[:-1]] = 0.0
        # Ages are the same in every stretch: the exponentials are calculated once, for the longest.
        number_in = np.arange(len(moved)) - self.first[self.owner]
        time = np.arange(np.diff(self.first).max(initial=0)) * self.elastic.period_s
        if pole:
            # In a stretch of minutes, times are clipped, which only overestimates the swing.
            time = np.minimum(time, MOST_DECAYS / -pole.real if pole.real else time.max(initial=0.0))
        # Uniform motion over one period acts like a step in its middle.
        grown = np.cumsum(moved * np.exp(-pole * (time - self.elastic.period_s / 2.0))[number_in])
        before = np.concatenate(([0.0], grown[self.first[1:-1] - 1])) - self.begins[axis, number]
        return np.asarray((grown - before[self.owner]) * np.exp(pole * time)[number_in])

    def _tip(self, axis: int, number: int) -> tuple[Floats, Floats]:
        """Tip position of one axis at every sample, and its swing after each stretch."""
        x = self.carriage_mm[:, axis]
        if not self.elastic.frequency_hz[axis]:
            return x, np.zeros(len(self.first) - 1)
        z = self.elastic.damping[axis]
        root = math.sqrt(1.0 - z * z)
        swing = self._swing(axis, number)
        return x - (complex(1.0, -z / root) * swing).real, np.abs(swing[self.first[1:] - 1]) / root

    def _nearest(self, tip: Floats, sample: Indices) -> tuple[Indices, Floats]:
        """Segments nearest to tips (j, 2), searched around the expected ones, and the distances."""
        along, points, starts = self.stretches.along_mm, self.stretches.points_mm, self.stretches.starts
        owner = self.owner[sample]
        begin, end = starts[owner], starts[owner + 1] - 1
        at = self.due_mm[sample]
        best, nearest = np.full(len(tip), np.inf), begin.copy()
        left = np.arange(len(tip))  # samples whose nearest segment is still searched
        for _ in range(LOOKS):
            k = np.clip(np.searchsorted(along, at, side="right") - 1, begin[left], end[left] - 1)
            moved = np.flatnonzero((k != nearest[left]) | (best[left] == np.inf))
            left, k = left[moved], k[moved]
            length = along[k + 1] - along[k]
            step = points[k + 1] - points[k]
            off = tip[left] - points[k]
            ahead = (off[:, 0] * step[:, 0] + off[:, 1] * step[:, 1]) / length
            share = np.clip(ahead, 0.0, length) / length
            x, y = off[:, 0] - share * step[:, 0], off[:, 1] - share * step[:, 1]
            square = x * x + y * y
            better = square < best[left]
            best[left[better]], nearest[left[better]] = square[better], k[better]
            at = along[k] + ahead
        return nearest, np.sqrt(best)

    def _beside(self, tip: Floats, segment: Indices) -> Floats:
        """(j,) distances of tips (j, 2) from the lines of their segments, and beyond the ends of their stretches."""
        points, rest = self.stretches.points_mm, self.stretches.rest
        step = points[segment + 1] - points[segment]
        length = np.hypot(step[:, 0], step[:, 1])
        off = tip - points[segment]
        across = (step[:, 0] * off[:, 1] - step[:, 1] * off[:, 0]) / length
        ahead = (step[:, 0] * off[:, 0] + step[:, 1] * off[:, 1]) / length
        beyond = np.where(rest[segment], np.minimum(ahead, 0.0), 0.0)
        beyond += np.where(rest[segment + 1], np.maximum(ahead - length, 0.0), 0.0)
        return np.asarray(np.hypot(across, beyond))
