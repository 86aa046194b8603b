"""The smooth speed plan: the same path, timed so that the carriage hardly vibrates.

**What is shaped is the speed along the path**, not the command of each axis. Shaped axes leave the path at every corner
(by about three quarters of the vibration that they avoid). A shaped speed changes only the timing, so the same steps
are made. Corners still change the velocity suddenly, so they are taken slowly enough to make no axis swing by more than
`MotionSmoothing.swing_mm`.

**How.** A plan ``v(t)`` within all limits is convolved in time with a sequence of impulses (`impulses`). Averages over
time do not exceed what is averaged, so if the plan keeps a limit over a long enough interval around its place, the
smooth speed keeps it there:

    Let the plan not exceed ``c`` on the way from ``c (T - m)`` before a place to ``c m`` behind it, ``T`` being the
    impulses' span and ``m`` their mean delay. Then the smooth speed at that place is at most ``c``.

    Proof. The plan takes at least ``T`` for that way; it enters it at ``t0`` and leaves it at ``t1``. The smooth motion
    is at ``sum A_i s(t - t_i)``. At ``t0 + T`` that is at most ``sum A_i (s(t0) + c (T - t_i)) = s(t0) + c (T - m)``,
    the place itself, and at ``t1`` at least ``s(t1) - c m``, the place again. So it passes the place between ``t0 + T``
    and ``t1``, when all ``t - t_i`` lie between ``t0`` and ``t1`` and no ``v(t - t_i)`` exceeds ``c``.

Every limit is extended over such an interval, the speed passes run as usual, and pauses of ``T`` are inserted where the
pen stops.

**Accelerations.** The smooth motion at a place is an average over other places, where other directions may allow more.
On every stretch that turns, acceleration along the path and acceleration by turning are therefore limited to shares
``lambda`` and ``mu`` of the weaker axis' limit: ``|u| lambda + |n| mu <= 1`` on either axis for every direction, with
``lambda = sqrt(1 - 2 mu^2)`` (the worst direction is near the diagonal).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.corners import Corners, find_corners
from linewright.motion.impulses import TOGETHER_S, Impulses
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.profile import SpeedPlan
from linewright.motion.smoothing import MotionSmoothing
from linewright.motion.speeds import lowest, plan_speeds

Indices = NDArray[np.int64]

STOP_SHARE: Final = 0.2
"""A corner becomes a stop if that costs at most this share of the impulses' span."""

ROOM: Final = 0.98
"""Share of the acceleration used by a smooth plan. The rest compensates for ramps shortened by rounding to whole steps;
without it, the exact limits would cut the ends of the slopes."""

LEVEL: Final = 1.01
"""Ratio of levels to which speed limits are rounded down: it costs 0.5 % of speed on average, on curves only, and
merges corners of nearly the same speed."""

OVERLAP: Final = 1.25
"""Every motion takes at least this many times the longest gap between two impulses before it is smoothed. A shorter
motion would pause between its delayed copies, which a plan over place cannot represent. A distance ``d`` from rest to
rest takes ``2 sqrt(d / a)``."""

NOTHING_MM: Final = 1e-9
"""Shorter segments take no time; they occur between rests only."""

PART: Final = 30_000
"""Segments smoothed at a time. Each has up to four phases with a knot per impulse, two dozen at most: some 100 MB."""

STOP_MM_S: Final = 1e-3
"""A slower corner is a stop."""


def plan_smooth(
    points_mm: Floats, rest: Flags, drawing: Flags, limits: Limits, smoothing: MotionSmoothing
) -> SpeedPlan:
    """Fastest smooth speeds along a path; the counterpart of `profile.plan_profile` with smoothing.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm. Neighbours that coincide must both be rests.
    rest : (n,) bool, the pen stops here.
    drawing : (n - 1,) bool, the pen is down along the segment.
    """
    step = np.diff(points_mm, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    u = step / np.where(length > 0.0, length, 1.0)[:, None]
    share = smoothing.turn_share(limits)
    weakest = float(limits.accel_mm_s2.min())
    slow = replace(limits, accel_mm_s2=np.full(2, share * weakest))
    corners = find_corners(points_mm, rest, drawing, slow)
    cap = np.sqrt(_calm_corners(corners, u, smoothing))
    top = np.minimum(limits.speed_along(u, drawing), 1e7)  # segments of no length lie between rests
    cap[_stops(cap, length, smoothing.impulses(weakest, (True, True)).span_s, weakest)] = 0.0
    rest = cap == 0.0

    straight = np.minimum(np.minimum(limits.accel_along(u), smoothing.straight_accel(u)), 1e9)
    turning = np.minimum(straight, math.sqrt(1.0 - 2.0 * share * share) * weakest)
    turning = np.minimum(turning, smoothing.curved_accel(_curvature(corners.turn_rad, length)))
    accel, whole, kind, kinds = _stretches(u, length, rest, straight, turning)
    place = [np.flatnonzero(rest).astype(np.float64)]
    square = [np.zeros(len(place[0]))]
    for number, axes in enumerate(kinds):
        segments = np.flatnonzero(kind == number)
        sequence = smoothing.impulses(float(accel[segments].max()), axes)
        for part in _parts(segments, rest):
            gentle = 4.0 * whole[part] / (OVERLAP * max(sequence.gap_s, TOGETHER_S)) ** 2
            stretch = _Stretches.of(part, length, cap, top, np.minimum(accel[part], gentle))
            knot_mm, knot_w = _convolve(stretch, sequence)
            at_mm, where = stretch.points(points_mm, knot_mm, limits)
            place.append(where)
            square.append(np.interp(at_mm, knot_mm, knot_w))
    places, first = np.unique(np.concatenate(place), return_index=True)
    squares = np.concatenate(square)[first]
    squares[np.searchsorted(places, np.flatnonzero(rest))] = 0.0
    return SpeedPlan(places, squares, np.zeros(len(places) - 1), places % 1.0 != 0.0)


def _parts(segments: Indices, rest: Flags) -> list[Indices]:
    """Divide segments of one kind into parts of about `PART`, at stops, to bound the memory of a convolution."""
    begin = np.flatnonzero(rest[segments])
    wanted = np.searchsorted(begin, np.arange(PART, len(segments), PART))
    return np.split(segments, np.unique(begin[np.minimum(wanted, len(begin) - 1)]))


def _stops(cap: Floats, length: Floats, span_s: float, accel: float) -> Flags:
    """(n,) bool: corners at which a stop costs little.

    A slow corner passes at its speed ``c`` for the impulses' span ``T``, a stop rests for it; the stop costs ``c / a``
    and the time for the rest of the distance ``c T``. In return a stop causes no vibration, and the segments on either
    side move only their own axes.
    """
    shorter = np.minimum(np.append(length, np.inf), np.append(np.inf, length))
    return np.asarray((cap < STOP_MM_S) | ((cap < STOP_SHARE * accel * span_s) & (cap * span_s < STOP_SHARE * shorter)))


def _curvature(turn_rad: Floats, length: Floats) -> Floats:
    """(n - 1,) 1/mm, curvature of the path averaged over each segment and its neighbours."""
    mean = (np.append(length, 0.0) + np.append(0.0, length)) / 2.0
    bent = turn_rad / np.maximum(mean, 1e-9)
    return np.asarray(np.maximum(bent[1:], bent[:-1]))


def _calm_corners(corners: Corners, u: Floats, smoothing: MotionSmoothing) -> Floats:
    """(n,) squared speed at each vertex at which the corner makes the pen swing by no more than allowed.

    A velocity step ``dv`` makes an axis of circular frequency ``w`` swing by ``dv / w``.
    """
    swing = np.diff(u, axis=0) * np.sqrt(smoothing.compliance())
    cap = corners.cap_mm2_s2.copy()
    cap[1:-1] = np.minimum(cap[1:-1], smoothing.swing_mm**2 / np.maximum(np.sum(swing**2, axis=1), 1e-18))
    return cap


def _stretches(
    u: Floats, length: Floats, rest: Flags, straight: Floats, turning: Floats
) -> tuple[Floats, Floats, Indices, list[tuple[bool, bool]]]:
    """Acceleration along each segment (n - 1,), length and kind of its stretch, and the axes that each kind moves.

    A stretch lies between two stops. A straight stretch has the acceleration of its direction, ``straight`` (n - 1,);
    one that turns has the least of its segments, ``turning`` (n - 1,).
    """
    first = np.flatnonzero(rest[:-1])
    owner = np.cumsum(rest[:-1]) - 1
    # Segments of length 0 have no direction.
    reference = u[first][owner]
    turns = np.abs(u[:, 0] * reference[:, 1] - u[:, 1] * reference[:, 0]) > 1e-9
    least = np.minimum.reduceat(turning, first)
    accel = ROOM * np.where(np.logical_or.reduceat(turns, first), least, straight[first])[owner]
    moves = np.maximum.reduceat(np.abs(u), first, axis=0)[owner] > 1e-6
    number = moves[:, 0] + 2 * moves[:, 1]
    moved = length > NOTHING_MM
    kinds = [int(k) for k in np.unique(number[moved])]
    kind = np.full(len(length), -1, dtype=np.int64)
    for index, k in enumerate(kinds):
        kind[(number == k) & moved] = index
    return accel, np.add.reduceat(length, first)[owner], kind, [(bool(k & 1), bool(k & 2)) for k in kinds]


@dataclass(frozen=True, eq=False)
class _Stretches:
    """Stretches of one kind, concatenated: m segments, none of length 0; the pen stops where two stretches meet.

    Parameters
    ----------
    segment : (m,) int64, number of each segment in the whole path.
    edge_mm : (m + 1,) float64, distance from the first stretch's start to each vertex.
    cap_mm_s : (m + 1,) float64, speed limit at each vertex; 0: a stop.
    top_mm_s, accel_mm_s2 : (m,) float64, limits of each segment.
    """

    segment: Indices
    edge_mm: Floats
    cap_mm_s: Floats
    top_mm_s: Floats
    accel_mm_s2: Floats

    @classmethod
    def of(cls, segment: Indices, length: Floats, cap: Floats, top: Floats, accel: Floats) -> _Stretches:
        edge = np.concatenate(([0.0], np.cumsum(length[segment])))
        return cls(segment, edge, cap[np.append(segment, segment[-1] + 1)], top[segment], accel)

    def points(self, points_mm: Floats, knot_mm: Floats, limits: Limits) -> tuple[Floats, Floats]:
        """Points of the plan: all vertices, and the knots, moved to whole steps of the dominant motor.

        Returns
        -------
        at_mm, place : (p,) float64, distance from the first stretch's start; index into the path's vertices, with
            fraction.
        """
        inside = np.searchsorted(self.edge_mm, knot_mm, side="right") - 1
        inside = np.clip(inside, 0, len(self.segment) - 1)
        begin = limits.steps_at(points_mm[self.segment])[inside]
        way = limits.steps_at(points_mm[self.segment + 1])[inside] - begin
        row, motor = np.arange(len(inside)), np.abs(way).argmax(axis=1)
        begin_steps, way_steps = begin[row, motor], way[row, motor]
        length = np.diff(self.edge_mm)[inside]
        share = (knot_mm - self.edge_mm[inside]) / length
        share = (np.rint(begin_steps + share * way_steps) - begin_steps) / way_steps
        # Drop knots closer than a step to a vertex.
        near = 0.75 / np.abs(way_steps)
        fresh = (share > near) & (share < 1.0 - near)
        place = np.unique(self.segment[inside[fresh]] + share[fresh])
        index = np.searchsorted(self.segment, np.floor(place).astype(np.int64))
        at_mm = self.edge_mm[index] + (place % 1.0) * np.diff(self.edge_mm)[index]
        return np.concatenate((self.edge_mm[:-1], at_mm)), np.concatenate((self.segment.astype(np.float64), place))

    def spread(self, sequence: Impulses) -> tuple[Floats, Floats, Floats, Flags]:
        """Cells with constant speed limit, and the edges at which the pen stops.

        Returns
        -------
        edge_mm : (c + 1,) float64.
        cap_mm_s, accel_mm_s2 : (c,) float64.
        stop : (c + 1,) bool.
        """
        stop_mm = self.edge_mm[self.cap_mm_s == 0.0]
        if stop_mm[-1] < self.edge_mm[-1]:  # the last vertex may be the start of a segment of another kind
            stop_mm = np.append(stop_mm, self.edge_mm[-1])
        # Merge neighbouring segments of the same speed.
        run = np.flatnonzero(np.concatenate(([True], (np.diff(self.top_mm_s) != 0.0) | (self.cap_mm_s[1:-1] == 0.0))))
        top = self.top_mm_s[run]
        low, high = self.edge_mm[run], self.edge_mm[np.append(run[1:], len(self.segment))]
        # A vertex whose limit is not below its neighbours adds nothing.
        highest = np.maximum(np.append(self.top_mm_s, 0.0), np.append(0.0, self.top_mm_s))
        bent = np.flatnonzero((self.cap_mm_s > 0.0) & (self.cap_mm_s < highest))
        speed = _lowered(np.concatenate((top, self.cap_mm_s[bent])))
        low = np.concatenate((low, self.edge_mm[bent]))
        high = np.concatenate((high, self.edge_mm[bent]))
        # Limits do not extend beyond the stops on either side.
        inside = np.clip(np.searchsorted(stop_mm, (low + high) / 2.0, side="right") - 1, 0, len(stop_mm) - 2)
        low = np.maximum(low - speed * (sequence.span_s - sequence.mean_s), stop_mm[inside])
        high = np.minimum(high + speed * sequence.mean_s, stop_mm[inside + 1])
        edge = np.unique(np.concatenate((stop_mm, low, high)))
        cap = lowest(np.searchsorted(edge, low), np.searchsorted(edge, high), speed, len(edge) - 1)
        # Merge cells of the same speed between stops.
        keep = np.concatenate(([True], cap[1:] != cap[:-1], [True]))
        keep[np.searchsorted(edge, stop_mm)] = True
        cap, edge = cap[keep[:-1]], edge[keep]
        owner = np.clip(np.searchsorted(self.edge_mm, (edge[:-1] + edge[1:]) / 2.0, side="right") - 1, 0, None)
        return edge, cap, self.accel_mm_s2[owner], np.isin(edge, stop_mm)


def _lowered(speed: Floats) -> Floats:
    """Speeds rounded down to the highest of them divided by powers of `LEVEL`, so that a gentle curve has few cells."""
    highest = speed.max()
    levels = np.ceil(np.log(highest / speed) / math.log(LEVEL) - 1e-9)
    return np.asarray(np.minimum(speed, highest * LEVEL**-levels))


def _convolve(stretch: _Stretches, sequence: Impulses) -> tuple[Floats, Floats]:
    """Knots of the smooth motion: distances (k,) mm, ascending, and squared speeds (k,), linear in between."""
    edge, cap, accel, stop = stretch.spread(sequence)
    node_cap = np.minimum(np.append(cap, np.inf), np.append(np.inf, cap)) ** 2
    node_cap[stop] = 0.0
    d = np.diff(edge)
    w = plan_speeds(node_cap, 2.0 * accel * d)
    w0, w1 = w[:-1], w[1:]
    peak = np.clip((w0 + w1) / 2.0 + accel * d, np.maximum(w0, w1), np.maximum(cap**2, np.maximum(w0, w1)))
    v0, v1, vp = np.sqrt(w0), np.sqrt(w1), np.sqrt(peak)
    up, down = (peak - w0) / (2.0 * accel), (peak - w1) / (2.0 * accel)

    # Pause, acceleration, cruise, deceleration in each cell.
    zero = np.zeros(len(d))
    took = np.stack(
        (
            np.where(stop[:-1], sequence.span_s, 0.0),
            (vp - v0) / accel,
            np.maximum(d - up - down, 0.0) / np.maximum(vp, 1e-12),
            (vp - v1) / accel,
        ),
        axis=1,
    ).ravel()
    a = np.stack((zero, accel, zero, -accel), axis=1).ravel()
    v = np.stack((v0, v0, vp, vp), axis=1).ravel()
    s = np.stack((edge[:-1], edge[:-1], edge[:-1] + up, edge[1:] - down), axis=1).ravel()
    real = took > 1e-9
    t = np.concatenate(([0.0], np.cumsum(took)))
    t_end = t[-1]
    t, a, v, s = t[:-1][real], a[real], v[real], s[real]
    # Merge phases that continue with the same acceleration.
    fresh = np.concatenate(([True], (a[1:] != a[:-1]) | (v[1:] == 0.0) | (v[:-1] == 0.0)))
    t, a, v, s = (
        np.append(t[fresh], t_end),
        np.append(a[fresh], 0.0),
        np.append(v[fresh], 0.0),
        np.append(s[fresh], edge[-1]),
    )

    moment = np.sort((t[:, None] + sequence.delay_s).ravel())
    moment = moment[np.concatenate(([True], np.diff(moment) > 1e-9))]
    way, speed = np.zeros(len(moment)), np.zeros(len(moment))
    for share, delay in zip(sequence.share.tolist(), sequence.delay_s.tolist(), strict=True):
        then = moment - delay
        k = np.maximum(np.searchsorted(t, then, side="right") - 1, 0)
        dt = np.maximum(then - t[k], 0.0)
        way += share * (s[k] + (v[k] + 0.5 * a[k] * dt) * dt)
        speed += share * np.maximum(v[k] + a[k] * dt, 0.0)
    return np.maximum.accumulate(way), speed**2
