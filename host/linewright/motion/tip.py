"""Planning for the tip: motor motion that makes the tip of an elastic machine follow the path.

A plan for a stiff machine (`profile`) is averaged in time (`kernels`): the tip follows ``K * q`` and the motors ``H *
q``. The error that averaging causes at corners and on curves is added to the plan beforehand where that helps.
Frequencies that differ from the planned ones leave some swing. Every plan is therefore simulated (`tip_model`) at both
ends of its band of frequencies. Where the tip is too far from its line or a motor exceeds a limit, the plan is slowed
down and simulated again. Finally the rounded ramps are simulated, including the swing left by earlier strokes.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.corners import find_corners
from linewright.motion.kernels import Kernel, three_boxes, three_impulses
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.profile import plan_profile
from linewright.motion.sampled_ramps import SampledRamps, make_ramps_sampled
from linewright.motion.speeds import lowest
from linewright.motion.take_up import TakeUp
from linewright.motion.timeline import Sampled, Stretches, phases
from linewright.motion.tip_model import SHARP_RAD, Elastic, Swings, TipModel

Indices = NDArray[np.int64]

ROOM: Final = 0.985
"""Share of the accelerations used by the plan; the rest is for rounding to whole steps and whole speeds."""

ROUNDING_STEPS: Final = 0.75
"""Part of the tip's error reserved for rounding, steps: half a step of either motor."""

WHOLE_STEPS: Final = 0.45
"""The same when the ramps are checked and both axes are elastic: half a step of the one motor whose single steps the
ramps do not show, and the swing that this causes."""

ROUNDS: Final = 20
"""Most iterations with three boxes; the last ones slow down the whole stretch, so the loop ends."""

FIRST_ROUNDS: Final = 8
"""Iterations of each kernel that slow down single places; later ones slow down the whole stretch."""

AT_ONCE: Final = 20_000
"""Vertices planned at a time, to save memory: 15 to 20 kB each, at 30 samples a vertex, but many times as much where a
plan is slowed down a lot. A longer stroke is not divided. Smaller parts take longer: their last iterations have few
stretches."""

PASSES: Final = 8
"""Most iterations of checking strokes as their ramps play them; only strokes beyond the limit are planned again."""

GENTLEST: Final = 0.01
"""Lowest share of the accelerations; an error that remains then does not depend on speed."""

AIM: Final = 0.97
"""Target when a plan is slowed down, as a share of the limit: slightly less saves iterations."""

LOWEST: Final = 0.7
HIGHEST: Final = 1.15
"""Largest factor of change in one iteration, slower or faster."""

LITTLE: Final = 0.3
"""Shares of the limit below this are treated alike."""

PATIENCE: Final = 4
"""Iterations without a shorter plan after which the search ends."""

BOXES: Final = ((1.0, 1.0), (1.2, 1.0), (1.2, 0.1))
"""Fallback kernels for stretches that turn, in order: factor on the length of three boxes, and `push_share`."""

CORNER_YIELDS: Final = 0.58
"""``1 - q = 0.7 q``: see `_yields`."""

SHOULDER_MM: Final = 1.5
"""Distance on either side of a corner within which its correction fades out: longer than the range of the average."""


def plan_tip(
    stretches: Stretches,
    stroke: Indices,
    limits: Limits,
    elastic: Elastic,
    play: TakeUp | None = None,
    begins_at: Indices | None = None,
) -> SampledRamps:
    """Ramps that keep the tip within `Elastic.swing_mm` of the stretches, and the motors within their limits.

    Parameters
    ----------
    stretches : each longer than 0.
    stroke : (k,) int64, stroke that each draws, -1 for travel.
    play : the backlash, which the stretches leave out.
    begins_at : (k, 2) int64, side of the backlash at which each begins: see `TakeUp.motors`.
    """
    stretches = _with_shoulders(stretches)
    sides = np.zeros((len(stroke), 2), dtype=np.int64) if begins_at is None else begins_at
    # In parts that begin with a way, which can be slowed down if it leaves too much swing.
    ways = np.flatnonzero(stroke < 0)
    begins = ways[1:][np.diff(stretches.starts[ways] // AT_ONCE) > 0].tolist()
    swing = np.zeros((2, len(elastic.factors)), dtype=np.complex128)
    parts = []
    for begin, end in itertools.pairwise((0, *begins, len(stroke))):
        part = stretches.select(np.arange(begin, end)) if begins else stretches
        ramps, swing = _part(part, stroke[begin:end], limits, elastic, play, sides[begin:end], swing)
        parts.append(ramps)
    return SampledRamps.one_after_the_other(parts)


def _part(
    stretches: Stretches,
    stroke: Indices,
    limits: Limits,
    elastic: Elastic,
    play: TakeUp | None,
    sides: Indices,
    swing: Swings,
) -> tuple[SampledRamps, Swings]:
    """Ramps of some successive stretches, and the swing after them, as for `_begins`.

    ``swing`` (2, f) is that before them; the others are as in `plan_tip`.
    """
    count = len(stroke)
    trials = _trials(stretches, elastic, play.pad if play else 0)
    step_mm = float(np.hypot(*np.linalg.inv(limits.steps_matrix)).max())
    # On a stiff axis every single step reaches the tip.
    left_steps = WHOLE_STEPS if all(elastic.frequency_hz) else ROUNDING_STEPS
    whole = np.full(count, max(elastic.swing_mm - left_steps * step_mm, elastic.swing_mm / 2.0))
    tight = np.full(count, max(elastic.swing_mm - ROUNDING_STEPS * step_mm, elastic.swing_mm / 2.0))
    begins = np.zeros((2, len(elastic.factors), count), dtype=np.complex128)
    waiting = np.arange(count)
    found: dict[int, _Played] = {}
    for left in range(PASSES, 0, -1):
        found.update(_planned(stretches, waiting, trials, limits, elastic, begins, tight, play, sides))
        first = np.concatenate(([0], np.cumsum([len(found[i].due_mm) for i in range(count)])))
        carriage = np.concatenate([found[i].carriage_mm for i in range(count)])
        plan = Sampled(first, play.motors(first, carriage, sides) if play else carriage, elastic.period_s)
        ramps = make_ramps_sampled(plan, stroke, limits)
        due = np.concatenate([found[i].due_mm for i in range(count)])
        due += np.repeat(stretches.along_mm[stretches.starts[:-1]], np.diff(first))
        drive = ramps.played_mm(plan, limits)
        carriage = play.shape.carriage_at(drive) if play else drive
        model = TipModel(stretches, limits, elastic, whole, np.zeros_like(begins), first, due, drive, carriage)
        begins, after = _begins(model, ramps, swing)
        if left == 1:
            break
        over = replace(model, begins=begins).over(played=True)
        worst = np.maximum.reduceat(over, first[:-1])
        waiting = np.flatnonzero((worst > 1.0) & (stroke >= 0))
        if not len(waiting):
            break
        # Where most of the swing comes from the move before, that move has to leave less.
        brought = np.hypot(*np.abs(begins[:, :, waiting]).max(axis=1)) > whole[waiting] / 2.0
        brought &= (waiting > 0) & (stroke[waiting - 1] < 0)
        worst[waiting - brought] = worst[waiting]
        waiting = np.unique(waiting - brought)
        tight[waiting] *= np.maximum(AIM / worst[waiting], LOWEST)
    return ramps, after


@dataclass(frozen=True, eq=False)
class _Trial:
    """One way of making a plan.

    Parameters
    ----------
    kernel : the average in time.
    takes : (k,) bool, stretches to which it applies.
    push_share : share of an excess attributed to accelerations; the rest is attributed to corners.
    last : it always yields a plan, and the shortest of those is taken.
    """

    kernel: Kernel
    takes: Flags
    push_share: float
    last: bool


def _trials(stretches: Stretches, elastic: Elastic, pad: int) -> list[_Trial]:
    """All that are tried; ``pad``: samples at which the machine stands before and after each stretch."""
    hz, damping, period = elastic.frequency_hz, elastic.damping, elastic.period_s
    ones = stretches.starts[1:] - stretches.starts[:-1] == 2
    step = np.abs(stretches.points_mm[stretches.starts[:-1] + 1] - stretches.points_mm[stretches.starts[:-1]])
    found = []
    for axis in sorted((a for a in (0, 1) if hz[a]), key=lambda a: -hz[a]):
        # The limiting axis has no acceleration to spare.
        decides = step[:, axis] >= step[:, 1 - axis]
        found.append(_Trial(three_impulses(axis, hz, damping, period), ones & decides, 1.0, False))
    softest = min((a for a in (0, 1) if hz[a]), key=lambda a: hz[a])
    found.append(_Trial(three_impulses(softest, hz, damping, period), ones, 1.0, False))
    every = np.ones(len(ones), dtype=np.bool_)
    for longer, push_share in BOXES:
        found.append(_Trial(three_boxes(hz, damping, period, longer), every, push_share, True))
    return [replace(trial, kernel=trial.kernel.padded(pad)) for trial in found]


@dataclass(frozen=True, eq=False)
class _Played:
    """The plan of one stretch.

    Parameters
    ----------
    last : made by a trial with ``last``.
    due_mm : (m,) float64, see `TipModel`, from the stretch's beginning.
    carriage_mm : (m, 2) float64.
    """

    last: bool
    due_mm: Floats
    carriage_mm: Floats


def _planned(
    stretches: Stretches,
    which: Indices,
    trials: list[_Trial],
    limits: Limits,
    elastic: Elastic,
    begins: Swings,
    allowed: Floats,
    play: TakeUp | None,
    sides: Indices,
) -> dict[int, _Played]:
    """Plans of some stretches, by number."""
    found: dict[int, _Played] = {}
    for trial in trials:
        takes = [i for i in which.tolist() if trial.takes[i] and not (trial.last and i in found and not found[i].last)]
        if not takes:
            continue
        waiting = np.array(takes, dtype=np.int64)
        part = stretches.select(waiting)
        gentle = np.full(len(part.points_mm), ROOM)
        calm = np.ones(len(part.points_mm))
        moved = np.zeros((len(part.points_mm), 2))
        yields = _yields(part)
        shortest = np.full(len(waiting), np.iinfo(np.int64).max)
        since = np.zeros(len(waiting), dtype=np.int64)  # iterations since the shortest plan
        left = np.arange(len(waiting))
        for turn in range(ROUNDS if trial.last else FIRST_ROUNDS):
            at, mine = part.vertices(left), waiting[left]
            tried = _Try.of(part.select(left), trial.kernel, limits, elastic, gentle[at], calm[at], moved[at])
            model = tried.model(limits, elastic, allowed[mine], begins[:, :, mine], play, sides[mine])
            over = model.over()
            worst = np.maximum.reduceat(over, model.first[:-1])
            fine = worst <= 1.0
            if trial.last and turn == ROUNDS - 1:
                fine |= shortest[left] == np.iinfo(np.int64).max
            count = np.diff(model.first)
            better = fine & (count < shortest[left])
            shortest[left[better]] = count[better]
            since[left] = np.where(better, 0, since[left] + 1)
            for i in np.flatnonzero(better).tolist():
                number, played = int(mine[i]), tried.one(i, last=trial.last)
                if number not in found or len(played.due_mm) < len(found[number].due_mm):
                    found[number] = played
            known = shortest[left] < np.iinfo(np.int64).max
            slower, calmer = tried.gentler(model, over, trial.push_share, known, everywhere=turn >= FIRST_ROUNDS)
            before = gentle[at], calm[at]
            gentle[at] = np.clip(gentle[at] * slower, GENTLEST, ROOM)
            calm[at] = np.clip(calm[at] * calmer, GENTLEST**2, 1.0)
            moved[at] = (moved[at] + tried.short_mm) * yields[at, None]
            same = (gentle[at] == before[0]) & (calm[at] == before[1])
            same = np.logical_and.reduceat(same, model.stretches.starts[:-1])
            done = (fine & (same | (not trial.last))) | (known & (since[left] >= PATIENCE))
            left = left[~done]
            if not len(left):
                break
    return found


def _begins(model: TipModel, ramps: SampledRamps, before: Swings) -> tuple[Swings, Swings]:
    """(2, f, k) complex128: swing of the tip at the first sample of each stretch; (2, f): when the next step is due.

    Ramps leave out the samples without motion at either end of a stretch, so a swing has less time to decay.

    ``before`` (2, f) is the swing at the first step.
    """
    elastic = model.elastic
    own = model.swings()
    drawn = model.stretches.drawing[model.stretches.starts[:-1]]
    pause = np.where(drawn, elastic.lift_s, elastic.settle_s)
    lasts = ramps.lasts_s
    left_out = (np.diff(model.first) - 1) * elastic.period_s - ramps.begin_s - lasts
    begins, swings = np.zeros_like(own), np.zeros_like(before)
    for axis, number in itertools.product((0, 1), range(len(elastic.factors))):
        pole = elastic.pole(axis, elastic.factors[number])
        if not pole:
            continue
        through, after = np.exp(pole * (lasts + pause)), own[axis, number] * np.exp(pole * (pause - left_out))
        swing, all_swings = complex(before[axis, number]), []
        for decays, left in zip(through.tolist(), after.tolist(), strict=True):
            all_swings.append(swing)
            swing = swing * decays + left
        begins[axis, number] = np.array(all_swings) * np.exp(-pole * ramps.begin_s)
        swings[axis, number] = swing
    return begins, swings


@dataclass(frozen=True, eq=False)
class _Try:
    """One attempt at planning some stretches.

    Parameters
    ----------
    first : (k + 1,) int64, first sample of each.
    way_mm, carriage_mm : (m,) and (m, 2) float64, distance in the plan for a stiff machine, and carriage positions.
    kick_mm_s : (n,) float64, change of the plan's velocity at each vertex.
    short_mm : (n, 2) float64, vector from the averaged plan to each vertex.
    """

    stretches: Stretches
    kernel: Kernel
    first: Indices
    way_mm: Floats
    carriage_mm: Floats
    kick_mm_s: Floats
    short_mm: Floats

    @classmethod
    def of(
        cls,
        stretches: Stretches,
        kernel: Kernel,
        limits: Limits,
        elastic: Elastic,
        gentle: Floats,
        calm: Floats,
        moved_mm: Floats,
    ) -> _Try:
        """The fastest plan, given (n,) factors ``gentle`` for the accelerations behind each vertex and ``calm`` for the
        squared corner speeds, and (n, 2) shifts ``moved_mm`` of the vertices.
        """
        asked = replace(stretches, points_mm=stretches.points_mm + moved_mm)
        corners = find_corners(asked.points_mm, asked.rest, asked.drawing, limits).calmer(calm)
        plan = plan_profile(asked.points_mm, asked.drawing, corners, limits, gentle[:-1])
        first, way = phases(asked, plan, limits, gentle[:-1]).sampled(elastic.period_s, len(kernel.tip))
        speed = np.sqrt(plan.w_mm2_s2[np.searchsorted(plan.place, np.arange(len(gentle)))])
        kick = 2.0 * speed * np.sin(corners.turn_rad / 2.0)
        tip = _averaged(asked, first, way, (kernel.tip, kernel.tip))
        there = np.minimum(np.searchsorted(way, asked.along_mm) + round(kernel.mean), len(way) - 1)
        return cls(
            stretches,
            kernel,
            first,
            # From the shifted path to the given one, vertex by vertex.
            np.interp(way, asked.along_mm, stretches.along_mm),
            _averaged(asked, first, way, kernel.motor),
            kick,
            stretches.points_mm - tip[there],
        )

    @cached_property
    def owner(self) -> Indices:
        """(m,) int64, stretch of each sample."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    def model(
        self, limits: Limits, elastic: Elastic, allowed_mm: Floats, begins: Swings, play: TakeUp | None, sides: Indices
    ) -> TipModel:
        """The model with this attempt's drive positions."""
        late = np.maximum(np.arange(len(self.way_mm)) - round(self.kernel.mean), self.first[self.owner])
        due = self.way_mm[late]
        drive = carriage = self.carriage_mm
        if play:
            drive = play.motors(self.first, carriage, sides)
            begin = self.first[:-1]
            carriage = play.shape.carriage_at(drive, (begin, carriage[begin]))
        return TipModel(self.stretches, limits, elastic, allowed_mm, begins, self.first, due, drive, carriage)

    def one(self, i: int, *, last: bool) -> _Played:
        """Plan of stretch ``i``."""
        mine = slice(self.first[i], self.first[i + 1])
        late = np.maximum(np.arange(self.first[i + 1] - self.first[i]) - round(self.kernel.mean), 0)
        due = self.way_mm[mine][late] - self.stretches.along_mm[self.stretches.starts[i]]
        return _Played(last, due, self.carriage_mm[mine])

    def gentler(
        self, model: TipModel, over: Floats, push_share: float, known: Flags, *, everywhere: bool
    ) -> tuple[Floats, Floats]:
        """(n,) factors for the accelerations after each vertex, and for the squared speeds at the vertices.

        An excess is attributed to corners nearby, or to the accelerations where there is none. Stretches with a
        ``known`` plan (k,) are made faster by the same rule where they are below their limits. With ``everywhere``, the
        other stretches are slowed down as a whole, so that the iteration ends.
        """
        n = len(self.stretches.points_mm)
        owner = self.owner
        begin, end = self.stretches.starts[owner], self.stretches.starts[owner + 1] - 1
        segment = np.searchsorted(self.stretches.along_mm, self.way_mm, side="right") - 1
        pad = self.kernel.pad
        span = len(self.kernel.tip) - 2 * pad
        omega = 2.0 * math.pi * min(f for f in model.elastic.frequency_hz if f)
        swings = round(math.pi / omega / model.elastic.period_s)
        # Half of a backlash is taken up before the carriage turns around.
        sample = np.maximum(np.arange(len(over)) - pad // 2, self.first[owner])
        last = np.clip(segment[sample], begin, end - 1)
        early = np.clip(segment[np.maximum(sample - pad // 2 - span, self.first[owner])], begin, end - 1)
        long_ago = np.clip(segment[np.maximum(sample - pad // 2 - span - swings, self.first[owner])], begin, end - 1)
        # A velocity step makes an axis swing by dv / w, an acceleration step by a / w^2.
        kicks = np.concatenate(([0.0], np.cumsum(self.kick_mm_s)))
        kick = kicks[last + 1] - kicks[early + 1]
        push = float(model.limits.accel_mm_s2.max()) / omega
        blame = kick / (kick + push_share * push)
        most = np.where(known, HIGHEST, 1.0)[owner]
        share = np.maximum(over, LITTLE) / AIM
        calmer = lowest(early + 1, last + 1, np.clip(share ** (-2.0 * blame), LOWEST, most), n)
        slower = lowest(long_ago, last + 1, np.clip(share ** (blame - 1.0), LOWEST, most), n)
        most = np.repeat(np.where(known, HIGHEST, 1.0), np.diff(self.stretches.starts))
        slower, calmer = np.minimum(slower, most), np.minimum(calmer, most)
        if everywhere:
            worst = np.maximum.reduceat(over, self.first[:-1])
            factor = np.where(worst > 1.0, np.minimum(AIM / worst**1.5, 1.0), 1.0)
            factor = np.repeat(factor, np.diff(self.stretches.starts))
            whole = np.repeat(~known, np.diff(self.stretches.starts))
            slower, calmer = np.where(whole, factor, slower), np.where(whole, factor, calmer)
        return slower, calmer


def _yields(stretches: Stretches) -> Floats:
    """(n,) share of the averaging error at each vertex that is added to the plan beforehand.

    On a curve, all of it. At a lone corner the correction also bends the lines beside it, by up to 0.7 of it: with the
    share `CORNER_YIELDS`, the error left at the corner equals the one added there.
    """
    step = np.diff(stretches.points_mm, axis=0)
    across = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    turn = np.abs(np.arctan2(across, np.sum(step[1:] * step[:-1], axis=1)))
    yields = np.ones(len(stretches.points_mm))
    yields[1:-1] = np.clip(1.0 - (1.0 - CORNER_YIELDS) * turn / SHARP_RAD, CORNER_YIELDS, 1.0)
    yields[stretches.rest] = 0.0
    drawn = np.append(stretches.drawing, False)
    yields[~drawn] = 0.0
    return yields


def _with_shoulders(stretches: Stretches) -> Stretches:
    """The same with a vertex on either side of each sharp corner that is drawn; corrections are confined between
    them.
    """
    points = stretches.points_mm
    step = np.diff(points, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    across = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    turn = np.zeros(len(points))
    turn[1:-1] = np.abs(np.arctan2(across, np.sum(step[1:] * step[:-1], axis=1)))
    sharp = (turn > SHARP_RAD) & ~stretches.rest
    roomy = stretches.drawing & ~stretches.between & (length > 3.0 * SHOULDER_MM)
    behind, ahead = np.flatnonzero(roomy & sharp[:-1]), np.flatnonzero(roomy & sharp[1:])
    at = np.concatenate((behind, ahead))
    share = SHOULDER_MM / length[at]
    share[len(behind) :] = 1.0 - share[len(behind) :]
    order = np.lexsort((share, at))
    at, share = at[order], share[order, None]
    more = points[at] * (1.0 - share) + points[at + 1] * share
    return Stretches(
        np.insert(points, at + 1, more, axis=0),
        stretches.starts + np.searchsorted(at, stretches.starts - 1, side="right"),
        np.insert(stretches.drawing, at + 1, stretches.drawing[at]),
    )


def _averaged(stretches: Stretches, first: Indices, way_mm: Floats, weights: tuple[Floats, Floats]) -> Floats:
    """(m, 2) averages of the planned motion of each stretch, with ``weights`` for x and y."""
    along = stretches.along_mm
    out = np.empty((len(way_mm), 2))
    owner = np.repeat(np.arange(len(first) - 1), np.diff(first))
    for axis in (0, 1):
        place = np.interp(way_mm, along, stretches.points_mm[:, axis])
        moved = np.diff(place, prepend=place[:1])
        moved[first[:-1]] = 0.0
        gone = np.cumsum(np.convolve(moved, weights[axis])[: len(moved)])
        start = stretches.points_mm[stretches.starts[:-1], axis]
        out[:, axis] = gone - np.append(0.0, gone[first[1:-1] - 1])[owner] + start[owner]
    return out
