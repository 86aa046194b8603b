"""The plan for the tip: motors that bend an elastic machine exactly as far as its tip has to be ahead of it.

A plan for a stiff machine (`profile`) is averaged in time (`kernels`): ``K * q`` is where the tip goes, ``H * q`` what
the motors do. Averaging cuts corners and curves a little, and a frequency that is not quite the one planned for leaves
some swing. So every plan is tried on a model of the machine, at the ends of the band of frequencies it is planned for;
where the tip is further from its line than it may, or a motor asked for more than it can, the plan is made gentler
there, and tried again.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.corners import find_corners
from linewright.motion.kernels import Kernel, three_boxes, three_impulses
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.profile import plan_profile
from linewright.motion.speeds import lowest
from linewright.motion.timeline import Stretches, phases

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

Indices = NDArray[np.int64]
Swings = NDArray[np.complex128]

PERIOD_S: Final = 1e-3
"""Longest sampling period: 70 samples of a wave of 14 Hz. Shorter where an axis rings faster than `PER_WAVE` asks."""

PER_WAVE: Final = 40.0
"""Least samples of the fastest axis's wave: the second difference is then 0.2 % off the second derivative."""

ROOM: Final = 0.97
"""Share of the accelerations that is planned with; the rest is for rounding to whole steps and whole speeds."""

ROUNDING_STEPS: Final = 0.75
"""Share of the tip's error that is left to rounding, steps: half a step of either motor."""

WINDOW: Final = 4
"""Samples over which a motor's acceleration is averaged, before and behind."""

ROUNDS: Final = 20
"""Most trials of the last kernel; each of the last ones takes a tenth at least, so there is always an end."""

FIRST_ROUNDS: Final = 8
"""Trials of each kernel that make single places gentler; those behind make the whole stretch gentler."""

PASSES: Final = 3
"""How often strokes are looked at again for what is still swinging when they begin."""

SHARP_RAD: Final = 0.3
"""Corners that turn by more are looked at one by one: an average may stay away from them, however near to the line."""

LOOKS: Final = 4
"""Segments that are looked at for the one nearest to the tip."""

AIM: Final = 0.97
"""What a plan is made gentler for, as a share of what is allowed: a little less saves trials."""

LOWEST: Final = 0.7
"""Share below which no single trial makes anything gentler."""

BOXES: Final = ((1.0, 1.0), (1.0, 0.1), (1.2, 1.0), (1.2, 0.1))
"""Lengths of three boxes and shares of blame that are tried on every stretch that turns."""

SLACK: Final = 1e-3
"""How far a sampled speed may exceed its limit."""

LEAVES: Final = 0.6
"""Share of the error that a way with the pen up may leave to the stroke behind it."""


@dataclass(frozen=True)
class Elastic:
    """An elastic machine, and how true its tip has to be.

    Parameters
    ----------
    frequency_hz, damping : natural frequency and damping ratio along x and y; frequency 0: stiff.
    band : by which share the frequencies may be wrong.
    swing_mm : how far from its line the tip may come, whatever for.
    settle_s, lift_s : times for which the machine stands still, before a pen touches the paper and before it leaves.
    """

    frequency_hz: tuple[float, float]
    damping: tuple[float, float]
    band: float
    swing_mm: float
    settle_s: float
    lift_s: float

    @classmethod
    def from_rig(cls, rig: Rig) -> Elastic | None:
        """What the rig file asks for; None: not this way of smoothing."""
        asked = rig.smoothing
        if asked.shaper != "tip" or not (asked.x_hz or asked.y_hz):
            return None
        from linewright.motion.pen_lifts import PenLifts

        lifts = PenLifts.from_rig(rig)
        settle_ms = min(lifts.near_ms, lifts.lower_ms) if lifts.overlap else lifts.lower_ms
        lift_ms = lifts.near_ms if lifts.overlap else lifts.lift_ms
        return cls(
            (asked.x_hz, asked.y_hz),
            (asked.x_damping, asked.y_damping),
            asked.band,
            asked.swing_mm,
            settle_ms / 1000.0,
            lift_ms / 1000.0,
        )

    @property
    def factors(self) -> tuple[float, ...]:
        """By how many times the frequencies may differ from those given: the ends of the band."""
        return (1.0 - self.band, 1.0 + self.band) if self.band else (1.0,)

    def pole(self, axis: int, factor: float) -> complex:
        """How an axis swings by itself, 1/s; 0 for a stiff one."""
        z = self.damping[axis]
        return complex(-z, math.sqrt(1.0 - z * z)) * 2.0 * math.pi * self.frequency_hz[axis] * factor

    @property
    def period_s(self) -> float:
        """Sampling period."""
        return min(PERIOD_S, 1.0 / (PER_WAVE * max(self.frequency_hz)))


@dataclass(frozen=True, eq=False)
class TipPlan:
    """Where the motors go, sampled in time.

    Parameters
    ----------
    first : (k + 1,) int64, first sample of each stretch.
    drive_mm : (m, 2) float64, mm of drive.
    period_s : between two samples.
    """

    first: Indices
    drive_mm: Floats
    period_s: float


def plan_tip(stretches: Stretches, limits: Limits, elastic: Elastic) -> TipPlan:
    """Plan stretches so that the tip stays within `Elastic.swing_mm` of them, and the motors within their limits.

    Parameters
    ----------
    stretches : none without length.
    """
    count = len(stretches.starts) - 1
    trials = _trials(stretches, elastic)
    found: list[_Played | None] = [None] * count
    begins = np.zeros((2, len(elastic.factors), count), dtype=np.complex128)
    waiting = np.arange(count)
    for _ in range(PASSES):
        for number, played in zip(
            waiting.tolist(), _planned(stretches, waiting, trials, limits, elastic, begins), strict=True
        ):
            found[number] = played
        all_played = [played for played in found if played is not None]
        begins = _begins(stretches, all_played, elastic)
        waiting = np.flatnonzero(_worst(stretches, all_played, limits, elastic, begins) > 1.0)
        if not len(waiting):
            break
    first = np.concatenate(([0], np.cumsum([len(played.drive_mm) for played in all_played])))
    return TipPlan(first, np.concatenate([played.drive_mm for played in all_played]), elastic.period_s)


@dataclass(frozen=True, eq=False)
class _Trial:
    """A way to make a plan.

    Parameters
    ----------
    kernel : how it is averaged.
    takes : (k,) bool, stretches on which it is tried.
    push_share : how much of what is over is put down to accelerations rather than to corners.
    last : it always ends with a plan, and the shortest of those is taken.
    """

    kernel: Kernel
    takes: Flags
    push_share: float
    last: bool


def _trials(stretches: Stretches, elastic: Elastic) -> list[_Trial]:
    hz, damping, period = elastic.frequency_hz, elastic.damping, elastic.period_s
    ones = stretches.starts[1:] - stretches.starts[:-1] == 2
    step = np.abs(stretches.points_mm[stretches.starts[:-1] + 1] - stretches.points_mm[stretches.starts[:-1]])
    found = []
    for axis in sorted((a for a in (0, 1) if hz[a]), key=lambda a: -hz[a]):
        # The axis whose acceleration decides has none to spare.
        decides = step[:, axis] >= step[:, 1 - axis]
        found.append(_Trial(three_impulses(axis, hz, damping, period), ones & decides, 1.0, False))
    softest = min((a for a in (0, 1) if hz[a]), key=lambda a: hz[a])
    found.append(_Trial(three_impulses(softest, hz, damping, period), ones, 1.0, False))
    every = np.ones(len(ones), dtype=np.bool_)
    for longer, push_share in BOXES:
        found.append(_Trial(three_boxes(hz, damping, period, longer), every, push_share, True))
    return found


@dataclass(frozen=True, eq=False)
class _Played:
    """One stretch as it is planned.

    Parameters
    ----------
    trial : number of its kernel.
    way_mm : (m,) float64, of the plan for a stiff machine, from the stretch's beginning.
    drive_mm : (m, 2) float64.
    swing : (2, f) complex128, mm: what its own motion leaves behind, by axis and frequency.
    """

    trial: int
    way_mm: Floats
    drive_mm: Floats
    swing: Swings


def _planned(
    stretches: Stretches, which: Indices, trials: list[_Trial], limits: Limits, elastic: Elastic, begins: Swings
) -> list[_Played]:
    """Plans of some stretches, each with the first kernel that does."""
    found: dict[int, _Played] = {}
    for number, trial in enumerate(trials):
        open_ = [i for i in which.tolist() if trial.takes[i] and (i not in found or trials[found[i].trial].last)]
        waiting = np.array(open_, dtype=np.int64)
        part = stretches.select(waiting)
        gentle = np.full(len(part.points_mm), ROOM)
        calm = np.ones(len(part.points_mm))
        left = np.arange(len(waiting))
        for turn in range(ROUNDS if trial.last else FIRST_ROUNDS):
            if not len(left):
                break
            at = part.vertices(left)
            tried = _Tried.planned(
                part.select(left), trial.kernel, limits, elastic, begins[:, :, waiting[left]], gentle[at], calm[at]
            )
            over = tried.over()
            worst = np.maximum.reduceat(over, tried.first[:-1])
            fine = worst <= 1.0
            if trial.last and turn == ROUNDS - 1:
                fine[:] = True
            swings = tried.swings()
            for i in np.flatnonzero(fine).tolist():
                one, played = int(waiting[left[i]]), tried.one(i, number, swings)
                if one not in found or len(played.way_mm) < len(found[one].way_mm):
                    found[one] = played
            slower, calmer = tried.gentler(over, trial.push_share, everywhere=turn >= FIRST_ROUNDS)
            gentle[at] *= slower
            calm[at] *= calmer
            left = left[~fine]
    return [found[i] for i in which.tolist()]


def _begins(stretches: Stretches, played: list[_Played], elastic: Elastic) -> Swings:
    """(2, f, k) complex128: how the tip still swings at the beginning of each stretch."""
    drawn = stretches.drawing[stretches.starts[:-1]].tolist()
    begins = np.zeros((2, len(elastic.factors), len(played)), dtype=np.complex128)
    for axis, number in itertools.product((0, 1), range(len(elastic.factors))):
        pole = elastic.pole(axis, elastic.factors[number])
        if not pole:
            continue
        pause = np.where(drawn, elastic.lift_s, elastic.settle_s)
        lasts = np.array([len(one.way_mm) - 1 for one in played]) * elastic.period_s
        through = np.exp(pole * (lasts + pause)).tolist()
        after = (np.array([one.swing[axis, number] for one in played]) * np.exp(pole * pause)).tolist()
        swing, all_swings = 0j, []
        for decays, own in zip(through, after, strict=True):
            all_swings.append(swing)
            swing = swing * decays + own
        begins[axis, number] = all_swings
    return begins


def _worst(
    stretches: Stretches, played: list[_Played], limits: Limits, elastic: Elastic, begins: Swings
) -> Floats:
    """(k,) by how much each stretch is beyond what is allowed, once it is known what came before it."""
    worst = np.zeros(len(played))
    trial = np.array([one.trial for one in played])
    kernels = [each.kernel for each in _trials(stretches, elastic)]
    for number in np.unique(trial).tolist():
        mine = np.flatnonzero((trial == number) & stretches.drawing[stretches.starts[:-1]])
        if not len(mine):
            continue
        part = stretches.select(mine)
        first = np.concatenate(([0], np.cumsum([len(played[i].way_mm) for i in mine.tolist()])))
        way = np.concatenate([played[i].way_mm for i in mine.tolist()])
        way += np.repeat(part.along_mm[part.starts[:-1]], np.diff(first))
        drive = np.concatenate([played[i].drive_mm for i in mine.tolist()])
        tried = _Tried(part, limits, elastic, kernels[number], begins[:, :, mine], first, way, drive, np.empty(0))
        worst[mine] = np.maximum.reduceat(tried.over(), first[:-1])
    return worst


@dataclass(frozen=True, eq=False)
class _Tried:
    """A plan of some stretches, played on the model.

    Parameters
    ----------
    begins : (2, f, k) complex128, how the tip swings when each begins.
    first : (k + 1,) int64, first sample of each.
    way_mm, drive_mm : (m,) and (m, 2) float64, of the plan for a stiff machine, and of the drives.
    kick_mm_s : (n,) float64, by how much the plan's velocity changes at each vertex.
    """

    stretches: Stretches
    limits: Limits
    elastic: Elastic
    kernel: Kernel
    begins: Swings
    first: Indices
    way_mm: Floats
    drive_mm: Floats
    kick_mm_s: Floats

    @classmethod
    def planned(
        cls,
        stretches: Stretches,
        kernel: Kernel,
        limits: Limits,
        elastic: Elastic,
        begins: Swings,
        gentle: Floats,
        calm: Floats,
    ) -> _Tried:
        """The fastest plan with a share ``gentle`` (n,) of the accelerations behind each vertex, and with its corners
        taken at a share ``calm`` (n,) of their squared speed.
        """
        corners = find_corners(stretches.points_mm, stretches.rest, stretches.drawing, limits).calmer(calm)
        plan = plan_profile(stretches.points_mm, stretches.drawing, corners, limits, gentle[:-1])
        first, way = phases(stretches, plan, limits, gentle[:-1]).sampled(elastic.period_s, len(kernel.tip))
        speed = np.sqrt(plan.w_mm2_s2[np.searchsorted(plan.place, np.arange(len(gentle)))])
        kick = 2.0 * speed * np.sin(corners.turn_rad / 2.0)
        drive = _averaged(stretches, first, way, kernel)
        return cls(stretches, limits, elastic, kernel, begins, first, way, drive, kick)

    def one(self, i: int, trial: int, swings: Swings) -> _Played:
        """Stretch ``i`` of them."""
        mine = slice(self.first[i], self.first[i + 1])
        way = self.way_mm[mine] - self.stretches.along_mm[self.stretches.starts[i]]
        return _Played(trial, way, self.drive_mm[mine], swings[:, :, i])

    @cached_property
    def owner(self) -> Indices:
        """(m,) int64, stretch of each sample."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    def over(self) -> Floats:
        """(m,) by how much each sample is beyond what is allowed, as a ratio."""
        worst = self._motors()
        owner, ends = self.owner, self.first[1:] - 1
        drawn = self.stretches.drawing[self.stretches.starts[:-1]]
        pen = np.flatnonzero(drawn[owner])
        step_mm = float(np.abs(np.linalg.inv(self.limits.steps_matrix)).max())
        swing_mm = self.elastic.swing_mm
        allowed = max(swing_mm - ROUNDING_STEPS * step_mm, swing_mm / 2.0)
        tips = [[self._tip(axis, number) for number in range(len(self.elastic.factors))] for axis in (0, 1)]
        for (x, left_x), (y, left_y) in itertools.product(*tips):
            tip = np.column_stack((x[pen], y[pen]))
            worst[pen] = np.maximum(worst[pen], self._distance(tip, pen) / allowed)
            # What swings on behind the end counts where the pen is still down, or comes down before it has died away.
            left = np.hypot(left_x, left_y)
            at_end = np.where(drawn, left / allowed, left * self._decay() / (allowed * LEAVES))
            worst[ends] = np.maximum(worst[ends], at_end)
            at, missed = self._missed(np.column_stack((x, y)))
            np.maximum.at(worst, at, missed / allowed)
        return worst

    def _missed(self, tip: Floats) -> tuple[Indices, Floats]:
        """Sharp corners that are drawn: (c,) the sample at which the tip is near each, and how far it stays from it."""
        points, along = self.stretches.points_mm, self.stretches.along_mm
        step = np.diff(points, axis=0)
        across = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
        turn = np.abs(np.arctan2(across, np.sum(step[1:] * step[:-1], axis=1)))
        corner = np.flatnonzero((turn > SHARP_RAD) & ~self.stretches.rest[1:-1] & self.stretches.drawing[1:]) + 1
        at = np.searchsorted(self.way_mm, along[corner]) + round(self.kernel.mean)
        near = np.full(len(corner), np.inf)
        for shift in range(-len(self.kernel.tip) // 2, len(self.kernel.tip) // 2 + 1):
            there = tip[np.clip(at + shift, 0, len(tip) - 1)] - points[corner]
            near = np.minimum(near, np.hypot(there[:, 0], there[:, 1]))
        return np.minimum(at, len(tip) - 1), near

    def swings(self) -> Swings:
        """(2, f, k) complex128: what the motion of each stretch leaves behind, whatever came before it."""
        own = replace(self, begins=np.zeros_like(self.begins))
        ends = self.first[1:] - 1
        found = np.zeros_like(self.begins)
        for axis, number in itertools.product((0, 1), range(len(self.elastic.factors))):
            found[axis, number] = own._swing(axis, number)[ends]
        return found

    def _decay(self) -> float:
        """What is left of a swing when the pen touches."""
        poles = [self.elastic.pole(axis, 1.0) for axis in (0, 1)]
        return math.exp(max(pole.real for pole in poles if pole) * self.elastic.settle_s)

    def _motors(self) -> Floats:
        """(m,) accelerations and speeds of the axes, step rates of the motors, against their limits."""
        limits, period, x = self.limits, self.elastic.period_s, self.drive_mm
        moved = np.diff(x, axis=0, append=x[-1:])
        moved[self.first[1:] - 1] = 0.0
        speed = np.abs(moved) / period / limits.speed_mm_s
        rate = np.abs(limits.steps_at(moved)) / period / limits.step_rate_hz
        worst = np.maximum(speed.max(axis=1), rate.max(axis=1)) / (1.0 + SLACK)
        w = WINDOW
        if len(x) > 2 * w:
            bent = np.abs(x[2 * w :] - 2.0 * x[w:-w] + x[: -2 * w]) / (w * period) ** 2 / limits.accel_mm_s2
            within = self.owner[2 * w :] == self.owner[: -2 * w]
            worst[w:-w] = np.maximum(worst[w:-w], np.where(within, bent.max(axis=1), 0.0))
        return np.asarray(worst)

    def _swing(self, axis: int, number: int) -> Swings:
        """(m,) complex128: sum of the drive's steps so far, each turned and shrunk by its age; see virtual/mechanics."""
        pole = self.elastic.pole(axis, self.elastic.factors[number])
        moved = np.diff(self.drive_mm[:, axis], prepend=self.drive_mm[:1, axis])
        moved[self.first[:-1]] = 0.0
        time = (np.arange(len(moved)) - self.first[self.owner]) * self.elastic.period_s
        # Even motion over one period is like a step in its middle.
        grown = np.cumsum(moved * np.exp(-pole * (time - self.elastic.period_s / 2.0)))
        before = np.concatenate(([0.0], grown[self.first[1:-1] - 1])) - self.begins[axis, number]
        return np.asarray((grown - before[self.owner]) * np.exp(pole * time))

    def _tip(self, axis: int, number: int) -> tuple[Floats, Floats]:
        """Where one axis's tip is at every sample, and how far it swings on behind each stretch."""
        x = self.drive_mm[:, axis]
        if not self.elastic.frequency_hz[axis]:
            return x, np.zeros(len(self.first) - 1)
        z = self.elastic.damping[axis]
        root = math.sqrt(1.0 - z * z)
        swing = self._swing(axis, number)
        return x - (complex(1.0, -z / root) * swing).real, np.abs(swing[self.first[1:] - 1]) / root

    def _distance(self, tip: Floats, sample: Indices) -> Floats:
        """(j,) distance of tips (j, 2) from their lines, near where they should be at some samples."""
        along, points, starts = self.stretches.along_mm, self.stretches.points_mm, self.stretches.starts
        owner = self.owner[sample]
        begin, end = starts[owner], starts[owner + 1] - 1
        at = self.way_mm[np.maximum(sample - round(self.kernel.mean), self.first[owner])]
        best = np.full(len(tip), np.inf)
        for _ in range(LOOKS):
            k = np.clip(np.searchsorted(along, at, side="right") - 1, begin, end - 1)
            length = along[k + 1] - along[k]
            step = points[k + 1] - points[k]
            off = tip - points[k]
            ahead = (off[:, 0] * step[:, 0] + off[:, 1] * step[:, 1]) / length
            gap = off - step * (np.clip(ahead, 0.0, length) / length)[:, None]
            best = np.minimum(best, np.hypot(gap[:, 0], gap[:, 1]))
            at = along[k] + ahead
        return best

    def gentler(self, over: Floats, push_share: float, *, everywhere: bool) -> tuple[Floats, Floats]:
        """(n,) factors for the accelerations behind each vertex, and for the squared speeds at the vertices.

        Corners near by answer for what is over; where there is none, the accelerations do. ``everywhere``: the whole
        stretch, so that there is an end.
        """
        n = len(self.stretches.points_mm)
        slower, calmer = np.ones(n), np.ones(n)
        bad = np.flatnonzero(over > 1.0)
        if not len(bad):
            return slower, calmer
        if everywhere:
            worst = np.maximum.reduceat(over, self.first[:-1])
            factor = np.where(worst > 1.0, np.minimum(AIM / worst**1.5, 1.0), 1.0)
            factor = np.repeat(factor, np.diff(self.stretches.starts))
            return factor, factor
        owner = self.owner[bad]
        begin, end = self.stretches.starts[owner], self.stretches.starts[owner + 1] - 1
        segment = np.searchsorted(self.stretches.along_mm, self.way_mm, side="right") - 1
        span = len(self.kernel.tip)
        omega = 2.0 * math.pi * min(f for f in self.elastic.frequency_hz if f)
        swings = round(math.pi / omega / self.elastic.period_s)
        last = np.clip(segment[bad], begin, end - 1)
        early = np.clip(segment[np.maximum(bad - span, self.first[owner])], begin, end - 1)
        long_ago = np.clip(segment[np.maximum(bad - span - swings, self.first[owner])], begin, end - 1)
        # A change of velocity makes an axis swing by dv / w, one of acceleration by a / w^2.
        kicks = np.concatenate(([0.0], np.cumsum(self.kick_mm_s)))
        kick = kicks[last + 1] - kicks[early + 1]
        push = float(self.limits.accel_mm_s2.max()) / omega
        blame = kick / (kick + push_share * push)
        calmer = np.minimum(calmer, lowest(early + 1, last + 1, (over[bad] / AIM) ** (-2.0 * blame), n))
        slower = np.minimum(slower, lowest(long_ago, last + 1, (over[bad] / AIM) ** (blame - 1.0), n))
        return np.maximum(slower, LOWEST), np.maximum(calmer, LOWEST)


def _averaged(stretches: Stretches, first: Indices, way_mm: Floats, kernel: Kernel) -> Floats:
    """(m, 2) where the drives go: the motor's average of the planned motion, stretch by stretch."""
    along = stretches.along_mm
    out = np.empty((len(way_mm), 2))
    owner = np.repeat(np.arange(len(first) - 1), np.diff(first))
    for axis in (0, 1):
        place = np.interp(way_mm, along, stretches.points_mm[:, axis])
        moved = np.diff(place, prepend=place[:1])
        moved[first[:-1]] = 0.0
        gone = np.cumsum(np.convolve(moved, kernel.motor[axis])[: len(moved)])
        start = stretches.points_mm[stretches.starts[:-1], axis]
        out[:, axis] = gone - np.append(0.0, gone[first[1:-1] - 1])[owner] + start[owner]
    return out
