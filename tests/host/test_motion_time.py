"""Duration of motion, against the closed form, ruckig, a linear programme and toppra."""

from __future__ import annotations

import math

import numpy as np
import pytest
import ruckig
import toppra
import toppra.algorithm
import toppra.constraint
from scipy import optimize, sparse

from host.motion_cases import one_stroke, rig, smooth
from linewright import motion
from linewright.rig.rig import Rig

SPEED_MM_S, ACCEL_MM_S2, DELTA_MM = 200.0, 1500.0, 0.05


def free_rig(**changes) -> Rig:
    """A rig without limits from pen and motors."""
    base = {
        "axis.x.speed_mm_s": SPEED_MM_S,
        "axis.y.speed_mm_s": SPEED_MM_S,
        "motion.pen_down_speed_mm_s": 2000.0,
        "motion.junction_deviation_mm": DELTA_MM,
    }
    return Rig.default().changed(base | changes)


def stroke_s(points, machine: Rig) -> float:
    program = motion.plan(one_stroke(points), machine)
    return float(program.ticks[(program.stroke_of_record == 0) & program.is_ramp].sum() / 5e6)


@pytest.mark.parametrize("end", [(200.0, 10.0), (10.0, 300.0), (200.0, 150.0), (210.0, 210.0), (11.0, 10.3)])
def test_a_straight_move_takes_the_time_of_the_trapezoid(end):
    d = math.dist((10, 10), end)
    main = max(abs(end[0] - 10), abs(end[1] - 10)) / d
    v, a = SPEED_MM_S / main, ACCEL_MM_S2 / main
    closed_s = v / a + d / v if d > v * v / a else 2 * math.sqrt(d / a)
    # ruckig with infinite jerk: an independent time-optimal move along one axis with the same limits.
    along = ruckig.InputParameter(1)
    along.target_position, along.max_velocity, along.max_acceleration = [d], [v], [a]
    along.max_jerk = [math.inf]
    moved = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(along, moved) in (ruckig.Result.Working, ruckig.Result.Finished)
    assert moved.duration == pytest.approx(closed_s, rel=1e-9)
    # Whole steps and whole speeds: 80 steps/mm, up to 16 000 steps/s, ramps of 83 steps and more.
    assert stroke_s([(10, 10), end], free_rig()) == pytest.approx(closed_s, rel=1.5e-3)


def least_time_s(points, machine: Rig, grid_mm: float) -> float:
    """Least time for a polyline with corner caps, by scipy's HiGHS on a fine grid of squared speeds.

    Written independently of the planner: arccos and sin instead of chords, an optimiser instead of passes. It ignores
    the acceleration needed for turning, so a plan that includes it cannot be as fast.
    """
    points = np.asarray(points)
    d = np.hypot(*np.diff(points, axis=0).T)
    u = np.diff(points, axis=0) / d[:, None]
    caps, budgets, lengths = [0.0], [], []
    for i in range(len(d)):
        count = max(2, math.ceil(d[i] / grid_mm))
        main = np.abs(u[i]).max()
        v2 = min(machine.x.speed_mm_s / main, machine.motion.pen_down_speed_mm_s) ** 2
        caps[-1] = min(caps[-1], v2)
        caps += [v2] * count
        lengths += [d[i] / count] * count
        budgets += [2 * machine.x.accel_mm_s2 / main * d[i] / count] * count
        if i + 1 < len(d):
            phi = math.acos(np.clip(u[i] @ u[i + 1], -1, 1))
            normal = (u[i + 1] - u[i]) / np.hypot(*(u[i + 1] - u[i]))
            # The throw of `motion.corners`: it passes delta from the corner and takes half of either neighbour.
            radius = 2 * machine.motion.junction_deviation_mm / math.sin(phi / 2) ** 2
            radius = min(radius, min(d[i], d[i + 1]) / 2 / math.sin(phi / 2))
            caps[-1] = min(v2, radius * machine.x.accel_mm_s2 / np.abs(normal).max())
    caps[-1] = 0.0
    n = len(caps)
    rise = sparse.eye(n - 1, n, 1) - sparse.eye(n - 1, n)
    found = optimize.linprog(
        -np.ones(n),
        A_ub=sparse.vstack([rise, -rise]),
        b_ub=np.array(budgets * 2),
        bounds=np.column_stack((np.zeros(n), caps)),
        method="highs",
    )
    assert found.success
    v = np.sqrt(np.maximum(found.x, 0.0))
    return float((2 * np.array(lengths) / (v[1:] + v[:-1])).sum())


@pytest.mark.parametrize(
    ("edge_mm", "most"),
    # Measured 1.11, 1.18, 1.29: the shorter the edges, the more of the path lies on the turns of hairpin corners,
    # where turning uses acceleration that the linear programme uses twice. bench/optimal_time.py has a reference that
    # uses it once.
    [(10.0, 1.12), (3.0, 1.2), (1.0, 1.31)],
)
def test_a_jagged_line_comes_close_to_the_linear_programme(edge_mm, most):
    machine = free_rig()
    points = np.cumsum(np.random.default_rng(3).normal(0, edge_mm, (40, 2)), axis=0) + 150
    ratio = stroke_s(points, machine) / least_time_s(points, machine, edge_mm / 30)
    # Below 1 only by the error of the programme's grid.
    assert 0.995 <= ratio <= most


def test_a_slow_pen_loses_nothing():
    # Corners hardly matter at 5 mm/s: the plan is within half a per cent of the optimum, rounding included.
    machine = rig("default").changed({"motion.pen_down_speed_mm_s": 5.0})
    points = np.cumsum(np.random.default_rng(3).normal(0, 3, (40, 2)), axis=0) + 150
    assert stroke_s(points, machine) == pytest.approx(least_time_s(points, machine, 0.1), rel=0.005)


def curves() -> dict[str, np.ndarray]:
    t = np.linspace(0, 1, 501)
    turn = 2 * np.pi * t
    found = {
        "circle 20": 150 + 20 * np.column_stack((np.cos(turn), np.sin(turn))),
        "circle 2": 150 + 2 * np.column_stack((np.cos(turn), np.sin(turn))),
        "ellipse": 150 + np.column_stack((60 * np.cos(turn), 15 * np.sin(turn))),
        "lissajous": 150 + np.column_stack((60 * np.sin(3 * turn), 40 * np.sin(2 * turn + 0.5))),
        "spiral": 150 + 50 * t[:, None] * np.column_stack((np.cos(10 * turn), np.sin(10 * turn))),
    }
    return found | {f"smooth {seed}": smooth(seed) for seed in (1, 2)}


@pytest.mark.parametrize("name", sorted(curves()))
def test_curves_take_about_the_time_that_toppra_finds(name):
    # toppra (Pham and Pham 2018) bounds the acceleration of each axis along a spline, turning included: the same limits
    # on the smooth curve that our polyline stands for. Measured 1.00 to 1.05; corners within the junction deviation
    # are cut by us and not by the spline, so a little below 1 is possible.
    points = curves()[name]
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    toppra.setup_logging("ERROR")
    problem = toppra.algorithm.TOPPRA(
        [
            toppra.constraint.JointVelocityConstraint(np.array([[-SPEED_MM_S, SPEED_MM_S]] * 2)),
            toppra.constraint.JointAccelerationConstraint(np.array([[-ACCEL_MM_S2, ACCEL_MM_S2]] * 2)),
        ],
        toppra.SplineInterpolator(along, points),
        gridpoints=np.linspace(0, along[-1], 2000),
        parametrizer="ParametrizeConstAccel",
    )
    best_s = problem.compute_trajectory(0, 0).duration
    assert 0.97 <= stroke_s(points, free_rig()) / best_s <= 1.08


def test_a_divided_circle_is_drawn_at_v2_equal_a_r():
    # Newton: v^2 = a r. Two turns, so that one of them is at full speed throughout.
    radius = 10.0
    turn = np.linspace(0, 4 * np.pi, 801)
    points = 150 + radius * np.column_stack((np.cos(turn), np.sin(turn)))
    path = motion.plan(one_stroke(points), free_rig()).trajectory
    centre = path.points_mm[1:] - 150
    fast = path.speed_mm_s[path.stroke == 0][:, 1]
    at = centre[path.stroke == 0]
    on_axis = (np.abs(at).min(axis=1) < 0.05 * radius) & (np.arange(len(at)) > 100) & (np.arange(len(at)) < 700)
    # If the centre lies along an axis, only this axis accelerates for the turn. Whole steps make chords of 12.6 steps
    # differ by a few per cent in length and direction.
    assert np.sqrt(np.mean(fast[on_axis] ** 2)) == pytest.approx(math.sqrt(ACCEL_MM_S2 * radius), rel=0.01)
