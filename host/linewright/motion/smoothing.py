"""Smoothing settings of a rig: impulses against its vibrations, and accelerations limited by its stiffness.

An axis of circular frequency ``w = 2 pi f`` under a constant acceleration ``a`` lags by ``a / w^2``; after a sudden
step of acceleration it swings about that by the same amount.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from linewright.motion import impulses
from linewright.motion.impulses import Impulses
from linewright.motion.kinematics import Floats, Limits

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

TURN_SHARE: Final = 0.5
"""``mu`` if nothing else limits turning: it leaves 0.71 of an axis for acceleration along the path."""

OVERSHOOT: Final = 1.25
"""Deflection of an axis where a turn begins while the pen accelerates smoothly, relative to a steady turn of the same
acceleration. A sudden turn would give 2; measured on the curves of bench/smoothness.py."""


@dataclass(frozen=True)
class MotionSmoothing:
    """Smoothing settings.

    Parameters
    ----------
    jerk_mm_s3 : limit of jerk along the path; 0: none.
    shaper : kind of impulses used against the vibrations.
    frequency_hz, damping : natural frequency and damping ratio of the vibration along x and y; frequency 0: unknown.
    swing_mm : swing of an axis that one turn of the path may cause.
    """

    jerk_mm_s3: float
    shaper: Literal["none", "zv", "zvd"]
    frequency_hz: tuple[float, float]
    damping: tuple[float, float]
    swing_mm: float

    @classmethod
    def from_rig(cls, rig: Rig) -> MotionSmoothing | None:
        """Smoothing of a rig file; None if it has none."""
        asked = rig.smoothing
        shaper = "none" if asked.shaper == "tip" else asked.shaper
        if not asked.jerk_mm_s3 and shaper == "none":
            return None
        return cls(
            asked.jerk_mm_s3,
            shaper,
            (asked.x_hz, asked.y_hz),
            (asked.x_damping, asked.y_damping),
            asked.swing_mm,
        )

    def impulses(self, accel_mm_s2: float, axes: tuple[bool, bool]) -> Impulses:
        """Impulses for motion along some axes with accelerations up to ``accel_mm_s2``."""
        found = impulses.none()
        if self.jerk_mm_s3:
            found = found.then(impulses.bounded_jerk(self.jerk_mm_s3, accel_mm_s2))
        made: set[tuple[float, float]] = set()
        for frequency, damping, moves in zip(self.frequency_hz, self.damping, axes, strict=True):
            if not frequency or not moves or self.shaper == "none" or (frequency, damping) in made:
                continue
            make = impulses.zero_vibration if self.shaper == "zv" else impulses.zero_vibration_derivative
            found = found.then(make(frequency, damping))
            made.add((frequency, damping))
        return found

    def compliance(self) -> Floats:
        """(2,) float64: static deflection of each axis, mm per mm/s^2, ``1 / w^2``; 0 where the frequency is
        unknown.
        """
        hz = np.array([frequency or np.inf for frequency in self.frequency_hz])
        return np.asarray((2.0 * np.pi * hz) ** -2.0)

    def turn_share(self, limits: Limits) -> float:
        """``mu``: share of the weaker axis' acceleration available for turning.

        A steady turn at acceleration ``a`` deflects an axis of circular frequency ``w`` by ``a / w^2``.
        """
        bend_mm = OVERSHOOT * float(self.compliance().max() * limits.accel_mm_s2.min())
        return TURN_SHARE if bend_mm * TURN_SHARE <= self.swing_mm else self.swing_mm / bend_mm

    def curved_accel(self, curvature: Floats) -> Floats:
        """(n,) mm/s^2 allowed along paths of curvature ``curvature`` (n,) 1/mm.

        Two impulses half a period ``T = pi / w`` apart cancel only if they push in the same direction. By then the path
        has turned by ``k a T^2 / 2`` at most, so that part of the swing ``a / w^2`` remains. It is limited to half of
        ``swing_mm``; so is the swing without any cancelling, at ``a = swing_mm w^2 / 2``.
        """
        softest = float(self.compliance().max())
        if not softest:
            return np.full(len(curvature), np.inf)
        cancelled = np.sqrt(self.swing_mm / np.maximum(curvature, 1e-12)) / (math.pi * softest)
        return np.asarray(np.maximum(cancelled, self.swing_mm / 2.0 / softest))

    def straight_accel(self, direction: Floats) -> Floats:
        """(n,) mm/s^2 along unit directions (n, 2) that deflects the pen sideways from a straight line by ``swing_mm``
        at most.

        Axes of different stiffness lag differently, so the pen leaves the line by ``a |u_x u_y|`` times the difference
        of ``1 / w^2``.
        """
        compliance = self.compliance()
        aside = np.abs(direction[:, 0] * direction[:, 1]) * abs(compliance[0] - compliance[1])
        return np.asarray(self.swing_mm / np.maximum(aside, 1e-12))
