"""How fast a corner may be taken, and what turning leaves for speeding up.

A machine of finite acceleration turns on an arc. At a vertex with turning angle ``phi`` between segments of length
``d``, the arc tangent to both whose middle passes ``delta`` from the vertex has the radius
``R = delta cos(phi/2) / (1 - cos(phi/2))``. Its tangents, ``R tan(phi/2)``, must fit: no longer than half of either
segment. The acceleration points along the bisector, and what that direction allows holds: ``v^2 = a R``. So a finely
divided circle obeys ``v^2 = a r``, and a reversal is a stop.

While it turns, an axis has less left for speeding up or slowing down. `Corners` says on which part of a segment, and by
how much, so that no axis is asked for both at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.motion.kinematics import Flags, Floats, Limits

STRAIGHT: Final = 1e-12
"""Half a turning angle (rad) below which a vertex lies on a straight, or is a reversal: coordinates of float64 that
were scaled and turned leave 1e-16 of a few hundred mm, on segments of a hundredth of a step and more."""


@dataclass(frozen=True, eq=False)
class Corners:
    """Caps and arcs of a polyline with n vertices.

    Parameters
    ----------
    cap_mm2_s2 : (n,) float64, squared speed that each vertex' own corner allows; ``inf`` where the path goes straight
        on, 0 at rests and reversals.
    turn_rad : (n,) float64, turning angle, 0..pi; 0 at rests.
    normal : (n, 2) float64, unit vector towards the inside of each corner; 0 where the path goes straight on and at
        rests.
    share : (n - 1, 2) float64, part of each segment that lies on the arc at its start, and at its end: 0..1/2 each.
    end_cap_mm2_s2 : (n - 1, 2) float64, squared speed allowed where those arcs end.
    bend : (n - 1, 2) float64, >= 0. Over such a part, ``d`` long, squared speed may grow from ``w`` to
        ``(w + 2 a d) / (1 + bend)``.
    """

    cap_mm2_s2: Floats
    turn_rad: Floats
    normal: Floats
    share: Floats
    end_cap_mm2_s2: Floats
    bend: Floats


def find_corners(points_mm: Floats, rest: Flags, drawing: Flags, limits: Limits) -> Corners:
    """Corner caps by junction deviation with the fit rule, and where turning takes part of the acceleration.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm. Neighbours that coincide must both be rests.
    rest : (n,) bool, the pen stands still here (ends of strokes and of the path).
    drawing : (n - 1,) bool, the pen is down along the segment.

    Notes
    -----
    Half-angle terms come from the chords of the unit vectors, ``sin(phi/2) = |u' - u| / 2`` and
    ``cos(phi/2) = |u' + u| / 2``, which keep their digits near straight-on and near reversal, where an arccos has none.

    On an arc of radius ``r`` the rest for speeding up is ``f(w) = min_i (a_i - |n_i| w / r) / |u_i|``, concave in
    ``w``. Its chord from ``f(0)`` to ``f(top)`` lies below it, ``top`` being the largest ``w`` allowed there; a budget
    linear in ``w`` turns the recurrence of the speed passes into ``w' = (w + 2 a d) / (1 + bend)``.
    """
    n = len(points_mm)
    step = np.diff(points_mm, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    u = step / np.where(length > 0.0, length, 1.0)[:, None]

    cap = np.where(rest, 0.0, np.inf)
    turn, normals = np.zeros(n), np.zeros((n, 2))
    share, bend = np.zeros((n - 1, 2)), np.zeros((n - 1, 2))
    end_cap = np.full((n - 1, 2), np.inf)

    at = np.flatnonzero(~rest[1:-1]) + 1
    bisector, mean = u[at] - u[at - 1], u[at] + u[at - 1]
    s = np.hypot(bisector[:, 0], bisector[:, 1]) / 2.0
    c = np.hypot(mean[:, 0], mean[:, 1]) / 2.0
    turn[at] = 2.0 * np.arctan2(s, c)

    bent = s > STRAIGHT
    at, s, c, bisector = at[bent], s[bent], c[bent], bisector[bent]
    normal = bisector / (2.0 * s)[:, None]
    # 1 - cos = sin^2 / (1 + cos) avoids the cancellation at small angles.
    normals[at] = normal
    passing = limits.junction_deviation_mm * c * (1.0 + c) / s**2
    fitting = np.minimum(length[at - 1], length[at]) / 2.0 * c / s
    radius = np.minimum(passing, fitting)
    cap[at] = limits.accel_along(normal) * radius

    turns = c > STRAIGHT  # the rest are reversals, without an arc
    at, normal, radius = at[turns], normal[turns], radius[turns]
    tangent = radius * s[turns] / c[turns]
    for side, segment in ((0, at), (1, at - 1)):
        share[segment, side] = np.minimum(tangent / length[segment], 0.5)
        top = np.minimum(cap[at], limits.speed_along(u[segment], drawing[segment]) ** 2)
        end_cap[segment, side] = top
        alone = limits.accel_along(u[segment])
        left = limits.accel_left(u[segment], (top / radius)[:, None] * normal)
        bend[segment, side] = 2.0 * share[segment, side] * length[segment] * np.maximum(alone - left, 0.0) / top
    return Corners(cap, turn, normals, share, end_cap, bend)
