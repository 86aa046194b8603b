"""How smooth a rig's motion has to be: which impulses answer its vibrations, and what accelerations bend it too far.

An axis of circular frequency ``w = 2 pi f`` that is pushed by a steady acceleration ``a`` lags by ``a / w^2``; one that
is pushed at once swings as far about that.
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
"""``mu`` where nothing else limits turning: it leaves 0.71 of an axis for speeding up."""

OVERSHOOT: Final = 1.25
"""How much further than a steady turn of the same acceleration a turn bends an axis that begins to turn while the pen
speeds up smoothly. A turn that began at once would bend it twice as far; seen on the curves of bench/smoothness.py."""


@dataclass(frozen=True)
class MotionSmoothing:
    """How smooth the motion has to be.

    Parameters
    ----------
    jerk_mm_s3 : most that the acceleration along the path may change per second; 0: any.
    shaper : which impulses answer the frequencies.
    frequency_hz, damping : natural frequency and damping ratio of the vibration along x and y; frequency 0: unknown.
    swing_mm : how far one turn of the path may make an axis swing.
    """

    jerk_mm_s3: float
    shaper: Literal["none", "zv", "zvd"]
    frequency_hz: tuple[float, float]
    damping: tuple[float, float]
    swing_mm: float

    @classmethod
    def from_rig(cls, rig: Rig) -> MotionSmoothing | None:
        """What the rig file asks for; None: nothing."""
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
        """The impulses for motion along some axes that speeds up at ``accel_mm_s2`` at most."""
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
        """(2,) float64: by how many mm each axis bends per mm/s^2 at rest, ``1 / w^2``; 0 where nothing is known."""
        hz = np.array([frequency or np.inf for frequency in self.frequency_hz])
        return np.asarray((2.0 * np.pi * hz) ** -2.0)

    def turn_share(self, limits: Limits) -> float:
        """``mu``: share of the weaker axis' acceleration that turning may take.

        A steady turn at acceleration ``a`` bends an axis of circular frequency ``w`` out by ``a / w^2``.
        """
        bend_mm = OVERSHOOT * float(self.compliance().max() * limits.accel_mm_s2.min())
        return TURN_SHARE if bend_mm * TURN_SHARE <= self.swing_mm else self.swing_mm / bend_mm

    def curved_accel(self, curvature: Floats) -> Floats:
        """(n,) mm/s^2 along paths that turn by ``curvature`` (n,) 1/mm.

        Two impulses half a period ``T = pi / w`` apart cancel only if they push the same way; by then the path has
        turned by ``k a T^2 / 2`` at most, so that part of the swing ``a / w^2`` is left. It stays within half of
        ``swing_mm``, as does what is not cancelled at all at ``a = swing_mm w^2 / 2``.
        """
        softest = float(self.compliance().max())
        if not softest:
            return np.full(len(curvature), np.inf)
        cancelled = np.sqrt(self.swing_mm / np.maximum(curvature, 1e-12)) / (math.pi * softest)
        return np.asarray(np.maximum(cancelled, self.swing_mm / 2.0 / softest))

    def straight_accel(self, direction: Floats) -> Floats:
        """(n,) mm/s^2 along unit directions (n, 2) that bend the pen off a straight line by ``swing_mm`` at most.

        Axes of unlike stiffness lag unequally, so the pen leaves the line sideways, by ``a |u_x u_y|`` times the
        difference of ``1 / w^2``.
        """
        compliance = self.compliance()
        aside = np.abs(direction[:, 0] * direction[:, 1]) * abs(compliance[0] - compliance[1])
        return np.asarray(self.swing_mm / np.maximum(aside, 1e-12))
