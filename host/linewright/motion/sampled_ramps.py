"""From sampled drive positions to ramps in whole steps.

Every few milliseconds a node is placed on whole steps, and the straight piece to the next node is a ramp. Rounding
changes the length of a piece by about half a step, and so its duration at given speeds. Without compensation the motion
would drift in time, so each speed corrects the timing error before it.

Let the motion be late by ``e`` at a node with speed ``v``. The next piece is ``L`` whole steps long and planned to take
``D``; the piece after it is planned to take ``D'`` from a speed ``p`` to ``p'``. The speed ``v'`` between them is
chosen so that ``2 L / (v + v') + D' (p + p') / (v' + p') = D + D' - e``: the delay is recovered within two pieces, and
corrections do not accumulate. Before a stop ``p' = 0``, and the second piece is that of the whole steps left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lineboard.kernel import MAX_SPEED, TICK_HZ
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.ramps import Ramps
from linewright.motion.timeline import Sampled
from linewright.program.duration import ramp_ticks

Indices = NDArray[np.int64]

MOVED: Final = 0.4
"""Largest shift of a node, as a share of the shorter adjoining piece."""

MOVED_MOST: Final = 2.0
MOVES: Final = 8
"""Largest shift of a node, samples, and number of positions tried on either side."""

BENT: Final = 0.7
CREEP: Final = 400.0
"""Speeds are corrected by at most this share of the planned speed, and by these steps/s."""

LONGEST: Final = 64
"""Longest piece, samples."""

SHORTEST: Final = 4
"""Pieces of this many samples are not divided further."""

FEW_STEPS: Final = 1.0
"""Pieces of fewer whole steps are not divided further, because direction and speed would be lost in rounding."""

NEAR_STEPS: Final = 0.4
"""Largest distance of a ramp from the drives, steps: as much as their rounding; with 15 samples or more the mechanics
average it out."""


@dataclass(frozen=True, eq=False)
class SampledRamps:
    """Ramps that follow sampled drive positions.

    Parameters
    ----------
    ramps : ``first_of_piece`` is (k + 1,): number of ramps before each stretch.
    rest_ticks : (m,) int64, rest after each ramp.
    start_steps : (2,) int64, start position of the first ramp.
    begin_s : (k,) float64, time before the first step of each stretch, which is omitted.
    """

    ramps: Ramps
    rest_ticks: Indices
    start_steps: Indices
    begin_s: Floats

    @classmethod
    def one_after_the_other(cls, parts: Sequence[SampledRamps]) -> SampledRamps:
        """Concatenate the ramps of one or more paths, each starting where the one before ends."""
        # The number of ramps before the first stretch of a part is also that before the end of the part before.
        inner = [replace(part.ramps, first_of_piece=part.ramps.first_of_piece[:-1]) for part in parts[:-1]]
        return cls(
            Ramps.one_after_the_other([*inner, parts[-1].ramps]),
            np.concatenate([part.rest_ticks for part in parts]),
            parts[0].start_steps,
            np.concatenate([part.begin_s for part in parts]),
        )

    @property
    def lasts_s(self) -> Floats:
        """(k,) float64, time that each stretch is played for, rests within it included."""
        ramps = self.ramps
        ticks = ramp_ticks(ramps.d_steps[:, 0], ramps.d_steps[:, 1], ramps.v_start, ramps.v_end)
        through = np.concatenate(([0], np.cumsum(ticks + self.rest_ticks))) / TICK_HZ
        return np.asarray(np.diff(through[ramps.first_of_piece]))

    def played_mm(self, plan: Sampled, limits: Limits) -> Floats:
        """(m, 2) drive positions played by the ramps at each sample of their plan, averaged over single steps."""
        ramps = self.ramps
        place = np.concatenate((self.start_steps[None], self.start_steps + np.cumsum(ramps.d_steps, axis=0)))
        ticks = ramp_ticks(ramps.d_steps[:, 0], ramps.d_steps[:, 1], ramps.v_start, ramps.v_end)
        through = np.concatenate(([0], np.cumsum(ticks + self.rest_ticks))) / TICK_HZ
        first = ramps.first_of_piece
        owner = np.repeat(np.arange(len(plan.first) - 1), np.diff(plan.first))
        time = (np.arange(plan.first[-1]) - plan.first[owner]) * plan.period_s - self.begin_s[owner]
        end = through[first[owner + 1]]
        time = np.minimum(np.maximum(time, 0.0) + through[first[owner]], end)
        at = np.clip(np.searchsorted(through, time, side="right") - 1, first[owner], first[owner + 1] - 1)
        at = np.maximum(at, 0)
        lasts = ticks[at] / TICK_HZ
        share = np.minimum((time - through[at]) / lasts, 1.0)
        v0, v1 = ramps.v_start[at].astype(np.float64), ramps.v_end[at].astype(np.float64)
        # Speed is linear in time.
        gone = (2.0 * v0 * share + (v1 - v0) * share**2) / (v0 + v1)
        # A step is made when its interval ends, so the drives lag by half a step on average.
        behind = 0.5 / np.abs(ramps.d_steps[at]).max(axis=1)
        there = place[at] + ramps.d_steps[at] * np.where(gone < 1.0, np.maximum(gone - behind, 0.0), 1.0)[:, None]
        # A stretch without steps does not move.
        none = first[owner] == first[owner + 1]
        there[none] = place[first[owner[none]]]
        return limits.mm_at(there)


def make_ramps_sampled(plan: Sampled, stroke: Indices, limits: Limits) -> SampledRamps:
    """Ramps along sampled drives.

    Parameters
    ----------
    plan : k stretches.
    stroke : (k,) int64, stroke that each stretch draws, -1 for travel.
    """
    at_steps = limits.steps_at(plan.drive_mm)
    node, moment, place = _rounded(plan, at_steps, _nodes(plan, at_steps))
    owner = np.searchsorted(plan.first, node, side="right") - 1
    # Remove nodes that do not move: at the start of a stretch all but the last of a run, at its end all but the first.
    # In between, both ends of a pause are kept.
    first = np.concatenate(([True], owner[1:] != owner[:-1]))
    still = ~np.any(place[1:] != place[:-1], axis=1) & ~first[1:]
    moved = np.cumsum(np.append(False, ~still & ~first[1:]))
    begins = np.maximum.accumulate(np.where(first, np.arange(len(node)), 0))
    leading = moved == moved[begins]
    last = np.append(first[1:], True)
    before_end = np.minimum.accumulate(np.where(last, np.arange(len(node)), len(node))[::-1])[::-1]
    trailing = moved == moved[before_end]
    after_still, before_still = np.append(False, still), np.append(still, False)
    keep = ~(after_still & before_still) & ~(leading & before_still) & ~(trailing & ~leading & after_still)
    node, moment, place, owner = node[keep], moment[keep], place[keep], owner[keep]

    within = owner[1:] == owner[:-1]
    d_all = place[1:] - place[:-1]
    stands = within & ~d_all.any(axis=1)
    left = np.flatnonzero(within & ~stands)
    right = left + 1
    d_steps = d_all[left]
    length = np.hypot(d_steps[:, 0], d_steps[:, 1])
    took = (moment[right] - moment[left]) * plan.period_s
    ends = np.append(~within, True)[right]
    pause = np.append(np.where(stands, np.diff(moment) * plan.period_s, 0.0), 0.0)[right]
    speed = _speed(at_steps, node[right]) / (2.0 * plan.period_s)
    # Where a motor's step rate limits the speed, no adjoining ramp may exceed it to catch up.
    most = np.minimum(length / np.abs(d_steps / limits.step_rate_hz).max(axis=1), MAX_SPEED)
    most = np.maximum(np.minimum(most, np.append(most[1:], np.inf)), 1.0)
    v_end, rest_s = _kept_in_time(length, took, speed, most, ends | (pause > 0.0), pause)
    v_start = np.concatenate(([0], v_end[:-1]))
    # One ramp from rest to rest.
    stop_after = (v_start == 0) & (v_end == 0) | (pause > 0.0)
    alone = (v_start == 0) & (v_end == 0)
    v_end[alone] = np.maximum(np.rint(2.0 * length[alone] / took[alone]), 1.0).astype(np.int64)
    owners = owner[left]
    # Only a single step may end at a speed and be followed by a stop; longer ramps are halved to accelerate and
    # decelerate.
    halved = np.flatnonzero(alone & (np.abs(d_steps).max(axis=1, initial=0) > 1))
    if len(halved):
        half = np.trunc(d_steps[halved] / 2.0).astype(np.int64)  # one motor makes 2 steps or more: not all zero
        peak = v_end[halved]
        d_steps[halved] -= half
        v_start[halved], v_end[halved] = peak, 0
        d_steps, owners = np.insert(d_steps, halved, half, axis=0), np.insert(owners, halved, owners[halved])
        v_start, v_end = np.insert(v_start, halved, 0), np.insert(v_end, halved, peak)
        stop_after, rest_s = np.insert(stop_after, halved, False), np.insert(rest_s, halved, 0.0)
    count = np.bincount(owners, minlength=len(plan.first) - 1)
    before = np.concatenate(([0], np.cumsum(count)))
    ramps = Ramps(d_steps, v_start, v_end, np.repeat(stroke, count), stop_after, before)
    begin = np.zeros(len(plan.first) - 1)
    starting = np.flatnonzero(np.append(True, ~within))
    begin[owner[starting]] = moment[starting] - plan.first[owner[starting]]
    return SampledRamps(ramps, np.rint(rest_s * TICK_HZ).astype(np.int64), place[0], begin * plan.period_s)


def _kept_in_time(
    length: Floats, took: Floats, planned: Floats, most: Floats, stops: Flags, pause: Floats
) -> tuple[Indices, Floats]:
    """Whole-number speeds (m,) at the ends of pieces that keep them in time, and the rest after each, s.

    Parameters
    ----------
    length, took, planned : (m,) float64, whole-step length, planned time and planned speed at the end of each piece.
    most : (m,) float64, steps/s, at least 1: limit of the motors' step rates.
    stops : (m,) bool, the motion stops there.
    pause : (m,) float64, length of that stop, s; 0 at the end of a stretch.
    """
    found, rests = [], []
    lengths, times, speeds, halts = length.tolist(), took.tolist(), planned.tolist(), stops.tolist()
    highest = np.floor(most).astype(np.int64).tolist()
    v = late_s = 0.0
    for i, (way, lasts, aim, stop, stands) in enumerate(
        zip(lengths, times, speeds, halts, pause.tolist(), strict=True)
    ):
        if stop:
            late_s += (2.0 * way / v if v else 0.0) - lasts * (v > 0.0)
            rests.append(max(stands - late_s, 0.0) if stands else 0.0)
            late_s = max(late_s - stands, 0.0) if stands else 0.0
            v = 0.0
            found.append(0)
            continue
        rests.append(0.0)
        then, last = times[i + 1], halts[i + 1]
        behind = 0.0 if last else speeds[i + 1]
        next_way = lengths[i + 1] if last else (aim + behind) / 2.0 * then
        # Both pieces in the remaining time, which is positive: 2 way / (v + v') + 2 next / (v' + behind).
        time_left = max(lasts + then - late_s, (lasts + then) / 3.0)
        half = (v + behind) / 2.0 - (way + next_way) / time_left
        product = v * behind - 2.0 * (way * behind + next_way * v) / time_left
        wanted = math.sqrt(half * half - product) - half
        if last:
            wanted = max(wanted, next_way / then)
        # Keep each piece between a third of and twice its planned time.
        wanted = max(wanted, way / lasts - v, aim * (1.0 - BENT))
        wanted = min(wanted, 6.0 * way / lasts - v, aim * (1.0 + 2.0 * BENT) + CREEP)
        whole = min(max(round(wanted), 1), highest[i])
        late_s += 2.0 * way / (v + whole) - lasts
        v = float(whole)
        found.append(whole)
    return np.array(found, dtype=np.int64), np.array(rests)


def _rounded(plan: Sampled, at_steps: Floats, node: Indices) -> tuple[Indices, Floats, Indices]:
    """Nodes shifted in time to where both motors are nearest to whole steps: samples, times, whole steps."""
    gap = np.diff(node)
    room = np.minimum(np.append(gap, 0), np.append(0, gap)) * MOVED
    owner = np.searchsorted(plan.first, node, side="right") - 1
    room[(node == plan.first[owner]) | (node == plan.first[owner + 1] - 1)] = 0.0
    best, moment, place = np.full(len(node), np.inf), node.astype(np.float64), np.zeros((len(node), 2), dtype=np.int64)
    for tick in sorted(range(-MOVES, MOVES + 1), key=abs):
        shift = tick * MOVED_MOST / MOVES
        may = np.abs(shift) <= room
        at = node[may] + shift
        low = np.floor(at).astype(np.int64)
        share = (at - low)[:, None]
        there = at_steps[low] * (1.0 - share) + at_steps[np.minimum(low + 1, len(at_steps) - 1)] * share
        whole = np.rint(there)
        off = np.sum((there - whole) ** 2, axis=1)
        better = off < best[may]
        index = np.flatnonzero(may)[better]
        best[index], moment[index], place[index] = off[better], at[better], whole[better].astype(np.int64)
    return np.rint(moment).astype(np.int64), moment, place


def _nodes(plan: Sampled, at_steps: Floats) -> Indices:
    """Samples at which ramps meet: pieces are halved until each ramp is close enough to the drives."""
    last = plan.first[1:] - 1
    size = np.diff(plan.first)
    count = -(-(size - 1) // LONGEST)
    owner = np.repeat(np.arange(len(size)), count)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    begin = plan.first[:-1][owner] + number * LONGEST
    end = np.minimum(begin + LONGEST, last[owner])
    way = np.diff(at_steps, axis=0, prepend=at_steps[:1])
    gone = np.cumsum(np.hypot(way[:, 0], way[:, 1]))
    good = []
    span = LONGEST
    while len(begin):
        wide = (end - begin > SHORTEST) & (gone[end] - gone[begin] > FEW_STEPS)
        far = np.zeros(len(begin), dtype=np.bool_)
        some = np.flatnonzero(wide)
        for part in np.array_split(some, max(1, len(some) * span // 2_000_000)):
            far[part] = _departs(at_steps, begin[part], end[part], span)
        good.append(begin[~far])
        middle = (begin[far] + end[far]) // 2
        begin, end = np.concatenate((begin[far], middle)), np.concatenate((middle, end[far]))
        span = span // 2 + 1
    return np.sort(np.concatenate((*good, last)))


def _departs(at_steps: Floats, begin: Indices, end: Indices, span: int) -> NDArray[np.bool_]:
    """(m,) bool, a ramp between two samples departs from the drives by more than `NEAR_STEPS`."""
    duration = (end - begin).astype(np.float64)
    start, way = at_steps[begin], at_steps[end] - at_steps[begin]
    v0 = _speed(at_steps, begin)
    v1 = _speed(at_steps, end)
    both = np.maximum(v0 + v1, 1e-12)
    # The speeds are differences over two samples, hence the factor 1/4: (v0 + v1) / 2, each over two samples.
    off = np.abs(np.hypot(way[:, 0], way[:, 1]) - (v0 + v1) / 4.0 * duration)
    for k in range(1, span):
        t = np.minimum(k / duration, 1.0)
        share = (2.0 * v0 * t + (v1 - v0) * t * t) / both
        there = at_steps[np.minimum(begin + k, end)]
        gap = np.abs(there - start - way * share[:, None]).max(axis=1)
        off = np.maximum(off, gap)
    return off > NEAR_STEPS


def _speed(at_steps: Floats, at: Indices) -> Floats:
    ahead, behind = np.minimum(at + 1, len(at_steps) - 1), np.maximum(at - 1, 0)
    way = at_steps[ahead] - at_steps[behind]
    return np.asarray(np.hypot(way[:, 0], way[:, 1]))
