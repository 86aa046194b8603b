"""From placed strokes to a `Program`: path with travel moves, ramps, and pen actions."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from linewright import units
from linewright.drawing.strokes import Drawing
from linewright.errors import PlanError
from linewright.machine.play import Arrivals, detours
from linewright.machine.shape import REACH_SLACK_MM, MachineShape
from linewright.motion.corners import find_corners
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.motion.pen_heights import PenHeights
from linewright.motion.pen_lifts import PenLifts
from linewright.motion.profile import plan_profile
from linewright.motion.ramps import Ramps, make_ramps, round_path
from linewright.motion.sampled_ramps import SampledRamps
from linewright.motion.shaping import plan_smooth
from linewright.motion.smoothing import MotionSmoothing
from linewright.motion.take_up import TakeUp
from linewright.motion.timeline import Stretches
from linewright.motion.tip import plan_tip
from linewright.motion.tip_model import Elastic
from linewright.program.duration import ramp_ticks
from linewright.program.program import END, PEN, RAMP, REST, PenGroup, Program

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Indices = NDArray[np.int64]
Column = int | NDArray[np.signedinteger[Any]]
Number = TypeVar("Number", bound=np.integer[Any])

NEAR_STEPS: Final = 1.0 / 64.0
"""Vertices closer than this are merged. The direction between them is rounding noise, which would cause a stop in the
middle of a line."""

AT_ONCE: Final = 50_000
"""Vertices planned at a time, to bound memory (about 0.6 kB each); a longer stroke is not divided."""


@dataclass(frozen=True, eq=False)
class Path:
    """The whole motion of the pen from park to park, as one polyline.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm.
    rest : (n,) bool, the pen stops: ends of strokes, park.
    stroke : (n - 1,) int64, stroke drawn by each segment, -1 for travel.
    down_at, up_at : (k,) int64, vertices where the pen is lowered and raised for each stroke.
    park_at : (g,) int64, vertex where the pen waits before each group of strokes that share a pen.
    """

    points_mm: Floats
    rest: Flags
    stroke: Indices
    down_at: Indices
    up_at: Indices
    park_at: Indices


def plan(drawing: Drawing, rig: Rig, *, sheet: Sheet | None = None) -> Program:
    """Plan a drawing for a rig: fastest motion within its limits, in whole steps.

    The program starts and ends at the rig's park position; pens are changed there. Strokes are drawn in the order
    given, grouped by pen.

    Parameters
    ----------
    drawing : in machine coordinates, mm.
    rig : the machine.
    sheet : the sheet the drawing was placed on, kept with the program; None: the rig's usual one.

    Returns
    -------
    Program
        With the strokes in the order in which they are drawn.

    Raises
    ------
    PlanError
        If there is nothing to draw, a coordinate is not a number or out of reach, or the limits allow no motion.
    """
    if not len(drawing):
        raise PlanError(
            "there is nothing to draw: the drawing has no strokes", hint="check the picture and the margins"
        )
    errors = rig.shape
    _check_reach(drawing, rig, errors)
    plain = Drawing(drawing.points_mm, drawing.starts, drawing.pen, drawing.pens)
    heights = PenHeights.from_rig(rig)
    drawing = heights.refined(plain.select(np.argsort(plain.pen, kind="stable")))
    limits = Limits.from_rig(rig)
    park = errors.carriage_mm(np.array([rig.park.position_mm], dtype=np.float64))[0]
    lifts = PenLifts.from_rig(rig)
    elastic = Elastic.from_rig(rig)
    if elastic is not None:
        # Backlash is taken up in time, not in place.
        tight = replace(errors, play_mm=(0.0, 0.0))
        drawing = tight.refined(drawing)
        path = _without_noise(lay_path(tight.drives(drawing)[0], park), limits)
        # Ramps for the tip ignore the secondary motor's step intervals, and may exceed the step rate by 2 % for a while
        # to compensate for rounding (seen on a star of rays). Drivers of different rates have no reserve for that.
        rates = limits.step_rate_hz
        slowest = rates if rates[0] == rates[1] else np.full(2, 0.97 * rates.min())
        limited = replace(limits, step_rate_hz=slowest)
        tip, before = _for_the_tip(path, limited, elastic, errors, errors.drives(drawing)[1])
        at_vertex = tip.ramps.first_of_piece[before]
        sheet = sheet or rig.paper
        return _assemble(
            drawing, rig, limits, sheet, tip.start_steps, tip.ramps, path, at_vertex, lifts, tip.rest_ticks
        )
    drawing = errors.refined(drawing)
    drives, senses = errors.drives(drawing)
    path = _without_noise(_taking_up_play(lay_path(drives, park), senses, errors), limits)
    if lifts.overlap:
        approaches = lifts.approaches(path.points_mm, path.down_at, limits)
        path = _refined(path, np.sort(np.concatenate((np.arange(len(path.points_mm)), approaches))))
    start_steps, ramps, at_vertex = _ramps_of(path, limits, MotionSmoothing.from_rig(rig))
    return _assemble(drawing, rig, limits, sheet or rig.paper, start_steps, ramps, path, at_vertex, lifts)


def _ramps_of(path: Path, limits: Limits, smoothing: MotionSmoothing | None) -> tuple[Indices, Ramps, Indices]:
    """Motor position (2,) at the start of a path, its ramps, and the number of ramps before each vertex (n,)."""
    # In parts that begin where the pen is lowered: the machine stands still there for a while.
    begins = path.down_at[np.flatnonzero(np.diff(path.down_at // AT_ONCE)) + 1].tolist()
    nothing = np.empty(0, dtype=np.int64)
    last = len(path.points_mm) - 1
    starts, parts, before = [], [], []
    for begin, end in itertools.pairwise((0, *begins, last)):
        points, rest, stroke = path.points_mm[begin : end + 1], path.rest[begin : end + 1], path.stroke[begin:end]
        if smoothing is None:
            corners = find_corners(points, rest, stroke >= 0, limits).braked(points, limits)
            speeds = plan_profile(points, stroke >= 0, corners, limits)
        else:
            speeds = plan_smooth(points, rest, stroke >= 0, limits, smoothing)
        fine = _refined(Path(points, rest, stroke, nothing, nothing, nothing), speeds.place)
        nodes = round_path(fine.points_mm, fine.rest, fine.stroke, speeds, limits)
        vertices = np.searchsorted(speeds.place, np.arange(len(points) if end == last else len(points) - 1))
        parts.append(make_ramps(nodes, limits))
        starts.append(nodes.steps[0])
        before.append(parts[-1].first_of_piece[nodes.node_of_vertex[vertices]])
    counts = np.cumsum([0, *(len(part.d_steps) for part in parts)])
    at_vertex = np.concatenate([there + count for there, count in zip(before, counts, strict=False)])
    return starts[0], Ramps.one_after_the_other(parts), at_vertex


def _for_the_tip(
    path: Path, limits: Limits, elastic: Elastic, errors: MachineShape, senses: Floats
) -> tuple[SampledRamps, Indices]:
    """Ramps of a path of the carriage, planned for the tip of an elastic machine, and the number of stretches that end
    before each vertex (n,).

    ``senses`` (k, 2) as for `_taking_up_play`.
    """
    rests = np.flatnonzero(path.rest)
    way = np.diff(path.points_mm, axis=0)
    length = np.concatenate(([0.0], np.cumsum(np.hypot(way[:, 0], way[:, 1]))))
    real = np.flatnonzero(np.diff(length[rests]) > 0.0)
    count = rests[real + 1] - rests[real] + 1
    starts = np.concatenate(([0], np.cumsum(count)))
    vertex = np.repeat(rests[real] - starts[:-1], count) + np.arange(starts[-1])
    drawing = np.append(path.stroke >= 0, False)[vertex][:-1]
    stretches = Stretches(path.points_mm[vertex], starts, drawing)
    before = np.searchsorted(rests[real + 1], np.arange(len(path.rest)), side="right")
    stroke = path.stroke[rests[real]]
    play = TakeUp.of(errors, limits, elastic.frequency_hz, elastic.swing_mm, elastic.period_s)
    begins_at = np.where(stroke[:, None] >= 0, senses[stroke], 0.0).astype(np.int64)
    begins_at[np.isin(rests[real], path.park_at)] = errors.home_sense
    return plan_tip(stretches, stroke, limits, elastic, play, begins_at), before


def _check_reach(drawing: Drawing, rig: Rig, errors: MachineShape) -> None:
    points = np.concatenate((drawing.points_mm, [rig.park.position_mm]))
    broken = ~np.isfinite(points).all(axis=1)
    if broken.any():
        at = int(np.argmax(broken))
        raise PlanError(
            f"stroke {drawing.stroke_at(at)} has a vertex that is not a pair of numbers: {points[at].tolist()}"
        )
    reach = rig.travel_mm
    carriage = errors.carriage_mm(points)
    outside = ((carriage < -REACH_SLACK_MM) | (carriage > reach + REACH_SLACK_MM)).any(axis=1)
    if outside.any():
        at = int(np.argmax(outside))
        x, y = points[at]
        what = f"stroke {drawing.stroke_at(at)} goes" if at < drawing.vertices else "the move to park.position_mm goes"
        left, top, right, bottom = errors.box_mm
        raise PlanError(
            f"{what} to ({x:.6g}, {y:.6g}) mm; "
            f"the machine reaches {left:g}..{right:g} mm in x and {top:g}..{bottom:g} mm in y",
            hint="place the drawing on a sheet within the machine's reach",
        )


def _taking_up_play(path: Path, senses: Floats, errors: MachineShape) -> Path:
    """The path with intermediate positions wherever an axis would arrive with its backlash on the wrong side.

    ``senses`` (k, 2) is the direction in which the axes must arrive at each stroke; at park it is that of homing.
    """
    if not errors.plays:
        return path
    n = len(path.points_mm)
    parks = np.append(path.park_at[1:], n - 1)
    home = np.where(np.array(errors.play_mm) > 0.0, np.array(errors.home_sense, dtype=np.float64), 0.0)
    arrivals = Arrivals(np.concatenate((path.down_at, parks)), np.concatenate((senses, np.tile(home, (len(parks), 1)))))
    low, high = errors.room_mm
    at, via = detours(path.points_mm, arrivals, np.array(errors.play_mm), np.array(low), np.array(high))
    moved = np.arange(n) + np.searchsorted(at, np.arange(n), side="right")
    return Path(
        points_mm=np.insert(path.points_mm, at, via, axis=0),
        rest=np.insert(path.rest, at, values=False),
        stroke=np.insert(path.stroke, at - 1, -1),
        down_at=moved[path.down_at],
        up_at=moved[path.up_at],
        park_at=moved[path.park_at],
    )


def lay_path(drawing: Drawing, park_mm: Floats) -> Path:
    """Arrange strokes, travel moves and park positions as one polyline; strokes must be grouped by pen."""
    k = len(drawing)
    lengths = np.diff(drawing.starts)
    laid = np.maximum(lengths, 2)  # a dot is lowered and raised at the same place
    group = np.concatenate(([0], np.cumsum(np.diff(drawing.pen) != 0)))
    end = np.cumsum(laid)
    start = end - laid + group + 1  # one park position before each group of strokes
    n = int(end[-1] + group[-1] + 2)
    rank = np.arange(end[-1]) - np.repeat(end - laid, laid)
    place = np.repeat(start, laid) + rank
    points = np.tile(park_mm, (n, 1))
    points[place] = drawing.points_mm[
        np.repeat(drawing.starts[:-1], laid) + np.minimum(rank, np.repeat(lengths, laid) - 1)
    ]
    owner = np.full(n, -1, dtype=np.int64)
    owner[place] = np.repeat(np.arange(k), laid)
    stroke = np.where(owner[1:] == owner[:-1], owner[1:], -1)
    rest = owner < 0
    rest[1:-1] |= stroke[1:] != stroke[:-1]
    first_of_group = np.concatenate(([0], np.flatnonzero(np.diff(group)) + 1))
    return Path(points, rest, stroke, start, start + laid - 1, start[first_of_group] - 1)


def _without_noise(path: Path, limits: Limits) -> Path:
    """Drop vertices within 1/64 step of path from the vertex before them; rests are kept."""
    n = len(path.points_mm)
    at_steps = limits.steps_at(path.points_mm)
    length = np.hypot(*np.diff(at_steps, axis=0).T)
    tiny = length < NEAR_STEPS
    if not tiny.any():
        return path
    # In a run of tiny segments, keep one vertex per 1/64 step, counted from the vertex before the run.
    index = np.arange(n)
    in_run = np.concatenate(([False], tiny)) & ~path.rest
    run_start = np.maximum.accumulate(np.where(in_run, 0, index))
    along = np.concatenate(([0.0], np.cumsum(length)))
    number = np.floor((along - along[run_start]) / NEAR_STEPS)
    keep = ~in_run
    keep[1:] |= number[1:] != number[:-1]
    # The next rest is kept, so a vertex right before it is dropped.
    next_rest = np.minimum.accumulate(np.where(path.rest, index, n - 1)[::-1])[::-1]
    keep &= path.rest | (along[next_rest] - along >= NEAR_STEPS)
    kept = np.flatnonzero(keep)
    number_of = np.cumsum(keep) - 1
    return replace(
        path,
        points_mm=path.points_mm[kept],
        rest=path.rest[kept],
        stroke=path.stroke[kept[1:] - 1],
        down_at=number_of[path.down_at],
        up_at=number_of[path.up_at],
        park_at=number_of[path.park_at],
    )


def _refined(path: Path, place: Floats) -> Path:
    """The path with vertices added on its segments; ``place`` (p,) as in `SpeedPlan`."""
    n = len(path.points_mm)
    if len(place) == n:
        return path
    old = np.minimum(np.floor(place).astype(np.int64), n - 2)
    along = (place - old)[:, None]
    points = path.points_mm[old] * (1.0 - along) + path.points_mm[old + 1] * along
    index = np.searchsorted(place, np.arange(n))
    points[index] = path.points_mm
    rest = np.zeros(len(place), dtype=np.bool_)
    rest[index] = path.rest
    return Path(points, rest, path.stroke[old[:-1]], index[path.down_at], index[path.up_at], index[path.park_at])


def _assemble(
    drawing: Drawing,
    rig: Rig,
    limits: Limits,
    sheet: Sheet,
    start_steps: Indices,
    ramps: Ramps,
    path: Path,
    before_vertex: Indices,
    lifts: PenLifts,
    rest_ticks: Indices | None = None,
) -> Program:
    """Put ramps, rests and pen actions in playing order.

    ``before_vertex`` (n,) int64 is the number of ramps before each vertex of the path; ``rest_ticks`` (m,) int64, rest
    after each ramp.
    """
    m, k = len(ramps.d_steps), len(drawing)
    # A rest also ends each pen's move home: the next part may be sent hours later, and the board runs at full speed
    # only where it knows the end of the path.
    before_park = before_vertex[path.park_at]
    ramps = replace(ramps, stop_after=ramps.stop_after.copy())
    ramps.stop_after[before_park[1:][before_park[1:] > 0] - 1] = True
    rests = np.flatnonzero(ramps.stop_after)
    standing = np.zeros(len(rests), dtype=np.int64) if rest_ticks is None else rest_ticks[rests]
    actions = np.stack((before_vertex[path.down_at], before_vertex[path.up_at]), axis=1).ravel()
    heights = PenHeights.from_rig(rig)
    ramp_duration = ramp_ticks(ramps.d_steps[:, 0], ramps.d_steps[:, 1], ramps.v_start, ramps.v_end)
    down_us = heights.pulse_us(drawing.points_mm[drawing.starts[:-1]])
    first = np.diff(drawing.pen, prepend=-1) != 0
    servo = lifts.actions(down_us, first, actions, ramp_duration, ramps.v_start)
    passing, passing_us = servo.passing, servo.passing_us
    if not heights.level:
        before_ramp = np.cumsum(np.concatenate((start_steps[None], ramps.d_steps)), axis=0)[:m]
        pen_mm = rig.shape.true_mm(limits.mm_at(before_ramp))
        more, more_us = heights.along(pen_mm, ramps.stroke, np.concatenate(([True], ramps.stop_after))[:m])
        passing, passing_us = np.append(passing, more), np.append(passing_us, more_us)
    # What comes between the ramps: rests, then pen actions (down, up, down ...); the end is last.
    after = np.concatenate((rests + 1, actions, passing))
    order = np.lexsort((np.arange(len(after)) >= len(rests), after))
    between = np.empty(len(after), dtype=np.int64)
    between[order] = after[order] + np.arange(len(order))
    ramp_record = np.arange(m) + np.cumsum(np.bincount(after, minlength=m + 1))[:m]
    rest_record, pen_record, passing_record = np.split(between, (len(rests), len(rests) + 2 * k))
    records = len(after) + m + 1

    def column(
        dtype: type[Number], rest: Column = 0, pen: Column = 0, passing_by: Column = 0, ramp: Column = 0
    ) -> NDArray[Number]:
        values: NDArray[Number] = np.zeros(records, dtype=dtype)
        values[rest_record], values[pen_record], values[passing_record] = rest, pen, passing_by
        values[ramp_record] = ramp
        return values

    kind = column(np.uint8, REST, PEN, PEN, RAMP)
    kind[-1] = END
    stroke = column(np.int32, -1, np.repeat(np.arange(k), 2), ramps.stroke[passing], ramps.stroke)
    stroke[-1] = -1
    return Program(
        kind=kind,
        da=column(np.int32, ramp=ramps.d_steps[:, 0]),
        db=column(np.int32, ramp=ramps.d_steps[:, 1]),
        v_end=column(np.int32, ramp=ramps.v_end),
        servo_us=column(np.int32, pen=servo.pulse_us, passing_by=passing_us),
        dwell_ms=column(np.int32, pen=servo.dwell_ms),
        rest_ticks=column(np.int32, rest=standing),
        ticks=column(np.int64, rest=standing, pen=servo.dwell_ms * units.ms_to_ticks(1), ramp=ramp_duration),
        stroke_of_record=stroke,
        start_steps=(int(start_steps[0]), int(start_steps[1])),
        steps_matrix=rig.kinematics_matrix,
        drawing=drawing,
        groups=_pen_groups(drawing, before_park, ramps, pen_record, ramp_record, records),
        sheet=sheet,
        sheet_position=rig.sheet.position,
        rig_name=rig.name,
        rig_fingerprint=rig.fingerprint(),
        shape=rig.shape,
        pen_width_mm=rig.pen.width_mm,
        warnings=_warnings(drawing, actions),
    )


def _pen_groups(
    drawing: Drawing, before_park: Indices, ramps: Ramps, pen_record: Indices, ramp_record: Indices, records: int
) -> tuple[PenGroup, ...]:
    """One group per pen that draws: from leaving park to returning there with the pen up."""
    first_stroke = np.concatenate(([0], np.flatnonzero(np.diff(drawing.pen)) + 1))
    end_stroke = np.concatenate((first_stroke[1:], [len(drawing)]))
    first_record = [0]
    for park, stroke in zip(before_park[1:], first_stroke[1:], strict=True):
        # After the last stroke's pen-up or, if there is a move home, after its last ramp and rest.
        home = int(ramp_record[park - 1]) + int(ramps.stop_after[park - 1]) if park else 0
        first_record.append(max(int(pen_record[2 * stroke - 1]), home) + 1)
    return tuple(
        PenGroup(pen=int(drawing.pen[s]), strokes=(int(s), int(e)), records=(r, r_end))
        for s, e, r, r_end in zip(first_stroke, end_stroke, first_record, [*first_record[1:], records], strict=True)
    )


def _warnings(drawing: Drawing, actions: Indices) -> tuple[str, ...]:
    """Warnings for the user. ``actions`` (2 k,): ramps before each pen-down and pen-up."""
    still = actions[::2] == actions[1::2]
    vanished = int(np.count_nonzero(still & (drawing.stroke_lengths_mm() > 0.0)))
    if not vanished:
        return ()
    what = "stroke is" if vanished == 1 else "strokes are"
    return (f"{vanished} {what} shorter than one motor step; the pen draws only a dot there",)
