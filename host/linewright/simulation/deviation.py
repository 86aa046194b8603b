"""Distances between drawn path and planned strokes, in both directions, matched in order along the path.

A drawing crosses itself, retraces itself and hatches at less than a pen's width, so the distance to the nearest planned
line would hide errors. Every drawn point is compared with its own stroke near the expected position instead.

The expected position follows from progress along a stroke, counted in steps of the dominant motor. A straight move by
(da, db) takes max(|da|, |db|) step words whatever its slope; the same measure of the planned stroke, rounded to whole
steps, is known beforehand. Around the expected position, wider and wider ranges of segments are searched for points
that need it, so no distance is underestimated. On a machine whose mechanics bend the path over many segments, only
every n-th distant point is searched further, and some distances may be slightly too large.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.simulation.machine import Machine

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BATCH_POINTS: Final = 1 << 18
_BATCH_RUNS: Final = 4096
_RINGS: Final = ((0.5, 2, 1 << 62), (0.75, 8, 1 << 17), (1.0, 64, 1 << 13))
"""(distance in steps above which a point is searched further, segments searched on either side, most points): an
undisturbed path is within about one step (`STRAY_STEPS` of motion/ramps) and needs the first two ranges; a bent one is
searched for a subset of its points, in bounded time."""
_PLACE_STEPS: Final = 4
"""A dot within this distance (steps, either motor) of the stroke's start belongs to the stroke; rounding accounts for
one step."""


@dataclass(frozen=True, eq=False)
class PenRun:
    """Path of the pen between being lowered and raised.

    Parameters
    ----------
    points_mm : (n, 2) float64, machine coordinates; the first is where the pen was lowered.
    progress : (n,) int64: step words made since then.
    begin, end : counted position of motors A and B there, steps from the machine's zero.
    """

    points_mm: Floats
    progress: Ints
    begin: tuple[int, int]
    end: tuple[int, int]


@dataclass(frozen=True)
class Deviation:
    """Distances between drawn and planned strokes.

    Parameters
    ----------
    max_mm, rms_mm : drawn points to the plan, and (max only) planned vertices to the drawn path.
    worst_stroke, worst_at_mm : where the maximum is.
    strokes_planned, strokes_drawn, strokes_cut : cut ones were begun and not finished.
    stray_runs : times the pen was down where no stroke was expected.
    """

    max_mm: float
    rms_mm: float
    worst_stroke: int
    worst_at_mm: tuple[float, float]
    strokes_planned: int
    strokes_drawn: int
    strokes_cut: int
    stray_runs: int


class StrokeComparer:
    """Compares pen-down runs with planned strokes as they arrive; memory is bounded by the longest stroke.

    Parameters
    ----------
    planned : strokes in machine mm, in the order in which they are drawn.
    machine : for the size of a step.
    vertex_steps : (n, 2) int64, motor positions at each vertex; None: those of a machine without errors.
    """

    def __init__(self, planned: Drawing, machine: Machine, vertex_steps: Ints | None = None) -> None:
        self._planned = planned
        self._step_mm = machine.step_mm
        steps = vertex_steps
        if steps is None:
            steps = np.rint(planned.points_mm @ machine.to_steps.T).astype(np.int64)
        self._steps = steps
        move = np.abs(np.diff(steps, axis=0, prepend=steps[:1])).max(axis=1) if len(steps) else np.empty(0, np.int64)
        move[planned.starts[:-1]] = 0
        self._progress: Ints = np.cumsum(move)
        self._next = 0
        self._last_end: tuple[int, int] | None = None
        self._pending: PenRun | None = None
        self._batch: list[tuple[int, PenRun, bool]] = []
        self._batch_points = 0
        self._cut = 0
        self._stray = 0
        self._max = 0.0
        self._worst_stroke = -1
        self._worst_at = (0.0, 0.0)
        self._square_sum = 0.0
        self._points = 0

    def add(self, run: PenRun) -> None:
        """Add a run: the pen was lowered, moved or not, and raised."""
        pending = self._pending
        if pending is not None:
            # Raised within a stroke (hold) and lowered at the same place: one stroke, unless the next stroke starts
            # there.
            next_is_due = self._near_end(pending.end) and self._near_begin(run.begin, self._next + 1)
            if run.begin == pending.end and not next_is_due:
                run = PenRun(
                    np.concatenate((pending.points_mm, run.points_mm[1:])),
                    np.concatenate((pending.progress, run.progress[1:] + pending.progress[-1])),
                    pending.begin,
                    run.end,
                )
            else:
                self._take_pending(pending)
        self._pending = None
        if self._next >= len(self._planned):
            self._stray += bool(run.progress[-1]) or run.begin != self._last_end
            return
        due, made = self._due(), int(run.progress[-1])
        if not made and not self._near_begin(run.begin, self._next):
            # After a hold at the very end of a stroke, the pen is lowered there again, on existing ink.
            self._stray += run.begin != self._last_end
        elif made < due:
            self._pending = run  # even a step before the end, where a hold may have occurred
        else:
            self._take(run, finished=True)

    def result(self) -> Deviation:
        """The result, after the last run."""
        if self._pending is not None:
            self._take_pending(self._pending)
            self._pending = None
        self._compare_batch()
        rms = float(np.sqrt(self._square_sum / self._points)) if self._points else 0.0
        return Deviation(
            self._max,
            rms,
            self._worst_stroke,
            self._worst_at,
            len(self._planned),
            self._next,
            self._cut,
            self._stray,
        )

    def _due(self) -> int:
        """Steps expected for the next stroke."""
        first, end = self._planned.starts[self._next], self._planned.starts[self._next + 1]
        return int(self._progress[end - 1] - self._progress[first])

    def _nearly_all(self, made: int) -> bool:
        """Whether a run of this many steps may be the whole next stroke on a machine with slightly bent mechanics."""
        due = self._due()
        return made >= due * 0.99 - _PLACE_STEPS and (made > 0 or not due)

    def _near_begin(self, place: tuple[int, int], stroke: int) -> bool:
        if stroke >= len(self._planned):
            return False
        return bool(np.abs(np.array(place) - self._steps[self._planned.starts[stroke]]).max() <= _PLACE_STEPS)

    def _near_end(self, place: tuple[int, int]) -> bool:
        return bool(
            np.abs(np.array(place) - self._steps[self._planned.starts[self._next + 1] - 1]).max() <= _PLACE_STEPS
        )

    def _take_pending(self, run: PenRun) -> None:
        """Handle a run with fewer steps than its stroke: interrupted, or shortened by rounding."""
        steps = self._steps[self._planned.starts[self._next] : self._planned.starts[self._next + 1]]
        a_speck = bool(np.ptp(steps, axis=0).max() <= 2 * _PLACE_STEPS)
        made = int(run.progress[-1])
        finished = self._nearly_all(made) or (self._near_end(run.end) and (a_speck or made >= self._due() / 2))
        if not finished and not run.progress[-1]:
            self._stray += 1
            return
        self._cut += not finished
        self._take(run, finished=finished)

    def _take(self, run: PenRun, *, finished: bool) -> None:
        self._batch.append((self._next, run, finished))
        self._last_end = run.end
        self._next += 1
        self._batch_points += len(run.points_mm)
        if self._batch_points >= _BATCH_POINTS or len(self._batch) >= _BATCH_RUNS:
            self._compare_batch()

    def _compare_batch(self) -> None:
        if not self._batch:
            return
        batch, self._batch, self._batch_points = self._batch, [], 0
        first_stroke, end_stroke = batch[0][0], batch[-1][0] + 1
        vertices = slice(self._planned.starts[first_stroke], self._planned.starts[end_stroke])
        plan = _Lines(
            self._planned.points_mm[vertices],
            self._planned.starts[first_stroke : end_stroke + 1] - vertices.start,
            self._progress[vertices].astype(np.float64),
        )
        lengths = np.array([len(run.points_mm) for _, run, _ in batch])
        drawn = _Lines(
            np.concatenate([run.points_mm for _, run, _ in batch]),
            np.concatenate(([0], np.cumsum(lengths))),
            np.concatenate([run.progress for _, run, _ in batch]).astype(np.float64),
        )
        due = plan.progress[plan.starts[1:] - 1] - plan.progress[plan.starts[:-1]]
        made = drawn.progress[drawn.starts[1:] - 1] - drawn.progress[drawn.starts[:-1]]
        # A finished stroke is scaled to its plan, because rounding may cost a step here and there; an interrupted one
        # is not.
        finished = np.array([finished for _, _, finished in batch])
        stretch = np.where(finished & (made > 0), due / np.maximum(made, 1.0), 1.0)

        stroke = np.repeat(np.arange(len(batch)), lengths)
        into = drawn.progress - drawn.progress[drawn.starts[:-1]][stroke]
        off = plan.distances(drawn.points, stroke, into * stretch[stroke], self._step_mm)
        self._note(off, drawn.points, stroke + first_stroke, count=True)

        stroke = np.repeat(np.arange(len(batch)), np.diff(plan.starts))
        into = plan.progress - plan.progress[plan.starts[:-1]][stroke]
        into = np.where(stretch[stroke] > 0, into / np.where(stretch[stroke] > 0, stretch[stroke], 1.0), 0.0)
        reached = finished[stroke] | (into <= made[stroke])
        off = drawn.distances(plan.points[reached], stroke[reached], into[reached], self._step_mm)
        self._note(off, plan.points[reached], stroke[reached] + first_stroke, count=False)

    def _note(self, off: Floats, points: Floats, stroke: Ints, *, count: bool) -> None:
        known = np.isfinite(off)
        if not known.any():
            return
        if count:
            self._square_sum += float(np.square(off[known]).sum())
            self._points += int(known.sum())
        worst = int(np.argmax(np.where(known, off, -1.0)))
        if off[worst] > self._max:
            self._max = float(off[worst])
            self._worst_stroke = int(stroke[worst])
            self._worst_at = (float(points[worst, 0]), float(points[worst, 1]))


class _Lines:
    """Polylines in one array, with a progress value at each vertex."""

    def __init__(self, points: Floats, starts: Ints, progress: Floats) -> None:
        self.points = points
        self.starts = starts
        self.progress = progress
        # Progress restarts in every line; offsets make it one ascending key for the search.
        line = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
        begin = progress[starts[:-1]]
        span = progress[starts[1:] - 1] - begin
        self._base = np.concatenate(([0.0], np.cumsum(span + 1.0)[:-1]))
        self._key = progress - begin[line] + self._base[line]
        self._span = span
        ends = np.minimum(np.arange(len(points)) + 1, starts[1:][line] - 1)
        self._way = points[ends] - points
        square = np.einsum("ij,ij->i", self._way, self._way)
        self._per_square = np.where(square > 0, 1.0 / np.where(square > 0, square, 1.0), 0.0)

    def distances(self, points: Floats, line: Ints, into: Floats, step_mm: float) -> Floats:
        """Distance of each point from its line near the given progress, mm; nan where it was not searched.

        Parameters
        ----------
        points : (n, 2) float64, mm.
        line : (n,) int64: which polyline.
        into : (n,) float64: expected progress along it.
        step_mm : one step.
        """
        key = self._base[line] + np.clip(into, 0.0, self._span[line])
        guess = np.searchsorted(self._key, key, side="right") - 1
        low, high = self.starts[:-1][line], np.maximum(self.starts[1:][line] - 2, self.starts[:-1][line])
        guess = np.clip(guess, low, high)
        best = self._squares(points, guess)
        done = 0
        for steps_off, reach, most in _RINGS:
            look = np.flatnonzero(best > (steps_off * step_mm) ** 2)
            if not len(look):
                break
            if len(look) > most:
                kept = look[:: -(-len(look) // most)]
                left_out = np.setdiff1d(look, kept, assume_unique=True)
                look = kept
                best[left_out] = np.nan
            nearest = best[look]
            for offset in range(done + 1, reach + 1):
                for signed in (-offset, offset):
                    segment = guess[look] + signed
                    inside = (segment >= low[look]) & (segment <= high[look])
                    if inside.any():
                        square = self._squares(points[look[inside]], segment[inside])
                        nearest[inside] = np.minimum(nearest[inside], square)
            best[look] = nearest
            done = reach
        distances: Floats = np.sqrt(best)
        return distances

    def _squares(self, points: Floats, segment: Ints) -> Floats:
        x = points[:, 0] - self.points[segment, 0]
        y = points[:, 1] - self.points[segment, 1]
        way_x, way_y = self._way[segment, 0], self._way[segment, 1]
        share = np.clip((x * way_x + y * way_y) * self._per_square[segment], 0.0, 1.0)
        x -= share * way_x
        y -= share * way_y
        return np.asarray(x * x + y * y)
