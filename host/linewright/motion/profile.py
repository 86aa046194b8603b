"""Speed plan of a path: squared speed at every vertex, and points at which segments are divided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.corners import Corners
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.speeds import plan_speeds

ALLOWANCE: Final = 1.05
"""Allowed short-term acceleration of an axis, in multiples of its limit: as in `simulation/pulse_checks.py`."""

JOLT_SHARE: Final = 0.8
"""Allowed deviation of an axis beyond its limits at a lone corner, in junction deviations. The pulse checks allow four
for the three corners that one of their windows may contain."""

LEFT_OUT_SHARE: Final = 0.3
"""The same where the end of a turn is not a point of the plan. Together 1.1 at one corner, 3.3 at three."""

ROUNDS: Final = 2
"""Iterations of the plan; each uses the speeds of the one before to compute the acceleration left on turns. The second
gains 1 % on curves, a third next to nothing."""

SLIVER: Final = 1e-9
"""Parts of a segment below this share of it are rounding noise."""

_NEXT_TO_NOTHING: Final = 1e-200
"""Replaces 0 in denominators: far below any speed, yet any limit divided by it stays finite."""


@dataclass(frozen=True, eq=False)
class SpeedPlan:
    """Squared speeds along a path, travel moves included.

    Parameters
    ----------
    place : (p,) float64, ascending: points of the plan as index into the path's vertices; a fraction is a share of the
    segment after the index. Every vertex is among them.
    w_mm2_s2 : (p,) float64, squared speed at each point.
    free : (p - 1,) float64, share of the piece after each point that belongs to no turn.
    firm : (p,) bool, the point must be kept, however near its neighbours are.
    """

    place: Floats
    w_mm2_s2: Floats
    free: Floats
    firm: Flags


def plan_profile(
    points_mm: Floats, drawing: Flags, corners: Corners, limits: Limits, gentle: Floats | None = None
) -> SpeedPlan:
    """Fastest speeds along a path within all limits.

    Each segment has up to three parts: the end of the turn before it, the straight, the start of the turn after it. The
    ends of the straight become points of the plan only where the speed there matters.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm, n >= 2.
    drawing : (n - 1,) bool, the pen is down along the segment.
    corners : of the same path; its caps are 0 where the pen stops.
    gentle : (n - 1,) float64, share of its acceleration that each segment may use, above 0; None: 1.
    """
    n = len(points_mm)
    share_of_accel = np.ones(n - 1) if gentle is None else gentle
    if gentle is not None:
        corners = corners.gentler(gentle)
    step = np.diff(points_mm, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    u = step / np.where(length > 0.0, length, 1.0)[:, None]
    with np.errstate(invalid="ignore"):
        budget = np.where(length > 0.0, 2.0 * limits.accel_along(u) * length * share_of_accel, 0.0)
    top = np.minimum(limits.speed_along(u, drawing) ** 2, 1e15)  # segments of no length lie between rests

    # Without regard to turns; no plan is faster than this.
    bound = plan_speeds(_vertex_caps(corners, top), budget)
    kept_share = _kept_turns(length, u, budget, top, bound, corners, limits)
    most = np.stack((bound[:-1], bound[1:]), axis=1) + corners.share * budget[:, None]
    most = np.minimum(most, corners.end_cap_mm2_s2)
    arcs = corners.share * kept_share
    share = np.stack((arcs[:, 0], 1.0 - arcs.sum(axis=1), arcs[:, 1]), axis=1)
    share[:, 1] = np.where(share[:, 1] > SLIVER, share[:, 1], 0.0)
    share[(share == 0.0).all(axis=1), 1] = 1.0
    there = share > 0.0
    # Squared speed limit at the end of each part; the last part of a segment ends at its vertex.
    early, late = corners.end_cap_mm2_s2.T
    cap = np.stack((np.where(there[:, 1], early, np.minimum(early, late)), late, corners.cap_mm2_s2[1:]), axis=1)
    cap[:, 1] = np.where(there[:, 2], cap[:, 1], corners.cap_mm2_s2[1:])
    cap[:, 0] = np.where(there[:, 1] | there[:, 2], cap[:, 0], corners.cap_mm2_s2[1:])
    cap = np.minimum(cap, top[:, None])
    # A vertex is also limited by the segment after it.
    last = 2 - np.argmax(there[:, ::-1], axis=1)
    row = np.arange(n - 1)
    cap[row[:-1], last[:-1]] = np.minimum(cap[row[:-1], last[:-1]], top[1:])

    flat = there.ravel()
    w_cap = np.concatenate(([min(corners.cap_mm2_s2[0], top[0])], cap.ravel()[flat]))
    highest = np.maximum(np.maximum(w_cap[1:], w_cap[:-1]), _NEXT_TO_NOTHING)
    least = np.zeros((n - 1, 2))
    # The first plan is valid for any speed. The second is faster and must be valid only for speeds from there up.
    for _ in range(ROUNDS):
        # Squared speeds and accelerations reduced by the same factor leave the geometry of the turns unchanged.
        per_share = share_of_accel[:, None]
        left, bends = corners.bends(u, length, least / per_share, most / per_share, limits)
        left *= per_share
        part_budget, part_bend = share * budget[:, None], np.zeros((n - 1, 3))
        part_budget[:, ::2] = np.where(arcs > 0.0, 2.0 * arcs * length[:, None] * left, part_budget[:, ::2])
        part_bend[:, ::2] = kept_share * bends
        allowed = part_budget.ravel()[flat]
        w = plan_speeds(w_cap, allowed, np.minimum(part_bend.ravel()[flat], allowed / highest))
        faster_end = np.zeros((n - 1, 3))
        faster_end[there] = np.maximum(w[1:], w[:-1])
        least = np.minimum(faster_end[:, ::2], most)

    owner = np.repeat(row, there.sum(axis=1))
    fraction = np.where(last[owner] == np.tile([0, 1, 2], n - 1)[flat], 1.0, np.cumsum(share, axis=1).ravel()[flat])
    place = np.concatenate(([0.0], owner + fraction))
    vertex = np.concatenate(([True], fraction == 1.0))
    hairpin = np.stack((corners.hairpin[:-1], corners.hairpin[1:]), axis=1)[owner, np.where(fraction < 0.5, 0, 1)]
    keep = (
        vertex
        | np.append(False, hairpin)
        | _matters(w, vertex, owner, fraction, share[:, 1], budget, top, limits.junction_deviation_mm, length)
    )
    kept = np.flatnonzero(keep)
    free_share = np.where(np.tile([0, 1, 0], n - 1)[flat] == 1, share.ravel()[flat], 0.0)
    spans = np.add.reduceat(share.ravel()[flat], kept[:-1])
    free = np.clip(np.add.reduceat(free_share, kept[:-1]) / spans, 0.0, 1.0)
    return SpeedPlan(place[kept], w[kept], free, np.zeros(len(kept), dtype=np.bool_))


def _vertex_caps(corners: Corners, top: Floats) -> Floats:
    """(n,) squared speed allowed at each vertex by its corner and the adjoining segments."""
    cap = corners.cap_mm2_s2.copy()
    cap[1:] = np.minimum(cap[1:], top)
    cap[:-1] = np.minimum(cap[:-1], top)
    return cap


def _kept_turns(
    length: Floats, u: Floats, budget: Floats, top: Floats, w: Floats, corners: Corners, limits: Limits
) -> Floats:
    """(n - 1, 2) share of each turn, 0..1, on which the reduced acceleration applies.

    Consider an axis that uses the share ``L`` of its acceleration ``a`` before and after a corner, and changes its
    speed there by ``dv`` in the same direction. In a window of length ``2 h`` it deviates from uniform motion by ``L a
    h^2 + dv h``, which exceeds ``1.05 a h^2`` by ``dv^2 / (4 a (1.05 - L))`` at most. The allowance of a lone corner
    therefore gives the ``dv`` up to which the turn needs no attention; most corners are below it. Where turns take up
    much of the path, several corners fall into one window and share the allowance. ``w`` (n,) are the squared speeds
    without regard to turns.
    """
    n = len(length) + 1
    at = np.flatnonzero((corners.normal != 0.0).any(axis=1) & (w > 0.0))
    normal, a = corners.normal[at], limits.accel_mm_s2
    lone = np.clip(1.0 - corners.share.sum(axis=1), 0.0, 1.0)
    lone = np.minimum(lone[at - 1], lone[at])[:, None]

    borne = np.zeros((len(at), 2))  # share of its limit that each axis uses before and after the corner, in its sense
    either = np.zeros((len(at), 2))
    # Before the corner time runs towards it, after it away from it: the same rule with the sign reversed.
    for segment, other, sense in ((at - 1, at - 1, 1.0), (at, at + 1, -1.0)):
        rise = w[at] - w[other]
        along = limits.accel_along(u[segment])[:, None] * u[segment] / (2.0 * a)
        towards = along * sense * np.sign(normal)
        steady = rise >= budget[segment] / 2.0  # accelerating (nearly) all the way to the corner
        # The speed peaks between the corners. Excluded: acceleration fills the segment but for 2 %, which leaves 1 %
        # for deceleration; or the corner is taken at top speed but for 0.05 %.
        peaked = (rise < 0.98 * budget[segment]) & (w[at] < 0.999 * top[segment])
        borne += np.maximum(np.where(steady[:, None], towards, 0.0), np.where(peaked[:, None], -towards, 0.0)).clip(0.0)
        either += np.abs(along)
    # On a curve the pen may accelerate at any of its corners.
    borne = np.minimum(np.where(lone < 0.5, either, borne), 1.0)
    kick_mm_s = 2.0 * np.sqrt(w[at])[:, None] * np.sin(corners.turn_rad[at] / 2.0)[:, None] * np.abs(normal)
    allowed_mm_s = lone * np.sqrt(4.0 * a * (ALLOWANCE - borne) * JOLT_SHARE * limits.junction_deviation_mm)
    # The whole turn takes as much acceleration as turning adds, so the excess is the same share of the turn. An axis
    # that uses more than half of its limit needs it over a longer part: 1 / L of it (1e-3 only keeps it finite; values
    # above 1 count as 1).
    over = 1.0 - allowed_mm_s / np.maximum(kick_mm_s, _NEXT_TO_NOTHING)
    enough = 1.0 / np.maximum(borne, 1e-3)
    kept = np.zeros(n)
    kept[at] = np.clip(over * enough, 0.0, 1.0).max(axis=1)
    kept[corners.hairpin] = 1.0
    return np.stack((kept[:-1], kept[1:]), axis=1)


def _matters(
    w: Floats,
    vertex: Flags,
    owner: NDArray[np.int64],
    fraction: Floats,
    straight: Floats,
    budget: Floats,
    top: Floats,
    deviation_mm: float,
    length: Floats,
) -> Flags:
    """(p,) bool: true where dropping the point would exceed an axis limit."""
    matters = np.zeros(len(w), dtype=np.bool_)
    inner = np.flatnonzero(~vertex)
    if not len(inner):
        return matters
    segment = owner[inner - 1]
    at = fraction[inner - 1]
    ends = np.flatnonzero(vertex)
    w0, w1 = w[ends[segment]], w[ends[segment + 1]]
    unhindered = np.minimum(np.minimum(w0 + at * budget[segment], w1 + (1.0 - at) * budget[segment]), top[segment])
    # Without a straight, one ramp leads from vertex to vertex.
    unhindered = np.where(straight[segment] > 0.0, unhindered, w0 + at * (w1 - w0))
    faster = np.sqrt(unhindered) - np.sqrt(w[inner])
    accel = budget[segment] / (2.0 * length[segment])
    matters[inner] = np.maximum(faster, 0.0) ** 2 > LEFT_OUT_SHARE * deviation_mm * 4.0 * (ALLOWANCE - 1.0) * accel
    return matters
