"""Planner throughput, and duration of its plans relative to toppra.

    python bench/planner.py

Prints medians of seven runs with their spread. ``speed passes``: `linewright.motion.speeds.plan_speeds`, forward and
backward, in segments per second; toppra (the reachability analysis of Pham and Pham, compiled) on a path with as many
grid points, in one run. ``plan``: everything from placed strokes to a `Program`.
"""

from __future__ import annotations

import resource
import statistics
import time
from collections.abc import Callable

import numpy as np
import toppra
import toppra.algorithm
import toppra.constraint
from numpy.typing import NDArray

from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.motion.speeds import plan_speeds
from linewright.rig.rig import Rig

RUNS = 7


def timed(work: Callable[[], object], runs: int = RUNS) -> tuple[float, float, float]:
    """Median, least and most of the wall time of ``work``, s."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken), min(taken), max(taken)


def rate(name: str, count: int, seconds: tuple[float, float, float], unit: str) -> None:
    middle, least, most = (count / s for s in (seconds[0], seconds[2], seconds[1]))
    print(f"{name:44s} {middle / 1e6:8.3f} million {unit}/s   ({least / 1e6:.3f} .. {most / 1e6:.3f})")


def wander(count: int) -> NDArray[np.float64]:
    """One smooth line of ``count`` vertices, 0.4 mm apart before scaling to 250 mm."""
    turn = np.cumsum(np.random.default_rng(1).normal(0, 0.3, count))
    points = np.cumsum(np.column_stack((np.cos(turn), np.sin(turn))) * 0.4, axis=0)
    return (points - points.min(axis=0)) / np.ptp(points, axis=0) * 250 + 20


def passes() -> None:
    rng = np.random.default_rng(2)
    for count in (100_000, 1_000_000):
        cap = rng.uniform(1e4, 1e8, count)
        cap[rng.random(count) < 0.01] = 0.0
        budget = rng.uniform(1e4, 1e7, count - 1)
        bend = np.where(rng.random(count - 1) < 0.5, budget / np.maximum(cap[1:], cap[:-1]).clip(1.0), 0.0)
        rate(f"speed passes, {count} segments", count, timed(lambda c=cap, b=budget: plan_speeds(c, b)), "segments")
        rate("  the same with bends", count, timed(lambda c=cap, b=budget, e=bend: plan_speeds(c, b, e)), "segments")


def against_toppra() -> None:
    toppra.setup_logging("ERROR")
    machine = Rig.default().changed({"motion.pen_down_speed_mm_s": 2000.0})
    t = np.linspace(0, 1, 2001)
    turn = 2 * np.pi * t
    points = 150 + np.column_stack((60 * np.sin(3 * turn), 40 * np.sin(2 * turn + 0.5)))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    path = toppra.SplineInterpolator(along, points)
    limits = [
        toppra.constraint.JointVelocityConstraint(np.array([[-machine.x.speed_mm_s, machine.x.speed_mm_s]] * 2)),
        toppra.constraint.JointAccelerationConstraint(np.array([[-machine.x.accel_mm_s2, machine.x.accel_mm_s2]] * 2)),
    ]
    solver = toppra.algorithm.TOPPRA(limits, path, gridpoints=along, parametrizer="ParametrizeConstAccel")
    rate(
        "toppra, 2000 segments, set up and ready",
        2000,
        timed(lambda: solver.compute_parameterization(0, 0)),
        "segments",
    )
    drawing = Drawing.from_strokes([points])
    rate("  plan of the same path, all of it", 2000, timed(lambda: motion.plan(drawing, machine)), "segments")
    program = motion.plan(drawing, machine)
    ours = program.ticks[(program.stroke_of_record == 0) & program.is_ramp].sum() / 5e6
    best = solver.compute_trajectory(0, 0).duration
    print(f"{'  time of the drawn path, ours / toppra':44s} {ours:.3f} s / {best:.3f} s = {ours / best:.3f}")


def whole() -> None:
    machine = Rig.default()
    points = wander(200_000)
    drawing = Drawing.from_strokes(np.split(points, range(100, len(points), 100)))
    seconds = timed(lambda: motion.plan(drawing, machine), 3)
    program = motion.plan(drawing, machine)
    rate("plan, 200 000 vertices in 2000 strokes", 200_000, seconds, "vertices")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{'':44s} {seconds[0]:.2f} s for {program.ramps} ramps; peak memory of this process {peak_mb:.0f} MB")


if __name__ == "__main__":
    whole()
    passes()
    against_toppra()
