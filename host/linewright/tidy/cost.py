"""Cost of pen-up moves: length, or time on a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points

if TYPE_CHECKING:
    from linewright.rig.rig import Rig


@dataclass(frozen=True)
class Cost:
    """Cost of a straight move from rest to rest.

    Along (dx, dy) of length L the rig allows the speed ``v`` and the acceleration ``a`` (`motion.kinematics`). With ``p
    = L / v`` and ``q = L / a`` the move takes ``2 sqrt(q)`` if it does not reach full speed (``q >= p^2``), and ``p + q
    / p`` otherwise (trapezoidal profile). The slowest axis or motor counts: ``p = max(|dx| / v_x, |dy| / v_y, steps of
    A / rate of A, steps of B / rate of B)``, ``q = max(|dx| / a_x, |dy| / a_y)``. Lifting and lowering are not
    included, because their number does not depend on the order.

    Parameters
    ----------
    slowness_s_mm : of x and y, 1 / top speed.
    motor_slowness_s_mm : for A, then B: seconds at the highest step rate per mm along x and along y.
    inverse_accel_s2_mm : of x and y.
    by_length : the cost is the length in mm.
    """

    slowness_s_mm: tuple[float, float] = (0.0, 0.0)
    motor_slowness_s_mm: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    inverse_accel_s2_mm: tuple[float, float] = (0.0, 0.0)
    by_length: bool = True

    @classmethod
    def of_rig(cls, rig: Rig) -> Cost:
        """Cost in seconds on this rig."""
        matrix = rig.kinematics_matrix / np.array([[rig.a.step_rate_hz], [rig.b.step_rate_hz]])
        return cls(
            (1.0 / rig.x.speed_mm_s, 1.0 / rig.y.speed_mm_s),
            tuple(matrix.ravel().tolist()),
            (1.0 / rig.x.accel_mm_s2, 1.0 / rig.y.accel_mm_s2),
            by_length=False,
        )

    @property
    def figures(self) -> NDArray[np.float64]:
        """(9,) float64 for `tour_kernel.cost`: slowness x, y; motor A, then B; 1 / a of x, y; by length or not."""
        return np.array(
            [*self.slowness_s_mm, *self.motor_slowness_s_mm, *self.inverse_accel_s2_mm, float(self.by_length)]
        )

    def of(self, moves_mm: Points) -> NDArray[np.float64]:
        """(n,) cost of moves (n, 2), mm: seconds, or mm with ``by_length``."""
        dx, dy = moves_mm[:, 0], moves_mm[:, 1]
        if self.by_length:
            return np.sqrt(dx * dx + dy * dy)
        vx, vy = self.slowness_s_mm
        ax, ay, bx, by = self.motor_slowness_s_mm
        qx, qy = self.inverse_accel_s2_mm
        x, y = np.abs(dx), np.abs(dy)
        p = np.maximum(np.maximum(x * vx, y * vy), np.maximum(np.abs(dx * ax + dy * ay), np.abs(dx * bx + dy * by)))
        q = np.maximum(x * qx, y * qy)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(q >= p * p, 2.0 * np.sqrt(q), p + q / p)


BY_LENGTH: Final = Cost()
"""Cost by length, for any machine."""
