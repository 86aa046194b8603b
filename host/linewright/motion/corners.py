"""Speed limits at corners, and the acceleration that is left along the path while it turns.

A machine of finite acceleration cannot turn in no time. At a vertex with turning angle ``phi`` between segments of
length ``d`` the velocity ``v`` changes by ``dv = 2 v sin(phi/2)`` along the bisector, which takes the time ``dv / a``
with ``a`` the acceleration allowed in that direction: the pen leaves one segment ``v dv / 2a`` before the vertex,
passes it on a parabola at ``dv^2 / 8a``, and joins the other at the same distance behind it. That distance must not
exceed the junction deviation ``delta``, and each end of the parabola must fit into half of its segment. Both together
are

    ``v^2 = a R``,  ``R = min(2 delta / sin^2(phi/2), d / (2 sin(phi/2)))``.

So a finely divided circle obeys ``v^2 = a r``, the centripetal acceleration. A circular arc tangent to both segments,
which passes ``delta`` from the vertex, would allow ``cos(phi/2) (1 + cos(phi/2)) / 2`` of that: nearly the same at
small angles, 0.6 of it at right angles, and a stop at a reversal.

While an axis turns, less of its acceleration is left along the path. `Corners` gives the part of each segment on which
this holds, and how much is left, so that no axis exceeds its limit.

**Hairpins.** Where the pen slows down to a corner and speeds up behind it, an axis that reverses accelerates in the
same direction before, at and after the corner. The turn of a lone hairpin takes ``h = sqrt(8 delta / a)`` at the limit.
In the window from ``h`` before to ``h`` after the corner, such an axis moves by ``dv h`` plus its acceleration outside
the turn. The corner speed is lowered, with the duration of the turn kept, until that is at most `BRAKING` times ``a
h^2``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.motion.kinematics import Flags, Floats, Limits

STRAIGHT: Final = 1e-12
"""Half the turning angle, rad, below which a vertex counts as straight: rounding of scaled and rotated float64
coordinates of a few hundred mm, on segments of a hundredth of a step and more."""

ALIKE: Final = 1e-6
"""Squared speeds that differ by less than this share are treated as equal, and the lower remaining acceleration is used
for both."""

BRAKING: Final = 1.03
"""Largest acceleration of an axis over the turn of a hairpin, braking included, in multiples of its limit. The checks
allow 1.05."""

HALVINGS: Final = 10
"""Bisections of a hairpin's speed: to a thousandth, rounded down."""


@dataclass(frozen=True, eq=False)
class Corners:
    """Speed limits and turns at the n vertices of a polyline.

    Parameters
    ----------
    cap_mm2_s2 : (n,) float64, squared speed allowed by the corner at each vertex; ``inf`` on straights, 0 at rests.
    turn_rad : (n,) float64, turning angle, 0..pi; 0 at rests.
    normal : (n, 2) float64, unit vector towards the inside of each corner; 0 on straights and at rests.
    radius_mm : (n,) float64, ``R`` above; 0 where the path goes straight on and at rests.
    share : (n - 1, 2) float64, part of each segment that lies on the turn at its start, and at its end: 0..1/2 each.
    end_cap_mm2_s2 : (n - 1, 2) float64, squared speed allowed where those turns end.
    hairpin : (n,) bool, the corner is slowed down because of the braking around it; its whole turn has to be kept.
    """

    cap_mm2_s2: Floats
    turn_rad: Floats
    normal: Floats
    radius_mm: Floats
    share: Floats
    end_cap_mm2_s2: Floats
    hairpin: Flags

    def gentler(self, gentle: Floats) -> Corners:
        """The same corners with accelerations multiplied by ``gentle`` (n - 1,), one factor per segment."""
        return self.calmer(np.minimum(np.append(gentle, np.inf), np.append(np.inf, gentle)))

    def calmer(self, calm: Floats) -> Corners:
        """The same corners with squared speeds multiplied by ``calm`` (n,)."""
        cap = np.where(np.isfinite(self.cap_mm2_s2), self.cap_mm2_s2 * calm, self.cap_mm2_s2)
        ends = np.minimum(self.end_cap_mm2_s2, np.stack((cap[:-1], cap[1:]), axis=1))
        ends = np.where(self.share > 0.0, ends, self.end_cap_mm2_s2)
        return replace(self, cap_mm2_s2=cap, end_cap_mm2_s2=ends)

    def braked(self, points_mm: Floats, limits: Limits) -> Corners:
        """The same corners of the path ``points_mm`` (n, 2), with hairpins slowed down for braking."""
        step = np.diff(points_mm, axis=0)
        length = np.hypot(step[:, 0], step[:, 1])
        at = np.flatnonzero(self.radius_mm)
        u_in, u_out = step[at - 1] / length[at - 1, None], step[at] / length[at, None]
        a, normal = limits.accel_mm_s2, self.normal[at]
        window = np.sqrt(8.0 * limits.junction_deviation_mm / a)
        sense = np.sign(normal)
        before = limits.accel_along(u_in)[:, None] * (-u_in * sense).clip(0.0)
        after = limits.accel_along(u_out)[:, None] * (u_out * sense).clip(0.0)
        push = (before + after) / 2.0
        v = np.sqrt(self.cap_mm2_s2[at])
        kick = (2.0 * v * np.sin(self.turn_rad[at] / 2.0))[:, None] * np.abs(normal)
        takes = (self.share[at, 0] * length[at] / v)[:, None]

        def over(slow: Floats, which: Flags) -> Flags:
            outside = (window - takes[which] / slow[:, None]).clip(0.0)
            moved = slow[:, None] * kick[which] * window + push[which] * outside**2
            return np.asarray((moved > BRAKING * a * window**2).any(axis=1))

        slow = np.ones(len(at))
        which = over(slow, slow > 0.0)
        low, high = np.zeros(int(which.sum())), np.ones(int(which.sum()))
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            much = over(middle, which)
            low, high = np.where(much, low, middle), np.where(much, middle, high)
        slow[which] = low
        calm = np.ones(len(points_mm))
        calm[at] = slow**2
        return replace(self.calmer(calm), radius_mm=self.radius_mm * calm, hairpin=calm < 1.0)

    def bends(self, u: Floats, length: Floats, least: Floats, most: Floats, limits: Limits) -> tuple[Floats, Floats]:
        """Acceleration left along the path on the turns at each segment's start and end.

        Over such a part of length ``d``, squared speed may grow from ``w`` to ``(w + 2 a d) / (1 + bend)``.

        Parameters
        ----------
        u, length : (n - 1, 2) and (n - 1,) float64, unit directions and lengths of the segments, mm.
        least, most : (n - 1, 2) float64, bounds of the squared speed at the faster end of those parts.

        Returns
        -------
        accel, bend : (n - 1, 2) float64, ``a`` in mm/s^2, and ``bend`` >= 0.

        Notes
        -----
        Turning takes ``w / R`` along the bisector ``n``, so ``f(w) = min_i (a_i - |n_i| w / R) / |u_i|`` is left, which
        is concave in ``w``. Its chord from ``f(least)`` to ``f(most)`` lies below it; a budget linear in ``w`` turns
        the recurrence of the speed passes into ``w' = (w + 2 a d) / (1 + bend)``. With ``least = 0``, ``a`` is that of
        the straight.
        """
        bend, accel = np.zeros((len(length), 2)), np.zeros((len(length), 2))
        at = np.flatnonzero(self.radius_mm)
        for side, segment in ((0, at), (1, at - 1)):
            low, high = least[segment, side], most[segment, side]
            spread = high - low
            per_w = self.normal[at] / self.radius_mm[at][:, None]
            slow = limits.accel_left(u[segment], low[:, None] * per_w)
            fast = limits.accel_left(u[segment], high[:, None] * per_w)
            wide = spread > ALIKE * high
            slope = np.where(wide, (slow - fast) / np.where(wide, spread, 1.0), 0.0).clip(0.0)
            accel[segment, side] = np.where(wide, slow + slope * low, fast)
            bend[segment, side] = 2.0 * self.share[segment, side] * length[segment] * slope
        return accel, bend


def find_corners(points_mm: Floats, rest: Flags, drawing: Flags, limits: Limits) -> Corners:
    """Speed limits at corners by junction deviation and by the lengths of the segments, and where the turns lie.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm. Neighbours that coincide must both be rests.
    rest : (n,) bool, the pen stops here (ends of strokes and of the path).
    drawing : (n - 1,) bool, the pen is down along the segment.

    Notes
    -----
    The half-angle terms come from the chords of the unit vectors, ``sin(phi/2) = |u' - u| / 2`` and ``cos(phi/2) =
    |u' + u| / 2``, which are accurate near 0 and pi, where an arccos is not.
    """
    n = len(points_mm)
    step = np.diff(points_mm, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    u = step / np.where(length > 0.0, length, 1.0)[:, None]

    cap = np.where(rest, 0.0, np.inf)
    turn, normals, radii = np.zeros(n), np.zeros((n, 2)), np.zeros(n)
    share = np.zeros((n - 1, 2))
    end_cap = np.full((n - 1, 2), np.inf)

    at = np.flatnonzero(~rest[1:-1]) + 1
    bisector, mean = u[at] - u[at - 1], u[at] + u[at - 1]
    s = np.hypot(bisector[:, 0], bisector[:, 1]) / 2.0
    c = np.hypot(mean[:, 0], mean[:, 1]) / 2.0
    turn[at] = 2.0 * np.arctan2(s, c)

    bent = s > STRAIGHT
    at, s, bisector = at[bent], s[bent], bisector[bent]
    normals[at] = bisector / (2.0 * s)[:, None]
    passing = 2.0 * limits.junction_deviation_mm / s**2
    fitting = np.minimum(length[at - 1], length[at]) / (2.0 * s)
    radii[at] = np.minimum(passing, fitting)
    cap[at] = limits.accel_along(normals[at]) * radii[at]

    reach = radii[at] * s
    for side, segment in ((0, at), (1, at - 1)):
        share[segment, side] = np.minimum(reach / length[segment], 0.5)
        end_cap[segment, side] = np.minimum(cap[at], limits.speed_along(u[segment], drawing[segment]) ** 2)
    return Corners(cap, turn, normals, radii, share, end_cap, np.zeros(n, dtype=np.bool_))
