"""From a path with speed caps to ramps in whole steps that exceed no limit.

The limits hold because of the order of the steps:

0. `profile.plan_profile` gives the speed at every vertex of the true path; from here on these are caps.
1. `round_path` rounds every vertex to whole steps and merges vertices that coincide, keeping every cap. Rounding errors
   do not accumulate: each remaining vertex is within half a step of its true position on either motor. `STRAY_STEPS`
   is the sum of all rounding.
2. The speed passes run on these whole-step pieces, with the limits of their whole-step directions.
3. `make_ramps` cuts each piece into acceleration, cruise and deceleration, at whole steps along the same rounded line.
4. The passes run again on the cuts, with budgets lowered so that whole-number speeds keep the limits, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lineboard.kernel import MAX_STEPS
from linewright.errors import PlanError
from linewright.motion.kinematics import Flags, Floats, Limits, Steps
from linewright.motion.profile import SpeedPlan
from linewright.motion.speeds import lowest, plan_speeds

SHORT_STEPS: Final = 8.0
"""Shorter pieces are merged where the path hardly turns. A piece of one step has one of eight directions, so its length
is up to 8 % (a staircase up to 41 %) longer than the path it replaces. The pen would be slower over dense vertices than
over sparse ones, with a jolt in between; over 8 steps the error is below 0.5 %."""

MERGE_TURN_RAD: Final = 1.0 / 32.0
"""Largest turning within a merged piece. A path of length L that turns by t departs from its chord by at most L t / 4
(a single kink in the middle): twice 8 steps and 1/32 rad make 1/8 step."""

LONGER: Final = (2.0, 4.0)
"""Factors by which pieces may be lengthened where the board could not process as many ramps per second."""

STRAY_STEPS: Final = (0.5 + 1 / 8 + 1 / 64, 1.5 + 1 / 8 + 1 / 64)
"""Largest distance of a step from the given line, in steps of the motor with more steps there, and of the other one:
half a step for rounding the vertex, an eighth for merged vertices, a 64th for noise; for the other motor also half a
step for the end of a ramp and half a step for Bresenham's algorithm."""

GAIN_SHARE: Final = 0.05
GAIN_S: Final = 0.005
"""A piece is cut into several ramps only if that saves a twentieth of its time or 5 ms. Otherwise cutting costs
bandwidth and board time, and the pen would accelerate and decelerate on every chord of a curve."""

TURNING_FREE: Final = 1.0 / 64.0
"""Pieces with a smaller share free of turning follow the speed plan from end to end."""

RAMP_S: Final = 64.0
"""Longest cruise in one ramp, s: the board's kernel accepts ramps of up to 2^30 ticks (214 s), and a ramp that starts
or ends at rest lasts twice as long as one at its top speed."""

QUEUED: Final = 64
"""Ramps over which the ramp rate is averaged: a sixteenth of the board's queue."""

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class StepPath:
    """A path through whole-step positions; neighbouring positions differ.

    Parameters
    ----------
    steps : (k, 2) int64, motor positions A, B.
    cap : (k,) float64, (steps/s)^2, limit of the speed plan at each node; 0 where the pen stops, else at least 1.
    stroke : (k - 1,) int64, stroke that each piece draws, -1 for travel.
    free : (k - 1,) float64, share of each piece that belongs to no turn: see `profile.SpeedPlan`.
    node_of_vertex : (n,) int64, node of each vertex of the true path; for a merged
    vertex, the node before it. Rests are never merged.
    """

    steps: Steps
    cap: Floats
    stroke: Indices
    free: Floats
    node_of_vertex: Indices


@dataclass(frozen=True, eq=False)
class Ramps:
    """Ramps of a program, in order.

    Parameters
    ----------
    d_steps : (m, 2) int32, whole steps of A and B, at most 16383, never both 0.
    v_start, v_end : (m,) int32, steps/s in motor step space, never both 0.
    stroke : (m,) int32, stroke drawn, -1 for travel.
    stop_after : (m,) bool, a rest must follow although ``v_end`` is not 0 (single steps from rest to rest).
    first_of_piece : (k,) int64, number of ramps before each node of the `StepPath`.
    """

    d_steps: NDArray[np.signedinteger[Any]]
    v_start: NDArray[np.signedinteger[Any]]
    v_end: NDArray[np.signedinteger[Any]]
    stroke: NDArray[np.signedinteger[Any]]
    stop_after: Flags
    first_of_piece: Indices

    @classmethod
    def one_after_the_other(cls, parts: Sequence[Ramps]) -> Ramps:
        """Concatenate the ramps of one or more paths, each starting where the one before ends."""
        before = np.cumsum([0, *(len(part.d_steps) for part in parts)])
        parts = [replace(part, first_of_piece=part.first_of_piece + n) for part, n in zip(parts, before, strict=False)]
        return cls(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(cls)})


def round_path(points_mm: Floats, rest: Flags, stroke: Indices, speeds: SpeedPlan, limits: Limits) -> StepPath:
    """Round a path to whole steps. Pieces of length 0 are removed; their stops and caps are kept.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm, n >= 1.
    rest : (n,) bool, stops.
    stroke : (n - 1,) int64, stroke of each segment, -1 for travel.
    speeds : speed plan with the same n points.
    """
    exact = limits.steps_at(points_mm)
    rounded = np.rint(exact).astype(np.int64)
    way = np.diff(exact, axis=0)
    exact_length = np.hypot(way[:, 0], way[:, 1])
    cap = speeds.w_mm2_s2 * _slower_metric(points_mm, exact_length) ** 2
    # Below one step per second the only whole-number speed is 0.
    cap[rest | (cap < 1.0)] = 0.0

    moves = np.any(rounded[1:] != rounded[:-1], axis=1)
    heads = np.concatenate(([0], np.flatnonzero(moves) + 1))
    node = np.concatenate(([0], np.cumsum(moves)))
    path = StepPath(
        steps=rounded[heads],
        cap=np.minimum.reduceat(cap, heads),
        stroke=stroke[heads[1:] - 1],
        free=_per_piece(speeds.free * exact_length, heads) / np.maximum(_per_piece(exact_length, heads), 1e-300),
        node_of_vertex=node,
    )
    # Turning angles in motor step space, which differ from those on paper if the motors' steps per mm differ.
    across = np.abs(way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0])
    turn_rad = np.zeros(len(exact))
    turn_rad[1:-1] = np.arctan2(across, way[:-1, 0] * way[1:, 0] + way[:-1, 1] * way[1:, 1])
    turn_rad, firm = np.add.reduceat(turn_rad, heads), np.logical_or.reduceat(speeds.firm, heads)
    return _merge_short(path, turn_rad, firm, SHORT_STEPS * limits.ramps_hz)


def _slower_metric(points_mm: Floats, exact_length: Floats) -> Floats:
    """(n,) steps per mm of path at each vertex: the smaller value of the two adjoining segments."""
    length_mm = np.hypot(*np.diff(points_mm, axis=0).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        metric = np.where(length_mm > 0.0, exact_length / length_mm, np.inf)
    slower = np.minimum(np.concatenate((metric, [np.inf])), np.concatenate(([np.inf], metric)))
    slower[~np.isfinite(slower)] = 1.0  # only rests have no neighbour at a distance
    return slower


def _per_piece(per_segment: Floats, heads: Indices) -> Floats:
    """Sums of a per-segment quantity over the pieces between consecutive ``heads``."""
    if len(heads) < 2:
        return np.empty(0)
    return np.asarray(np.add.reduceat(per_segment[: heads[-1]], heads[:-1]))


def _merge_short(path: StepPath, turn_rad: Floats, firm: Flags, quick_steps_s: float) -> StepPath:
    """Merge runs of short, nearly straight pieces, except at ``firm`` nodes; caps of removed nodes are kept.

    Where runs are played faster than ``quick_steps_s`` and turn little, longer pieces are made.
    """
    k = len(path.steps)
    if k < 3:
        return path
    length = np.hypot(*np.diff(path.steps, axis=0).T)
    quick = np.minimum(path.cap[1:], path.cap[:-1]) > quick_steps_s**2
    short = length < SHORT_STEPS * np.where(quick, LONGER[-1], 1.0)
    loose = np.zeros(k, dtype=np.bool_)
    loose[1:-1] = short[1:] & short[:-1] & (path.cap[1:-1] > 0.0) & ~firm[1:-1]
    run_start = np.maximum.accumulate(np.where(loose, 0, np.arange(k)))
    along = np.concatenate(([0.0], np.cumsum(length)))
    turned = np.cumsum(turn_rad)
    # Within a run, keep the first node of every 8 steps and of every 1/32 rad; or of 16 and 1/64, 32 and 1/128, with
    # the same departure from the path.
    longer = np.ones(k)
    if quick.any():
        runs, run = np.unique(run_start, return_inverse=True)
        soon = np.maximum.reduceat(path.cap, runs) > quick_steps_s**2
        lasts = np.append(runs[1:], k) - 1
        mean_turn = (turned[lasts] - turned[runs]) / np.maximum(along[lasts] - along[runs], SHORT_STEPS)
        for times in LONGER:
            straight = mean_turn * SHORT_STEPS * times <= MERGE_TURN_RAD / times
            longer = np.where((soon & straight)[run], times, longer)
    by_length = np.floor((along - along[run_start]) / (SHORT_STEPS * longer))
    by_turn = np.floor((turned - turned[run_start]) * longer / MERGE_TURN_RAD)
    keep = ~loose
    keep[1:] |= (by_length[1:] != by_length[:-1]) | (by_turn[1:] != by_turn[:-1])
    kept = np.flatnonzero(keep)
    if len(kept) == k:
        return path

    # A ramp's squared speed is linear along the piece. Where that would exceed the cap of a dropped node, both ends of
    # the piece are lowered by that ratio.
    linear = np.interp(along, along[kept], path.cap[kept])
    ratio = np.minimum.reduceat(np.divide(path.cap, linear, out=np.ones(k), where=linear > path.cap), kept)
    cap = path.cap[kept] * ratio
    cap[1:] = np.minimum(cap[1:], path.cap[kept[1:]] * ratio[:-1])
    cap = np.where(path.cap[kept] > 0.0, np.maximum(cap, 1.0), 0.0)  # no slower than a whole step per second: no stop
    steps = path.steps[kept]
    stroke = path.stroke[kept[:-1]]
    free = _per_piece(path.free * length, kept) / _per_piece(length, kept)
    node = (np.cumsum(keep) - 1)[path.node_of_vertex]

    # A hairpin whose tip is two equal vertices shows no turn and may return to its start: a merged piece without
    # displacement is removed.
    moves = np.any(steps[1:] != steps[:-1], axis=1)
    if not moves.all():
        heads = np.concatenate(([0], np.flatnonzero(moves) + 1))
        cap = np.minimum.reduceat(cap, heads)
        steps, stroke, free = steps[heads], stroke[moves], free[moves]
        node = np.concatenate(([0], np.cumsum(moves)))[node]
    return StepPath(steps, cap, stroke, free, node)


def make_ramps(path: StepPath, limits: Limits) -> Ramps:
    """Ramps for a path, at whole-number speeds that keep every limit.

    Raises
    ------
    PlanError
        If the limits leave less than one step per second, or one step per second squared.
    """
    pieces = np.diff(path.steps, axis=0)
    if not len(pieces):
        none = np.zeros(0, dtype=np.int64)
        nodes = np.zeros(len(path.steps), dtype=np.int64)
        return Ramps(pieces, none, none, none, np.zeros(0, dtype=np.bool_), nodes)
    top = np.minimum(limits.ramp_speed(pieces, path.stroke >= 0), _speed_at_rate(pieces, limits.ramps_hz))
    budget = limits.ramp_budget(pieces)
    cap = _cap_nodes(path.cap, top)
    w = plan_speeds(cap, budget)

    at, owner, peak = _cut(pieces, w, top, budget, path.free)
    ends = path.steps[owner] + _along(pieces[owner], at)
    starts = np.vstack((path.steps[:1], ends[:-1]))
    d_steps = ends - starts
    drawing = path.stroke[owner] >= 0

    cap = np.empty(len(d_steps) + 1)
    cap[0] = path.cap[0]
    last_of_piece = np.concatenate((owner[1:] != owner[:-1], [True]))
    cap[1:] = np.where(last_of_piece, path.cap[owner + 1], peak[owner])
    top = np.minimum(limits.ramp_speed(d_steps, drawing), _speed_at_rate(d_steps, limits.ramps_hz))
    budget = limits.ramp_budget(d_steps)
    if top.min() < 1.0 or budget.min() < 1.0:
        raise PlanError(
            f"the limits allow only {top.min():.3g} steps/s and {budget.min() / 2:.3g} (steps/s)^2 per step; "
            "at least 1 and 0.5 are needed",
            hint="raise speeds or accelerations in the rig file, or use finer steps",
        )
    cap = _cap_nodes(cap, top)
    v = _whole_speeds(cap, budget)

    v_start, v_end = v[:-1], v[1:].copy()
    # One step from rest to rest cannot be cut. Accelerating over half of it and decelerating over the other half takes
    # 2 sqrt(d / a); a ramp from 0 to v over d takes 2 d / v, the same for v = sqrt(a d), which is half the budget.
    stop_after = (v_start == 0) & (v_end == 0)
    single = np.floor(np.sqrt(np.minimum(budget[stop_after] / 2.0, top[stop_after] ** 2))).astype(np.int64)
    v_end[stop_after] = np.maximum(single, 1)
    first = np.searchsorted(owner, np.arange(len(path.steps)))
    stroke = path.stroke[owner].astype(np.int32)
    v_start, v_end = v_start.astype(np.int32), v_end.astype(np.int32)
    return Ramps(d_steps.astype(np.int32), v_start, v_end, stroke, stop_after, first)


def _speed_at_rate(d_steps: Steps, ramps_hz: float) -> Floats:
    """(m,) steps/s up to which `QUEUED` ramps in a row do not exceed the board's ramp rate."""
    count = len(d_steps)
    if count <= QUEUED or not np.isfinite(ramps_hz):
        return np.full(count, np.inf)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(d_steps[:, 0], d_steps[:, 1]))))
    first = np.arange(count - QUEUED + 1)
    return lowest(first, first + QUEUED, (along[QUEUED:] - along[:-QUEUED]) * (ramps_hz / QUEUED), count)


def _cap_nodes(cap: Floats, top: Floats) -> Floats:
    """Node caps (k,), limited to the speeds (k - 1,) of both adjoining pieces."""
    square = top**2
    lowered = cap.copy()
    lowered[1:] = np.minimum(lowered[1:], square)
    lowered[:-1] = np.minimum(lowered[:-1], square)
    return lowered


def _whole_speeds(cap: Floats, budget: Floats) -> Indices:
    """Whole-number speeds (k,) with ``v^2 <= cap`` and ``|v'^2 - v^2| <= budget``, in exact arithmetic.

    Rounding down two real speeds ``x <= x'`` can widen the gap between their squares: ``floor(x)^2 > x^2 - 2 x``, hence
    ``floor(x')^2 - floor(x)^2 < x'^2 - x^2 + 2 x``. Lowering the budget by ``2 x`` compensates for this; a first pass
    gives an upper bound of ``x``. Squares of speeds are below 2^34, exact in float64.
    """
    w = plan_speeds(cap, budget)
    lowered = np.maximum(budget - 2.0 * np.sqrt(np.minimum(w[1:], w[:-1])), 0.0)
    w = plan_speeds(cap, lowered)
    v = np.floor(np.sqrt(np.minimum(w, cap)))
    # Between 0 and 1 at a node that is no stop, 1 is allowed, because every budget is at least 1.
    v[(v < 1.0) & (cap >= 1.0)] = 1.0
    # The passes work in floats; with a lowered budget of 0, an error of 1e-12 may change the rounded speed.
    while True:
        square = v**2
        rise = np.diff(square)
        up, down = np.flatnonzero(rise > budget), np.flatnonzero(-rise > budget)
        if not len(up) and not len(down):
            return v.astype(np.int64)
        # A node may be the higher end of two ramps.
        np.minimum.at(v, up + 1, np.floor(np.sqrt(square[up] + budget[up])))
        np.minimum.at(v, down, np.floor(np.sqrt(square[down + 1] + budget[down])))


def _cut(pieces: Steps, w: Floats, top: Floats, budget: Floats, free: Floats) -> tuple[Indices, Indices, Floats]:
    """Cut each piece into acceleration, cruise and deceleration, in steps of its dominant motor.

    Returns
    -------
    at : (m,) int64, end of each ramp within its piece, dominant steps.
    owner : (m,) int64, piece of each ramp.
    peak : (k - 1,) float64, squared speed allowed inside each piece.
    """
    n = np.abs(pieces).max(axis=1)
    length = np.hypot(*pieces.T)
    w0, w1 = w[:-1], w[1:]
    at_rest = (w0 < 1.0) & (w1 < 1.0)
    # On turns the speed plan holds, so a piece may go faster only on the rest of its length. A piece between two stops
    # has to be cut in any case.
    room = budget * np.where(at_rest, 1.0, free)
    peak = np.minimum(top**2, np.maximum(np.maximum(w0, w1), (w0 + w1 + room) / 2.0))
    # A millionth of a step per second keeps the quotients finite where the limits allow almost no motion; that is
    # refused later.
    v0, v1, v_peak = np.sqrt(w0), np.sqrt(w1), np.sqrt(np.maximum(peak, 1e-12))
    up, down = (peak - w0) / budget, (peak - w1) / budget
    with np.errstate(divide="ignore"):
        whole_s = 2.0 * length / (v0 + v1)
    cut_s = length * (2.0 * up / (v0 + v_peak) + (1.0 - up - down) / v_peak + 2.0 * down / (v_peak + v1))
    saved_s = whole_s - cut_s
    worth = (saved_s > GAIN_S) | (saved_s > GAIN_SHARE * whole_s)
    cut = (n >= 2) & ((worth & (free > TURNING_FREE)) | at_rest)

    # Ends of acceleration and of cruise, both rounded towards the cruise, so that its whole length runs at its speed. A
    # speed change below half a step per second needs no ramp. A millionth of a step compensates for float rounding.
    rising, falling = v_peak > v0 + 0.5, v_peak > v1 + 0.5
    first = np.where(rising, np.maximum(np.ceil(up * n - 1e-6), 1.0), 0.0)
    second = np.where(falling, np.minimum(np.floor((1.0 - down) * n + 1e-6), n - 1.0), n)
    no_cruise = first >= second
    middle = np.clip(np.rint((up + 1.0 - down) / 2.0 * n), 1.0, n - 1.0)
    first = np.where(no_cruise, middle, first)
    second = np.where(no_cruise, middle, second)
    zero = np.zeros(len(n))
    marks = np.stack((zero, np.where(cut, first, zero), np.where(cut, second, zero), n), axis=1).astype(np.int64)

    # Parts of length 0 are removed; parts longer than a ramp may be are divided evenly.
    part = np.diff(marks, axis=1).ravel()
    begin = marks[:, :-1].ravel()
    longest = np.clip(np.floor(np.repeat(v_peak, 3) * RAMP_S), 1, MAX_STEPS).astype(np.int64)
    count = -(-part // longest)
    owner = np.repeat(np.repeat(np.arange(len(n)), 3), count)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 1
    at = np.repeat(begin, count) + np.repeat(part, count) * number // np.repeat(count, count)
    return at, owner, peak


def _along(piece: Steps, at: Indices) -> Steps:
    """(m, 2) whole-step position after ``at`` dominant steps of pieces (m, 2): the nearest point (Bresenham's
    algorithm).
    """
    size = np.abs(piece)
    n = size.max(axis=1)
    walked = (2 * at[:, None] * size + n[:, None]) // (2 * n[:, None])
    return np.asarray(np.sign(piece) * walked)
