"""Weighted averages in time that smooth a motion, and the motor motion of an elastic machine that follows from them.

A motion ``q(t)`` planned for a stiff machine is averaged in time: ``y = K * q``, with the same weights ``K`` for both
axes, so that straight lines stay straight. An axis of circular frequency ``w`` and damping ratio ``z`` follows ``y``
exactly if its motor does ``x = y + (2 z / w) y' + y'' / w^2`` (flatness of the damped oscillator: Fliess, Levine,
Martin and Rouchon, Int. J. Control 61, 1995; Lambrechts, Boerlage and Steinbuch, Control Engineering Practice 13,
2005). Both are linear, so ``x = H * q`` with weights ``H = K + (2 z / w) K' + K'' / w^2``, one set for each axis.

**Motors' limits.** With ``G`` the running sum of ``H``, a step of acceleration from 0 to ``a`` becomes ``a G(t)``, and
one from ``-a`` to ``a`` becomes ``a (2 G(t) - 1)``. Where ``0 <= G <= 1``, neither exceeds ``a``: steps of acceleration
further apart than the kernel's length need no additional acceleration.

**Three boxes.** A sudden change of velocity (a corner) needs an average that spreads it in time. Three boxes of the
same length ``T`` are a short one: ``G`` stays within 0..1 for ``w T >= 1.1``, so all three last 3.3 / w, half a period.

**Three impulses.** Between stops on a straight there are no corners. There the softer axis may follow the plan
convolved with three impulses ``1, -1, 1``, a sixth of a period apart without damping. They leave no vibration
(Singhose, Singer and Seering, "Time-optimal negative input shapers", ASME J. Dyn. Sys. Meas. Control 119, 1997), ``G``
is 1, 0, 1, and they last a third of a period. ``K`` is the response of that axis to them, and the stiffer axis gets the
matching ``H``.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.motion.kinematics import Floats

FINE: Final = 16
"""Cells per sampling period over which a kernel is averaged."""

OVER: Final = 1e-3
"""Tolerance of ``G`` above 1 and below 0: a thousandth of the acceleration."""

Pair = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Kernel:
    """Weights of one average in time.

    Parameters
    ----------
    name : for messages.
    tip : (m,) float64, sum 1: ``K``, one weight per sampling period.
    motor : two (m,) float64, sum 1: ``H`` of x and of y.
    pad : number of leading and of trailing weights that are 0.
    """

    name: str
    tip: Floats
    motor: tuple[Floats, Floats]
    pad: int = 0

    def padded(self, pad: int) -> Kernel:
        """The same with that many weights of 0 more at either end: the averaged motion stands before and after."""
        x, y = (np.pad(weights, pad) for weights in self.motor)
        return replace(self, tip=np.pad(self.tip, pad), motor=(x, y), pad=self.pad + pad)

    @property
    def mean(self) -> float:
        """Mean delay, sampling periods."""
        return float(self.tip @ np.arange(len(self.tip)))

    @classmethod
    def of(cls, name: str, tip: Floats, hz: Pair, damping: Pair, period_s: float) -> Kernel:
        """The kernel with given tip weights; frequency 0 means a stiff axis."""
        k = np.pad(tip, 1)
        ahead, behind = np.append(k[1:], 0.0), np.append(0.0, k[:-1])
        motor = []
        for f, z in zip(hz, damping, strict=True):
            if not f:
                motor.append(k)
                continue
            step = 2.0 * math.pi * f * period_s
            motor.append(k + z / step * (ahead - behind) + (ahead - 2.0 * k + behind) / step**2)
        return cls(name, k, (motor[0], motor[1]))

    def keeps_acceleration(self, axis: int) -> bool:
        """Whether ``G`` of an axis stays within 0..1."""
        g = np.cumsum(self.motor[axis])
        return bool(g.min() >= -OVER and g.max() <= 1.0 + OVER)


def three_boxes(hz: Pair, damping: Pair, period_s: float, longer: float = 1.0) -> Kernel:
    """The shortest three boxes that keep the accelerations of both axes, times ``longer``."""
    softest = min(f for f in hz if f)
    width = 1.0 / (2.0 * math.pi * softest)
    while not _boxes(width, hz, damping, period_s).keeps_acceleration(int(hz[1] == softest)):
        width *= 1.02
    return _boxes(width * longer, hz, damping, period_s)


def _boxes(width_s: float, hz: Pair, damping: Pair, period_s: float) -> Kernel:
    box = np.ones(max(round(FINE * width_s / period_s), 1))
    return Kernel.of("three boxes", _coarse(np.convolve(np.convolve(box, box), box)), hz, damping, period_s)


def three_impulses(axis: int, hz: Pair, damping: Pair, period_s: float) -> Kernel:
    """Kernel of three impulses on one axis, with the motion of the other axis that keeps the line straight."""
    f, z = hz[axis], damping[axis]
    omega = 2.0 * math.pi * f
    delay = _impulse_times(z)
    pole = complex(-z, math.sqrt(1.0 - z * z))
    fine_s = period_s / FINE
    t = (np.arange(math.ceil(delay[-1] / omega / fine_s) + 1) + 0.5) * fine_s * omega
    response = np.zeros(len(t))
    for share, late in zip((1.0, -1.0, 1.0), delay, strict=True):
        since = np.maximum(t - late, 0.0)
        response += share * np.exp(pole * since).imag
    response[t > delay[-1]] = 0.0
    return Kernel.of("three impulses", _coarse(response), hz, damping, period_s)


def _impulse_times(z: float) -> tuple[float, float, float]:
    """Times of impulses 1, -1, 1 after which an oscillator with ``w = 1`` and damping ratio ``z`` does not vibrate."""
    back = complex(z, -math.sqrt(1.0 - z * z))  # an impulse at t contributes exp(-l t), referred to time 0

    def left(t: Floats) -> Floats:
        value = 1.0 - cmath.exp(back * t[0]) + cmath.exp(back * t[1])
        return np.array([value.real, value.imag])

    times = np.array([math.pi / 3.0, 2.0 * math.pi / 3.0])
    for _ in range(20):
        slope = np.empty((2, 2))
        slope[:, 0] = [(-back * cmath.exp(back * times[0])).real, (-back * cmath.exp(back * times[0])).imag]
        slope[:, 1] = [(back * cmath.exp(back * times[1])).real, (back * cmath.exp(back * times[1])).imag]
        times = times - np.linalg.solve(slope, left(times))
    return 0.0, float(times[0]), float(times[1])


def _coarse(fine: Floats) -> Floats:
    """Weights per sampling period, sum 1, from finely sampled ones."""
    padded = np.pad(fine, (0, -len(fine) % FINE))
    sums = padded.reshape(-1, FINE).sum(axis=1)
    return np.asarray(sums / sums.sum())
