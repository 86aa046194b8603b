"""Duration of plans relative to the least time that toppra finds, and the processor time of both.

    python bench/optimal_time.py

**The reference** has the same limits and shares no method with ours. Its path is that of the plan, with every corner
rounded by the largest circular arc that passes within the junction deviation of the corner and whose tangents take no
more than half of either neighbour: a curve that a machine of finite acceleration can follow exactly. On it, toppra
(reachability analysis: Pham and Pham, IEEE T-RO 34, 2018; compiled) looks for the fastest motion that keeps each axis'
speed and acceleration, turning included, and the pen's speed (as a third axis that moves by the length of the path).
Ways between strokes are straight, from rest to rest, where both must reach the trapezoid; they count in the second
ratio, as does everything that moves.

Arcs are cut into `ARC_CELLS`, straights into cells of `CELL_MM` and no fewer than `STRAIGHT_CELLS`; the error of such a
grid falls as its cells do (seen down to 48 cells), so the least time is taken from this grid and one twice as fine, ``2
T(fine) - T(coarse)``. The difference to the coarser grid is printed. The curvature at a point is that of the following
piece.

*faster* is the processor time of toppra alone on the coarser grid, without building the path, over that of the whole
plan, from placed strokes to records. *fair* is the same where toppra gets one cell for each straight and each arc, as
many as our plan has: it then does not find the least time, because a cell has one acceleration, but has the same
amount of work.
"""

from __future__ import annotations

import math
import statistics
import time
from dataclasses import replace
from pathlib import Path

import drawing_sets
import numpy as np
import toppra
import toppra.algorithm
import toppra.constraint
from numpy.typing import NDArray
from toppra.interpolator import AbstractGeometricPath

from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.sources.svg import read_svg
from linewright.tidy import tidy
from linewright.units import TICK_HZ

Floats = NDArray[np.float64]

ARC_CELLS, STRAIGHT_CELLS, CELL_MM = 12, 24, 0.25
RUNS = 5
STEP_MM = 1 / 80


class Rounded(AbstractGeometricPath):
    """A polyline with its corners rounded by arcs, by length, and that length as a third coordinate.

    Parameters
    ----------
    points : (n, 2), mm, no two neighbours alike.
    deviation_mm : how far from its corner an arc may pass.
    fineness : cells of the grid, in multiples of those above.
    coarse : one cell for each straight and each arc instead.
    """

    def __init__(self, points: Floats, deviation_mm: float, fineness: int = 1, *, coarse: bool = False) -> None:
        step = np.diff(points, axis=0)
        length = np.hypot(*step.T)
        u = step / length[:, None]
        heading = np.arctan2(u[:, 1], u[:, 0])
        turn = np.mod(np.diff(heading) + math.pi, 2 * math.pi) - math.pi
        half = np.abs(turn) / 2
        bent = half > 1e-9
        with np.errstate(divide="ignore", invalid="ignore"):
            passing = deviation_mm * np.cos(half) / (1 - np.cos(half))
            fitting = np.minimum(length[:-1], length[1:]) / 2 / np.tan(half)
        radius = np.where(bent, np.minimum(passing, fitting), 0.0)
        tangent = np.where(bent, radius * np.tan(half), 0.0)
        # Straights and arcs by turns: start, heading, curvature, length of each.
        straight = length - np.append(tangent, 0.0) - np.append(0.0, tangent)
        starts, headings, curvatures, lengths, cells = [], [], [], [], []
        for i in range(len(length)):
            begin = points[i] + u[i] * (tangent[i - 1] if i else 0.0)
            if straight[i] > 1e-9:
                starts.append(begin)
                headings.append(heading[i])
                curvatures.append(0.0)
                lengths.append(straight[i])
                cells.append(1 if coarse else fineness * max(STRAIGHT_CELLS, math.ceil(straight[i] / CELL_MM)))
            if i < len(turn) and tangent[i] > 1e-9:
                starts.append(points[i + 1] - u[i] * tangent[i])
                headings.append(heading[i])
                curvatures.append(math.copysign(1 / radius[i], turn[i]))
                lengths.append(radius[i] * abs(turn[i]))
                cells.append(1 if coarse else fineness * ARC_CELLS)
        self._start, self._heading = np.array(starts), np.array(headings)
        self._curvature, lengths_mm = np.array(curvatures), np.array(lengths)
        self._edge = np.concatenate(([0.0], np.cumsum(lengths_mm)))
        count = np.array(cells)
        into = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        grid = np.repeat(self._edge[:-1], count) + into * np.repeat(lengths_mm / count, count)
        self.grid = np.append(grid, self._edge[-1])

    def __call__(self, path_positions: Floats, order: int = 0) -> Floats:
        """Position (order 0), direction (1) or curvature vector (2) at lengths along the path, (m, 3)."""
        s = np.atleast_1d(path_positions)
        k = np.clip(np.searchsorted(self._edge, s + 1e-12, side="right") - 1, 0, len(self._curvature) - 1)
        into, bend = s - self._edge[k], self._curvature[k]
        angle = self._heading[k] + bend * into
        if order == 1:
            return np.stack((np.cos(angle), np.sin(angle), np.ones(len(s))), axis=1)
        if order == 2:
            return np.stack((-bend * np.sin(angle), bend * np.cos(angle), np.zeros(len(s))), axis=1)
        safe = np.where(bend == 0.0, 1.0, bend)
        x = np.where(bend == 0.0, into * np.cos(angle), (np.sin(angle) - np.sin(self._heading[k])) / safe)
        y = np.where(bend == 0.0, into * np.sin(angle), (np.cos(self._heading[k]) - np.cos(angle)) / safe)
        return np.column_stack((self._start[k] + np.stack((x, y), axis=1), s))

    @property
    def dof(self) -> int:
        """Coordinates."""
        return 3

    @property
    def path_interval(self) -> Floats:
        """First and last length of the path, mm."""
        return np.array([0.0, self._edge[-1]])

    @property
    def waypoints(self) -> tuple[Floats, Floats]:
        """The grid of lengths, mm."""
        return self.grid, self(self.grid)


def solver_for(
    points: Floats, machine: Rig, fineness: int = 1, *, coarse: bool = False
) -> tuple[toppra.algorithm.TOPPRA, Floats]:
    """A toppra instance for the least time of a stroke, and its grid."""
    path = Rounded(points, machine.motion.junction_deviation_mm, fineness, coarse=coarse)
    speed = np.array([machine.x.speed_mm_s, machine.y.speed_mm_s, machine.motion.pen_down_speed_mm_s])
    accel = np.array([machine.x.accel_mm_s2, machine.y.accel_mm_s2, 1e7])
    limits = [
        toppra.constraint.JointVelocityConstraint(np.stack((-speed, speed), axis=1)),
        toppra.constraint.JointAccelerationConstraint(np.stack((-accel, accel), axis=1)),
    ]
    return toppra.algorithm.TOPPRA(limits, path, gridpoints=path.grid, solver_wrapper="seidel"), path.grid


def least_time_s(solver: toppra.algorithm.TOPPRA, grid: Floats) -> float:
    """Least time from rest to rest by toppra, s."""
    _, v, _ = solver.compute_parameterization(0, 0)
    assert v is not None, "toppra finds no motion"
    return float((2 * np.diff(grid) / (v[1:] + v[:-1])).sum())


def without_repeats(points: Floats) -> Floats:
    """The same path without vertices that are nearer than a 64th of a step to the one before."""
    kept = [points[0]]
    for point in points[1:]:
        if math.dist(point, kept[-1]) > STEP_MM / 64:
            kept.append(point)
    return np.array(kept)


def six() -> dict[str, Drawing]:
    """The drawings, machine mm."""
    sets = drawing_sets.drawings()
    card = tidy(read_svg(Path(__file__).parent.parent / "demo" / "heron.svg").drawing)
    low = card.points_mm.min(axis=0)
    card = replace(card, points_mm=card.points_mm - low + 20.0, pen=np.zeros(len(card), dtype=np.int64))
    turn = np.linspace(0, 40 * np.pi, 2400)
    spiral = 150 + np.column_stack((np.cos(turn), np.sin(turn))) * (2 + turn / 2)[:, None]
    rng = np.random.default_rng(8)
    jagged = [np.cumsum(rng.normal(0, edge, (400, 2)), axis=0) for edge in (0.1, 0.2, 0.3, 0.7)]
    jagged = [line - line.min(axis=0) + 30.0 + 50.0 * i for i, line in enumerate(jagged)]
    return {
        "demo card (heron)": card.select(np.arange(min(120, len(card)))),
        "hatching": sets["hatching"].select(np.arange(300)),
        "circles": sets["circles"].select(np.arange(40)),
        "spiral": Drawing.from_strokes([spiral]),
        "lettering": sets["small letters"].select(np.arange(60)),
        "jagged lines": Drawing.from_strokes(jagged),
    }


def timed(work, runs: int = RUNS) -> float:
    """Median wall time, s."""
    taken = []
    for _ in range(runs):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def main() -> None:
    """The table."""
    toppra.setup_logging("ERROR")
    machine = Rig.default()
    print(
        f"{'':20s} {'vertices':>8s} {'ours':>9s} {'least':>9s} {'strokes':>8s} {'all':>7s} {'grid':>7s} {'faster':>7s} "
        f"{'fair':>7s}"
    )
    for name, drawing in six().items():
        program = motion.plan(drawing, machine)
        drawn = program.is_ramp & (program.stroke_of_record >= 0)
        ours = program.ticks[drawn].sum() / TICK_HZ
        ours_ways = program.ticks[program.is_ramp & ~drawn].sum() / TICK_HZ
        strokes = [without_repeats(stroke) for stroke in program.drawing]
        strokes = [stroke for stroke in strokes if len(stroke) > 1]
        ends = np.concatenate([[[0.0, 0.0]], *[stroke[[0, -1]] for stroke in program.drawing], [[0.0, 0.0]]])
        ways = [w for w in zip(ends[::2], ends[1::2], strict=True) if math.dist(*w) > STEP_MM]
        solvers = [solver_for(stroke, machine) for stroke in strokes]
        start = time.process_time()
        coarse = sum(least_time_s(*solver) for solver in solvers)
        took = time.process_time() - start
        fine = sum(least_time_s(*solver_for(stroke, machine, 2)) for stroke in strokes)
        best = 2 * fine - coarse
        best_ways = sum(trapezoid_s(np.subtract(*w), machine) for w in ways)
        ours_took = timed(lambda d=drawing: motion.plan(d, machine))
        faster = took / ours_took
        few = [solver_for(stroke, machine, coarse=True) for stroke in strokes]
        fair = timed(lambda solvers=few: [solver.compute_parameterization(0, 0) for solver, _ in solvers]) / ours_took
        print(
            f"{name:20s} {drawing.vertices:8d} {ours:8.2f}s {best:8.2f}s {ours / best:8.3f} "
            f"{(ours + ours_ways) / (best + best_ways):7.3f} {best / coarse:7.4f} {faster:6.0f}x {fair:6.1f}x",
            flush=True,
        )


def trapezoid_s(way: Floats, machine: Rig) -> float:
    """Least time of a straight way from rest to rest: the closed form."""
    d = math.hypot(*way)
    u = np.abs(way) / d
    with np.errstate(divide="ignore"):
        v = float(np.min(np.array([machine.x.speed_mm_s, machine.y.speed_mm_s]) / u))
        a = float(np.min(np.array([machine.x.accel_mm_s2, machine.y.accel_mm_s2]) / u))
    return v / a + d / v if d > v * v / a else 2 * math.sqrt(d / a)


if __name__ == "__main__":
    main()
