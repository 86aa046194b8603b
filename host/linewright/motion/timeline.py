"""A speed plan as motion in time: pen position at any moment, by stretch.

A *stretch* is the path between two stops. Its time starts at 0 and ends with a pause.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.profile import SpeedPlan

Indices = NDArray[np.int64]

APART_MM: Final = 1.0
"""Gap between stretches in the common distance coordinate: any positive value."""

AT_ONCE_S: Final = 1e-9
"""Shorter phases are rounding noise."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """Polylines between stops, concatenated.

    Parameters
    ----------
    points_mm : (n, 2) float64, vertices of all stretches; the last of one and the first of the next are both present.
    starts : (k + 1,) int64, first vertex of each.
    drawing : (n - 1,) bool, the pen is down along the segment; undefined between stretches.
    """

    points_mm: Floats
    starts: Indices
    drawing: Flags

    @property
    def rest(self) -> Flags:
        """(n,) bool, first and last vertices of the stretches."""
        rest = np.zeros(len(self.points_mm), dtype=np.bool_)
        rest[self.starts[:-1]] = rest[self.starts[1:] - 1] = True
        return rest

    def select(self, which: Indices) -> Stretches:
        """The stretches with these numbers."""
        starts = np.concatenate(([0], np.cumsum(np.diff(self.starts)[which])))
        vertex = self.vertices(which)
        return Stretches(self.points_mm[vertex], starts, np.append(self.drawing, False)[vertex][:-1])

    def vertices(self, which: Indices) -> Indices:
        """(m,) int64, vertex numbers of some stretches."""
        count = np.diff(self.starts)[which]
        starts = np.concatenate(([0], np.cumsum(count)))
        return np.asarray(np.repeat(self.starts[which] - starts[:-1], count) + np.arange(starts[-1]))

    @property
    def between(self) -> Flags:
        """(n - 1,) bool, the segment joins one stretch to the next and is not drawn or travelled."""
        joins = np.zeros(len(self.points_mm) - 1, dtype=np.bool_)
        joins[self.starts[1:-1] - 1] = True
        return joins

    @cached_property
    def along_mm(self) -> Floats:
        """(n,) float64, distance to each vertex, with `APART_MM` between stretches."""
        step = np.diff(self.points_mm, axis=0)
        length = np.where(self.between, APART_MM, np.hypot(step[:, 0], step[:, 1]))
        return np.concatenate(([0.0], np.cumsum(length)))


@dataclass(frozen=True, eq=False)
class Sampled:
    """Drive positions sampled in time.

    Parameters
    ----------
    first : (k + 1,) int64, first sample of each stretch.
    drive_mm : (m, 2) float64, mm of drive.
    period_s : between two samples.
    """

    first: Indices
    drive_mm: Floats
    period_s: float


@dataclass(frozen=True, eq=False)
class Phases:
    """Constant accelerations, one after the other, of several stretches.

    Parameters
    ----------
    starts : (k + 1,) int64, first phase of each stretch.
    seconds, way_mm, speed_mm_s, accel_mm_s2 : (p,) float64, start time of each phase within its stretch, and the
        distance, speed and acceleration there.
    duration_s : (k,) float64, duration of each stretch.
    """

    starts: Indices
    seconds: Floats
    way_mm: Floats
    speed_mm_s: Floats
    accel_mm_s2: Floats
    duration_s: Floats

    def sampled(self, period_s: float, pause: int) -> tuple[Indices, Floats]:
        """First sample of each stretch (k + 1,), and the distance (m,) at each sample. ``pause`` adds samples at each
        end.
        """
        count = np.ceil(self.duration_s / period_s - 1e-9).astype(np.int64) + 1 + pause
        first = np.concatenate(([0], np.cumsum(count)))
        owner = np.repeat(np.arange(len(count)), count)
        time = (np.arange(first[-1]) - first[owner]) * period_s
        time = np.minimum(time, self.duration_s[owner])
        # One ascending time axis, so that all stretches are searched at once.
        offset = np.concatenate(([0.0], np.cumsum(self.duration_s + 1.0)))
        phase_owner = np.repeat(np.arange(len(count)), np.diff(self.starts))
        at = np.searchsorted(self.seconds + offset[phase_owner], time + offset[owner], side="right") - 1
        at = np.maximum(at, self.starts[owner])
        dt = time - self.seconds[at]
        return first, self.way_mm[at] + (self.speed_mm_s[at] + 0.5 * self.accel_mm_s2[at] * dt) * dt


def phases(stretches: Stretches, plan: SpeedPlan, limits: Limits, gentle: Floats) -> Phases:
    """The motion of a plan: between its points it accelerates, cruises and decelerates within the limits.

    Parameters
    ----------
    plan : of the stretches' points.
    gentle : (n - 1,) float64, share of its acceleration that each segment may use.
    """
    along = stretches.along_mm
    n = len(along)
    segment = np.minimum(np.floor(plan.place).astype(np.int64), n - 2)
    at = along[segment] + (plan.place - segment) * np.diff(along)[segment]
    piece = np.minimum(segment[:-1], n - 2)
    real = ~stretches.between[piece]
    piece, s0, d, free = piece[real], at[:-1][real], np.diff(at)[real], plan.free[real]
    w0, w1 = plan.w_mm2_s2[:-1][real], plan.w_mm2_s2[1:][real]
    step = np.diff(stretches.points_mm, axis=0)[piece]
    u = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    accel = limits.accel_along(u) * gentle[piece]
    top = limits.speed_along(u, stretches.drawing[piece]) ** 2
    highest = np.maximum(w0, w1)
    room = 2.0 * accel * d * np.where(highest <= 0.0, 1.0, free)
    peak = np.clip((w0 + w1 + room) / 2.0, highest, np.maximum(top, highest))
    worth = peak > highest * (1.0 + 1e-9)
    v0, v1, vp = np.sqrt(w0), np.sqrt(w1), np.sqrt(peak)
    up, down = (peak - w0) / (2.0 * accel), (peak - w1) / (2.0 * accel)
    even = (w1 - w0) / (2.0 * d)
    took = np.stack(
        (
            np.where(worth, (vp - v0) / accel, 2.0 * d / np.maximum(v0 + v1, 1e-12)),
            np.where(worth, np.maximum(d - up - down, 0.0) / np.maximum(vp, 1e-12), 0.0),
            np.where(worth, (vp - v1) / accel, 0.0),
        ),
        axis=1,
    ).ravel()
    a = np.stack((np.where(worth, accel, even), np.zeros(len(d)), -accel), axis=1).ravel()
    v = np.stack((v0, vp, vp), axis=1).ravel()
    s = np.stack((s0, s0 + up, s0 + d - down), axis=1).ravel()
    owner = np.repeat(np.searchsorted(stretches.starts, piece, side="right") - 1, 3)
    keep = took > AT_ONCE_S
    # Every stretch keeps at least one phase.
    fresh = np.concatenate(([True], owner[1:] != owner[:-1]))
    keep |= fresh
    took, a, v, s, owner = took[keep], a[keep], v[keep], s[keep], owner[keep]
    count = len(stretches.starts) - 1
    starts = np.searchsorted(owner, np.arange(count + 1))
    total = np.concatenate(([0.0], np.cumsum(took)))
    begin = total[starts[:-1]]
    return Phases(starts, total[:-1] - begin[owner], s, v, a, total[starts[1:]] - begin)
