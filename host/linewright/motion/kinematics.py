"""Conversion between millimetres and motor steps, and limits along a direction of motion.

There are three kinds of speed limits. The rig file limits each *axis* (mm/s along x, along y), the pen (mm/s along the
path) and each *motor* (steps/s). The board counts path speed in *motor step space*, steps/s along ``(da, db)``. Along a
fixed direction each limit is proportional to the speed, so they combine to one: ``v = 1 / max_i(|u_i| / v_i)``. Zero
components impose no limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lineboard.kernel import MAX_SPEED
from linewright.errors import PlanError
from linewright.rig.boards import BOARDS

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

Floats = NDArray[np.float64]
Steps = NDArray[np.int64]
Flags = NDArray[np.bool_]

ROUNDING_GUARD: Final = 1.0 - 2.0**-40
"""Limits of whole-step ramps are lowered by 1e-12. The few float64 operations behind them have a relative error below
1e-14, so a comparison in floats also holds in exact arithmetic."""


@dataclass(frozen=True, eq=False)
class Limits:
    """Limits of the machine.

    Parameters
    ----------
    steps_matrix : (2, 2) float64, steps/mm: motor position = ``steps_matrix @ machine position``.
    speed_mm_s, accel_mm_s2 : (2,) float64, per axis x, y.
    step_rate_hz : (2,) float64, steps/s per motor A, B.
    pen_down_speed_mm_s : along the path, while drawing.
    junction_deviation_mm : distance between a corner and the curve that replaces it in the speed model.
    ramps_hz : ramps per second that the board can process.
    """

    steps_matrix: Floats
    speed_mm_s: Floats
    accel_mm_s2: Floats
    step_rate_hz: Floats
    pen_down_speed_mm_s: float
    junction_deviation_mm: float
    ramps_hz: float = np.inf

    def __post_init__(self) -> None:
        figures = (
            self.speed_mm_s,
            self.accel_mm_s2,
            self.step_rate_hz,
            np.array([self.pen_down_speed_mm_s, self.junction_deviation_mm]),
        )
        if not all(np.all(np.isfinite(f) & (f > 0)) for f in figures):
            raise PlanError("every limit of speed, acceleration, step rate and corner must be a positive number")
        if not np.all(np.isfinite(self.steps_matrix)) or abs(np.linalg.det(self.steps_matrix)) < np.finfo(float).tiny:
            raise PlanError(
                f"the steps per mm {self.steps_matrix.tolist()} are not an invertible matrix",
                hint="check belt pitch, pulley teeth, motor steps and microsteps in the rig file",
            )

    @classmethod
    def from_rig(cls, rig: Rig) -> Limits:
        """The limits of a rig file."""
        # With a scale correction, a millimetre on paper takes more belt or less; the limits hold for both.
        tighter = np.minimum(rig.scale, 1.0)
        return cls(
            steps_matrix=rig.kinematics_matrix,
            speed_mm_s=np.array([rig.x.speed_mm_s, rig.y.speed_mm_s], dtype=np.float64) * tighter,
            accel_mm_s2=np.array([rig.x.accel_mm_s2, rig.y.accel_mm_s2], dtype=np.float64) * tighter,
            step_rate_hz=np.array([rig.a.step_rate_hz, rig.b.step_rate_hz], dtype=np.float64),
            pen_down_speed_mm_s=rig.motion.pen_down_speed_mm_s * float(tighter.min()) / rig.shape.stretch,
            junction_deviation_mm=rig.motion.junction_deviation_mm * float(tighter.min()),
            ramps_hz=BOARDS[rig.board].ramps_hz,
        )

    def steps_at(self, points_mm: Floats) -> Floats:
        """(n, 2) float64, motor steps (not rounded) of machine positions (n, 2) in mm."""
        return _turned(points_mm, self.steps_matrix)

    def mm_at(self, steps: NDArray[np.number]) -> Floats:
        """(n, 2) float64, machine positions in mm of motor positions (n, 2) in steps."""
        return _turned(steps, np.asarray(np.linalg.inv(self.steps_matrix), dtype=np.float64))

    def steps_per_mm_along(self, direction: Floats) -> Floats:
        """(n,) steps of path in motor step space per mm of path, along unit directions (n, 2)."""
        return _length(self.steps_at(direction))

    def speed_along(self, direction: Floats, drawing: Flags) -> Floats:
        """(n,) mm/s: highest speed that axes, motors and (where ``drawing``) the pen allow along unit directions (n,
        2).

        ``inf`` for a zero vector.
        """
        slowness = _worst(direction, self.speed_mm_s)
        slowness = np.maximum(slowness, _worst(self.steps_at(direction), self.step_rate_hz))
        slowness = np.maximum(slowness, np.where(drawing, _length(direction) / self.pen_down_speed_mm_s, 0.0))
        slowness = np.maximum(slowness, self.steps_per_mm_along(direction) / MAX_SPEED)
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / slowness)

    def accel_along(self, direction: Floats) -> Floats:
        """(n,) mm/s^2 that the axes allow along unit directions (n, 2); ``inf`` for a zero vector."""
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / _worst(direction, self.accel_mm_s2))

    def accel_left(self, direction: Floats, across: Floats) -> Floats:
        """(n,) mm/s^2 left along unit directions (n, 2) while the axes already have accelerations ``across`` (n, 2),
        mm/s^2.

        Both may act in the same direction, so each axis has ``a_i - |across_i|`` left, at least 0.
        """
        spare = np.maximum(self.accel_mm_s2 - np.abs(across), 0.0)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            left = np.where(direction != 0.0, spare / np.abs(direction), np.inf)
        return np.asarray(left.min(axis=1))

    def ramp_speed(self, d_steps: Steps, drawing: Flags) -> Floats:
        """(m,) steps/s in motor step space: highest speed allowed along whole-step displacements (m, 2), none zero.

        The motor with fewer steps makes them together with steps of the other one (Bresenham's algorithm), ``most //
        fewer`` of these apart or one more; the first comes after half as many and one. Its driver must accept that
        interval, too.
        """
        d_mm = self.mm_at(d_steps)
        time_s = np.maximum(_worst(d_mm, self.speed_mm_s), _worst(d_steps, self.step_rate_hz))
        time_s = np.maximum(time_s, np.where(drawing, _length(d_mm) / self.pen_down_speed_mm_s, 0.0))
        size = np.abs(d_steps)
        most, fewer = size.max(axis=1), size.min(axis=1)
        apart = np.minimum(most // np.maximum(fewer, 1), (most >> 1) // np.maximum(fewer, 1) + 1)
        rides_hz = self.step_rate_hz[np.argmin(size, axis=1)]
        time_s = np.maximum(time_s, np.where(fewer > 0, most / (np.maximum(apart, 1) * rides_hz), 0.0))
        length = _length(d_steps)
        return np.asarray(np.minimum(length / time_s, MAX_SPEED) * ROUNDING_GUARD)

    def ramp_budget(self, d_steps: Steps) -> Floats:
        """(m,) (steps/s)^2: largest change of squared speed over whole-step displacements (m, 2), none zero.

        ``2 a d`` with the acceleration of that direction, in motor step space.
        """
        squared_length = np.sum(d_steps.astype(np.float64) ** 2, axis=1)
        return np.asarray(2.0 * squared_length / _worst(self.mm_at(d_steps), self.accel_mm_s2) * ROUNDING_GUARD)


def _turned(vectors: NDArray[np.number], matrix: Floats) -> Floats:
    """(n, 2) ``matrix`` (2, 2) times each vector (n, 2). Computed by columns, four times as fast as a matrix
    product.
    """
    out = np.empty((len(vectors), 2))
    for i in (0, 1):
        out[:, i] = matrix[i, 0] * vectors[:, 0] + matrix[i, 1] * vectors[:, 1]
    return out


def _worst(components: NDArray[np.number], limits: Floats) -> Floats:
    """(n,) largest ratio of a component (n, 2) to its limit (2,)."""
    return np.asarray(np.maximum(np.abs(components[:, 0]) / limits[0], np.abs(components[:, 1]) / limits[1]))


def _length(vectors: NDArray[np.number]) -> Floats:
    """(n,) Euclidean length of vectors (n, 2)."""
    return np.asarray(np.hypot(vectors[:, 0], vectors[:, 1]), dtype=np.float64)
