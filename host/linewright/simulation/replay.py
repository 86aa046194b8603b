"""Reads a whole tape: the drawn path, the pulse checks, and the deviation from the plan.

It makes one pass in pieces of about ten thousand words. Memory is bounded by the longest stroke, or by the drawn path
if that is requested.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.simulation import tape as tapes
from linewright.simulation.deviation import Deviation, PenRun, StrokeComparer
from linewright.simulation.machine import Machine
from linewright.simulation.mechanics import Mechanics
from linewright.simulation.pulse_checks import Ledger, PulseCheckResult, PulseChecks, Run, WordTiming, decode
from linewright.units import MS_PER_S, TICK_HZ

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_PIECE_WORDS: Final = 1 << 16
_LONGEST_GAP_TICKS: Final = (1 << 28) - 1
"""A standstill is treated as one more delay word if it fits 28 bits (54 s); a longer one ends the piece."""
_TICKS_PER_MS: Final = TICK_HZ // MS_PER_S
OVERRUN_MM: Final = 5.0
"""Distance by which the carriage may pass the end of the frame: a lever switch yields by a few mm."""
_RESTING_SAMPLE_TICKS: Final = TICK_HZ // 500
"""While ringing decays, the pen is sampled every 2 ms: ten times per period at 50 Hz."""


@dataclass(frozen=True, eq=False)
class TraceReport:
    """Results of reading a tape.

    Parameters
    ----------
    words, steps_a, steps_b : played; steps are counted regardless of direction.
    played_ticks : playing time of all words since the board last set its position (homed), ticks.
    longest_ticks : longest part of it without a standstill of the player; a program that is not delayed is one part.
    total_s : from power-up to the end of the last word.
    end_steps : counted position of A and B at the end, in the board's own coordinates.
    lost_steps : of A and B, by the fault model.
    checks : one result per check, in a fixed order.
    deviation : drawn against planned, if a plan was given.
    drawn : the path that the pen drew, machine mm, thinned to within half a step; None if not asked for.
    pressure_us : lowest and highest servo pulse beyond first touch while drawing; None on an even sheet.
    damaged : the tape was truncated.
    """

    words: int
    steps_a: int
    steps_b: int
    played_ticks: int
    longest_ticks: int
    total_s: float
    end_steps: tuple[int, int]
    lost_steps: tuple[int, int]
    checks: tuple[PulseCheckResult, ...]
    deviation: Deviation | None
    drawn: Drawing | None
    pressure_us: tuple[float, float] | None
    damaged: bool

    @property
    def broken(self) -> int:
        """Number of violations in all checks."""
        return sum(check.broken for check in self.checks)

    def check(self, name: str) -> PulseCheckResult:
        """The result of one check by name."""
        return next(check for check in self.checks if check.name == name)


def read_trace(
    path: str | os.PathLike[str],
    planned: Drawing | None = None,
    *,
    vertex_steps: Ints | None = None,
    keep_drawn: bool = False,
) -> TraceReport:
    """Read a tape, check its pulses, and compare it with the plan.

    Parameters
    ----------
    path : the tape.
    planned : strokes in machine mm, in drawing order; None: no comparison.
    vertex_steps : (n, 2) int64, motor positions at its vertices, see `Program.steps_at`; None: those of a
        machine without errors.
    keep_drawn : also return the path of the pen.

    Raises
    ------
    InputError
        If the file is no tape.
    """
    reader = tapes.TapeReader(path)
    comparer = None if planned is None else StrokeComparer(planned, reader.machine, vertex_steps)
    trace = _Trace(reader, comparer, keep_drawn=keep_drawn)
    for entry in reader:
        trace.entry(entry)
    return trace.report(damaged=reader.damaged)


class _Pieces:
    """Collects words and pen moves of a tape and processes them in runs."""

    def __init__(self) -> None:
        self.words: list[NDArray[np.uint32]] = []
        self.count = 0
        self.start = 0
        self.end = 0
        self.servo: list[tuple[int, int]] = []  # tick, pulse in us

    def clear(self) -> None:
        self.words.clear()
        self.servo.clear()
        self.count = 0


class _Trace:
    def __init__(self, reader: tapes.TapeReader, comparer: StrokeComparer | None, *, keep_drawn: bool) -> None:
        machine = reader.machine
        self._machine = machine
        self._checks = PulseChecks(machine)
        self._mechanics = Mechanics(machine, reader.faults)
        self._bent = reader.faults.bends_the_path
        self._comparer = comparer
        self._painter = _Painter(machine) if keep_drawn else None
        self._frame = Ledger("frame", "mm", at_least=False)
        self._pen_ready = Ledger("pen at rest", "ms", at_least=True)
        self._shape = WordTiming()
        self._pieces = _Pieces()
        self._words = 0
        self._steps = [0, 0]
        self._end = 0
        self._played = 0
        self._stretch = (0, 0)  # start and end, ticks
        self._longest = 0
        self._count = np.zeros(2, dtype=np.int64)  # since power-up
        self._zero = np.zeros(2, dtype=np.int64)  # count at the machine's zero
        self._pen_mm = self._mechanics.pen_at_rest(*self._mechanics.start_mm)  # from the true zero of the axes
        self._rest_mm = self._pen_mm  # final position of the pen
        self._paper_mm = np.zeros(2)  # true position of the pen at the machine's zero, where the sheet is laid
        self._down = False
        self._uneven = reader.faults.uneven_paper
        self._servo_us = 0
        self._pressure: tuple[float, float] | None = None
        self._touching: list[NDArray[np.bool_]] = []  # for each part of the run, whether the pen leaves ink
        self._servo_moved: tuple[int, float] | None = None  # tick, travel time in ms
        self._pen_there = 0  # tick at which it reaches its last height above the paper
        self._run: list[tuple[Floats, Ints]] = []
        self._run_begin = (0, 0)
        self._drawn_anything = False

    def entry(self, entry: tapes.TapeEntry) -> None:
        """Process one entry of the tape."""
        pieces = self._pieces
        if entry.kind == tapes.WORDS:
            gap = entry.tick - pieces.end
            if pieces.count and gap:
                if self._shape.overhead_ticks <= gap <= _LONGEST_GAP_TICKS:
                    pieces.words.append(np.array([(gap - self._shape.overhead_ticks) << 4], dtype=np.uint32))
                else:
                    self._flush()
            if not pieces.count:
                pieces.start = entry.tick
            pieces.words.append(entry.values)
            pieces.count += len(entry.values)
            ticks = int((entry.values >> 4).sum(dtype=np.int64)) + self._shape.overhead_ticks * len(entry.values)
            pieces.end = entry.tick + ticks
            self._played += ticks
            self._stretch = (self._stretch[0] if entry.tick == self._stretch[1] else entry.tick, pieces.end)
            self._longest = max(self._longest, self._stretch[1] - self._stretch[0])
            if pieces.count >= _PIECE_WORDS:
                self._flush()
        elif entry.kind == tapes.SERVO:
            pieces.servo.append((entry.tick, int(entry.values[0])))
        elif entry.kind == tapes.SHAPE:
            self._flush()
            self._shape = WordTiming(*(int(value) for value in entry.values))
            self._checks.shape(entry.tick, self._shape)
        elif entry.kind == tapes.ENABLE:
            self._flush()
            self._checks.enable(entry.tick, bool(entry.values[0]))
        elif entry.kind == tapes.ZERO:
            self._flush()
            self._zero_is((entry.signed(0), entry.signed(1)))

    def report(self, *, damaged: bool) -> TraceReport:
        """The report, after the last entry."""
        self._flush()
        self._pen(down=False)  # count what was drawn if the tape ends with the pen down
        checks = (*self._checks.results(), self._pen_ready.result(), self._frame.result())
        end = self._count - self._zero
        return TraceReport(
            words=self._words,
            steps_a=self._steps[0],
            steps_b=self._steps[1],
            played_ticks=self._played,
            longest_ticks=self._longest,
            total_s=self._end / TICK_HZ,
            end_steps=(int(end[0]), int(end[1])),
            lost_steps=self._mechanics.lost_steps,
            checks=checks,
            deviation=self._comparer.result() if self._comparer else None,
            drawn=self._painter.drawing() if self._painter else None,
            pressure_us=self._pressure,
            damaged=damaged,
        )

    def _zero_is(self, position: tuple[int, int]) -> None:
        self._zero = self._count - np.array(position)
        self._played = 0
        self._stretch = (0, 0)
        self._longest = 0
        if not self._drawn_anything:
            # The sheet is placed at the machine's zero of this moment and stays there.
            self._paper_mm = self._rest_mm - self._machine.to_mm @ np.array(position)

    def _flush(self) -> None:
        pieces = self._pieces
        if pieces.count:
            run = decode(np.concatenate(pieces.words), pieces.start, self._shape)
            self._words += pieces.count
            self._end = run.end
            self._checks.run(run)
            self._follow(run, pieces.servo)
        else:
            for tick, servo_us in pieces.servo:
                self._servo(tick, servo_us)
        pieces.clear()

    def _follow(self, run: Run, servo: list[tuple[int, int]]) -> None:
        """Move the pen along a run, and lower and raise it at the servo's times."""
        rise, step_a, step_b = run.rise, run.step_a, run.step_b
        if self._mechanics.settled_ticks:
            rise, step_a, step_b = _with_rests(run, self._mechanics.settled_ticks)
        count = np.empty((len(rise), 2), dtype=np.int64)
        for i, steps in enumerate((step_a, step_b)):
            count[:, i] = self._count[i] + np.cumsum(steps)
            self._steps[i] += int(np.count_nonzero(steps))
        if self._bent:
            x, y = self._mechanics.carriage(rise, step_a, step_b)
            self._check_frame(rise, x, y)
            pen = self._mechanics.pen(rise, x, y)
            if len(x):
                self._rest_mm = self._mechanics.pen_at_rest(float(x[-1]), float(y[-1]))
        else:
            pen = count @ self._machine.to_mm.T + self._mechanics.start_mm
            self._check_frame(rise, pen[:, 0], pen[:, 1])
            if len(pen):
                self._rest_mm = pen[-1]
        moves = (step_a | step_b) != 0
        done = 0
        for tick, servo_us in servo:
            at = int(np.searchsorted(rise, tick, side="left"))
            self._advance(rise[done:at], pen[done:at], count[done:at], moves[done:at])
            self._servo(tick, servo_us)
            done = at
        self._advance(rise[done:], pen[done:], count[done:], moves[done:])

    def _advance(self, rise: Ints, pen_mm: Floats, count: Ints, moves: NDArray[np.bool_]) -> None:
        """Advance the pen by these steps, up or down as it is."""
        if not len(rise):
            return
        if self._servo_moved is not None and moves.any():
            tick, needed_ms = self._servo_moved
            first = rise[int(np.argmax(moves))]
            waited = np.array([first - tick])
            self._pen_ready.compare("pen", waited + tick, waited, needed_ms * _TICKS_PER_MS, 1 / _TICKS_PER_MS)
            self._servo_moved = None
        if self._down:
            self._drawn_anything = True
            before = self._run[-1][1][-1]
            self._run.append((pen_mm - self._paper_mm, before + np.cumsum(moves)))
            self._press(self._run[-1][0])
        self._pen_mm = pen_mm[-1]
        self._count = count[-1]

    def _servo(self, tick: int, servo_us: int) -> None:
        down = self._machine.pen_is_down(servo_us)
        before_us, self._servo_us = self._servo_us, servo_us
        needs_ms = self._machine.pen_needs_ms(before_us, servo_us)
        if down != self._down:
            # A pen that has not reached its start height yet arrives at the paper later.
            late_ms = max(self._pen_there - tick, 0) / _TICKS_PER_MS if down else 0.0
            self._servo_moved = (tick, needs_ms + late_ms)
            self._pen(down=down)
        elif not down and servo_us != before_us:
            self._pen_there = tick + needs_ms * _TICKS_PER_MS

    def _pen(self, *, down: bool) -> None:
        place = self._count - self._zero
        steps = (int(place[0]), int(place[1]))
        if down:
            self._run = [((self._pen_mm - self._paper_mm)[None, :], np.zeros(1, dtype=np.int64))]
            self._run_begin = steps
            self._touching = []
            self._press(self._run[0][0])
        elif self._down:
            points = np.concatenate([points for points, _ in self._run])
            run = PenRun(points, np.concatenate([made for _, made in self._run]), self._run_begin, steps)
            self._run = []
            if self._comparer:
                self._comparer.add(run)
            if self._painter:
                for part in _touched(points, self._touching):
                    self._painter.add(part)
        self._down = down

    def _press(self, points_mm: Floats) -> None:
        """Record the pen's pressure along the last run."""
        if not self._uneven or not len(points_mm):
            return
        pressure = self._mechanics.pressure_us(self._servo_us, points_mm)
        low, high = self._pressure or (np.inf, -np.inf)
        self._pressure = (min(low, float(pressure.min())), max(high, float(pressure.max())))
        self._touching.append(pressure >= 0.0)

    def _check_frame(self, rise: Ints, x_mm: Floats, y_mm: Floats) -> None:
        if not len(rise):
            return
        for axis, place, length in zip("xy", (x_mm, y_mm), self._machine.frame_mm, strict=True):
            ends = np.array([int(np.argmin(place)), int(np.argmax(place))])
            beyond = np.array([-place[ends[0]], place[ends[1]] - length])
            self._frame.compare(axis, rise[ends], np.maximum(beyond, 0.0), OVERRUN_MM)


def _touched(points_mm: Floats, touching: list[NDArray[np.bool_]]) -> list[Floats]:
    """The parts of a run on which the pen leaves ink; the whole run if the paper is even."""
    if not touching:
        return [points_mm]
    ink = np.concatenate(touching)
    edges = np.flatnonzero(np.diff(ink)) + 1
    return [part for part, inked in zip(np.split(points_mm, edges), np.split(ink, edges), strict=True) if inked[0]]


def _with_rests(run: Run, settled_ticks: int) -> tuple[Ints, Ints, Ints]:
    """The steps of a run, with moments without steps inserted into its pauses while the carriage may still swing.

    Returns
    -------
    rise, step_a, step_b : (m,) int64, m >= n
    """
    every = _RESTING_SAMPLE_TICKS
    pauses = np.diff(run.rise, append=run.end)
    extra = np.minimum(pauses, settled_ticks) // every
    extra = np.where(pauses > every, np.minimum(extra, (pauses - 1) // every), 0)
    total = int(extra.sum())
    if not total:
        return run.rise, run.step_a, run.step_b
    at = np.repeat(np.arange(len(run.rise)), extra)
    nth = np.arange(total) - np.repeat(np.cumsum(extra) - extra, extra) + 1
    where = at + 1
    return (
        np.insert(run.rise, where, run.rise[at] + nth * every),
        np.insert(run.step_a, where, 0),
        np.insert(run.step_b, where, 0),
    )


class _Painter:
    """Collects the drawn path, thinned on the fly."""

    def __init__(self, machine: Machine) -> None:
        self._tolerance_mm = machine.step_mm / 2
        self._strokes: list[Floats] = []
        self._batch: list[Floats] = []
        self._points = 0

    def add(self, points_mm: Floats) -> None:
        self._batch.append(points_mm)
        self._points += len(points_mm)
        if self._points > 1 << 18:
            self._thin()

    def drawing(self) -> Drawing:
        self._thin()
        return Drawing.from_strokes(self._strokes)

    def _thin(self) -> None:
        batch, self._batch, self._points = self._batch, [], 0
        lines = [points if len(points) > 1 else np.repeat(points, 2, axis=0) for points in batch]
        if not lines:
            return
        owner = np.repeat(np.arange(len(lines)), [len(points) for points in lines])
        thin = shapely.simplify(
            shapely.linestrings(np.concatenate(lines), indices=owner), self._tolerance_mm, preserve_topology=False
        )
        coordinates, owner = shapely.get_coordinates(thin, return_index=True)
        ends = np.searchsorted(owner, np.arange(len(lines) + 1))
        for i, points in enumerate(batch):
            self._strokes.append(coordinates[ends[i] : ends[i + 1]] if len(points) > 1 else points)
