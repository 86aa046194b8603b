"""Impulse sequences that smooth a motion in time: jerk limits, and input shapers against residual vibration.

A motion convolved with impulses is a sum of delayed and scaled copies of it: ``v'(t) = sum_i A_i v(t - t_i)``. The
impulses are positive and sum to 1, so neither speed nor acceleration grows, and the distance is the same. A trapezoidal
speed profile stays piecewise constant in acceleration, with more pieces.

**Bounded jerk.** A box of length ``T = a / j`` turns steps of acceleration ``a`` into slopes of jerk ``j``: the
S-curve. The box is approximated by `STAIRS` impulses.

**Zero vibration.** For an undamped natural frequency ``f`` and damping ``z``, with ``w = 2 pi f`` and ``K = exp(-z pi /
sqrt(1 - z^2))``, two impulses ``1/(1+K)`` and ``K/(1+K)``, half a damped period ``pi / (w sqrt(1 - z^2))`` apart,
cancel each other's vibration; three impulses ``1, 2K, K^2`` over ``(1+K)^2`` also cancel its derivative with respect to
frequency, which makes them robust to frequency errors (Singer and Seering, "Preshaping command inputs to reduce system
vibration", ASME J. Dyn. Sys. Meas. Control 112, 1990).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.motion.kinematics import Floats

STAIRS: Final = 6
"""Impulses that approximate a box. For a box of 1.5 periods, six impulses leave 11 % more vibration than the box and
four leave 28 %: ``(x/n) / sin(x/n)`` with ``x = 1.5 pi``. More impulses only cost more ramps."""

TOGETHER_S: Final = 1e-5
"""Impulses closer than this are merged: at most a hundredth of the period of a carriage's vibration."""


@dataclass(frozen=True, eq=False)
class Impulses:
    """A sequence of impulses.

    Parameters
    ----------
    share : (k,) float64, positive, sum 1.
    delay_s : (k,) float64, ascending from 0.

    Examples
    --------
    >>> zero_vibration(20.0, 0.0).share
    array([0.5, 0.5])
    >>> zero_vibration(20.0, 0.0).span_s
    0.025
    """

    share: Floats
    delay_s: Floats

    @property
    def span_s(self) -> float:
        """Time from the first to the last impulse: the increase of a motion's duration, s."""
        return float(self.delay_s[-1])

    @property
    def mean_s(self) -> float:
        """Mean delay: the lag of a uniform motion, s."""
        return float(self.share @ self.delay_s)

    @property
    def gap_s(self) -> float:
        """Longest time between neighbouring impulses, s."""
        return float(np.diff(self.delay_s).max(initial=0.0))

    def then(self, other: Impulses) -> Impulses:
        """Convolution of both sequences."""
        delay = np.add.outer(self.delay_s, other.delay_s).ravel()
        share = np.multiply.outer(self.share, other.share).ravel()
        order = np.argsort(delay, kind="stable")
        delay, share = delay[order], share[order]
        first = np.flatnonzero(np.diff(delay, prepend=-math.inf) > TOGETHER_S)
        return Impulses(np.add.reduceat(share, first), delay[first])

    def vibration(self, frequency_hz: float, damping: float) -> float:
        """Residual vibration of a second-order system, relative to that after a single impulse.

        ``|sum_i A_i exp(-l (t_n - t_i))|`` with the pole ``l``: equation 3 of Singer and Seering (1990).
        """
        omega = 2.0 * math.pi * frequency_hz
        pole = omega * complex(-damping, math.sqrt(1.0 - damping * damping))
        return float(abs(np.sum(self.share * np.exp(pole * (self.span_s - self.delay_s)))))


def none() -> Impulses:
    """The identity: one impulse."""
    return Impulses(np.ones(1), np.zeros(1))


def bounded_jerk(jerk_mm_s3: float, accel_mm_s2: float) -> Impulses:
    """Impulses that let acceleration rise in steps of ``accel / STAIRS``, with the average slope ``jerk``."""
    each_s = max(accel_mm_s2 / jerk_mm_s3 / STAIRS, 2.0 * TOGETHER_S)
    return Impulses(np.full(STAIRS, 1.0 / STAIRS), each_s * np.arange(STAIRS, dtype=np.float64))


def zero_vibration(frequency_hz: float, damping: float) -> Impulses:
    """Two impulses (ZV shaper) that leave no vibration at this frequency."""
    half_s, k = _half_period(frequency_hz, damping)
    return Impulses(np.array([1.0, k]) / (1.0 + k), np.array([0.0, half_s]))


def zero_vibration_derivative(frequency_hz: float, damping: float) -> Impulses:
    """Three impulses (ZVD shaper) that leave no vibration at this frequency and little at neighbouring ones."""
    half_s, k = _half_period(frequency_hz, damping)
    return Impulses(np.array([1.0, 2.0 * k, k * k]) / (1.0 + k) ** 2, half_s * np.arange(3, dtype=np.float64))


def _half_period(frequency_hz: float, damping: float) -> tuple[float, float]:
    """Half a damped period, s, and the decay of a vibration over it, a factor."""
    root = math.sqrt(1.0 - damping * damping)
    return 0.5 / (frequency_hz * root), math.exp(-damping * math.pi / root)
