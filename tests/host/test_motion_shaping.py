"""Smooth plans: same path within the same limits, reduced speed where required, small vibration."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from host.motion_cases import broken_limits, drawings, one_stroke, paths, play, rig
from linewright import motion
from linewright.motion.corners import find_corners
from linewright.motion.kinematics import Limits
from linewright.motion.shaping import plan_smooth
from linewright.motion.smoothing import MotionSmoothing
from linewright.motion.speeds import lowest
from linewright.rig.rig import Rig

PATHS = paths()
FREQUENCIES = {"smoothing.x_hz": 14.0, "smoothing.y_hz": 19.0}
SMOOTH = {
    "jerk": {"smoothing.jerk_mm_s3": 30_000.0},
    "zv": {"smoothing.shaper": "zv", **FREQUENCIES},
    "zvd and jerk": {"smoothing.shaper": "zvd", "smoothing.jerk_mm_s3": 80_000.0, **FREQUENCIES},
    "zv along y": {"smoothing.shaper": "zv", "smoothing.y_hz": 9.0, "smoothing.y_damping": 0.2},
    "hardly any": {"smoothing.jerk_mm_s3": 100_000_000.0},
    "crossed": {
        "smoothing.shaper": "zv",
        "kinematics.type": "crossed-belt",
        "axis.y.accel_mm_s2": 700.0,
        **FREQUENCIES,
    },
}


def smooth_rig(name: str) -> Rig:
    return Rig.default().changed(SMOOTH[name])


@given(drawings(), st.sampled_from(sorted(SMOOTH)))
def test_no_smooth_ramp_exceeds_any_limit_and_nothing_is_lost(drawing, name):
    machine = smooth_rig(name)
    program = motion.plan(drawing, machine)
    assert broken_limits(program, machine) == []
    assert program.start_steps == program.end_steps


@settings(max_examples=30, deadline=None)
@given(drawings(), st.sampled_from(sorted(SMOOTH)))
def test_the_path_is_that_of_the_plain_plan_to_a_step(drawing, name):
    """Every speed change of a smooth program is on the plain program's line, except for rounding."""
    machine = smooth_rig(name)
    limits = Limits.from_rig(machine)
    exact = limits.steps_at(drawing.points_mm)
    smooth = motion.plan(drawing, machine)
    at = smooth.position_steps
    for number in range(len(drawing)):
        records = np.flatnonzero(smooth.stroke_of_record == number)
        track = at[records[0] : records[-1] + 1]
        first, end = drawing.starts[number], drawing.starts[number + 1]
        line = exact[first:end] if end - first > 1 else np.repeat(exact[first:end], 2, axis=0)
        # Half a step on either motor, 1/8 for merged vertices and 1/64 for noise.
        assert far_from(track, line) <= math.hypot(0.5, 0.5) + 1 / 8 + 1 / 64


def far_from(points, line) -> float:
    a, way = line[:-1], np.diff(line, axis=0)
    square = np.maximum((way**2).sum(axis=1), 1e-30)
    share = np.clip(((points[:, None] - a) * way).sum(axis=2) / square, 0, 1)
    return float(np.hypot(*np.moveaxis(points[:, None] - a - share[..., None] * way, 2, 0)).min(axis=1).max())


@pytest.mark.parametrize("name", sorted(SMOOTH))
@pytest.mark.parametrize(
    "path", ["noise 0.5", "noise 2", "smooth 1", "zigzag 3 x 5", "stairs", "polygon 6", "circle 2"]
)
def test_the_boards_pulses_keep_every_limit_and_the_predicted_time(name, path):
    machine = smooth_rig(name)
    program = motion.plan(one_stroke(PATHS[path]), machine)
    results, ticks, position = play(program, machine)
    assert ticks == program.predicted_ticks
    assert position == program.end_steps
    for check in ("acceleration", "speed", "step rate", "step spacing"):
        assert results[check].broken == 0, str(results[check].worst)


@given(drawings(), st.sampled_from(sorted(SMOOTH)))
def test_the_smooth_speed_keeps_every_corners_limit(drawing, name):
    """The statement proved at the top of the module, for every vertex of any path."""
    machine = smooth_rig(name)
    limits = Limits.from_rig(machine)
    # The planner has dropped what lies within 1/64 step of the vertex before; the order does not matter here.
    points = np.unique(np.round(drawing.points_mm, 3), axis=0)
    if len(points) < 3:
        return
    rest = np.zeros(len(points), dtype=bool)
    rest[[0, -1]] = True
    down = np.ones(len(points) - 1, dtype=bool)
    smoothing = MotionSmoothing.from_rig(machine)
    plan = plan_smooth(points, rest, down, limits, smoothing)
    slow = replace(limits, accel_mm_s2=np.full(2, smoothing.turn_share(limits) * limits.accel_mm_s2.min()))
    cap = find_corners(points, rest, down, slow).cap_mm2_s2
    w = plan.w_mm2_s2[np.searchsorted(plan.place, np.arange(len(points)))]
    assert np.all(w <= cap * (1 + 1e-6) + 1e-6)
    u = np.diff(points, axis=0) / np.hypot(*np.diff(points, axis=0).T)[:, None]
    top = limits.speed_along(u, down) ** 2
    inside = np.minimum(np.floor(plan.place).astype(int), len(top) - 1)
    assert np.all(plan.w_mm2_s2 <= top[inside] * (1 + 1e-6))


@given(
    st.lists(st.tuples(st.integers(0, 39), st.integers(0, 39), st.floats(1, 100)), min_size=1, max_size=30),
)
def test_the_lowest_of_overlapping_intervals(rows):
    """The sparse table gives each cell the lowest value of all intervals that cover it."""
    first = np.array([min(a, b) for a, b, _ in rows])
    last = np.array([max(a, b) for a, b, _ in rows]) + 1
    value = np.array([v for *_, v in rows])
    found = lowest(first, last, value, 40)
    for cell in range(40):
        covering = value[(first <= cell) & (cell < last)]
        assert found[cell] == (covering.min() if len(covering) else np.inf)


def test_a_single_move_of_bounded_jerk_follows_ruckig():
    # An independent S-curve with the same limits: the staircase of six steps deviates by at most one step.
    jerk, accel, speed, d = 20_000.0, 1470.0, 100.0, 80.0
    machine = Rig.default().changed({"smoothing.jerk_mm_s3": jerk})
    program = motion.plan(one_stroke([[10, 10], [10 + d, 10]]), machine)
    at = np.flatnonzero((program.stroke_of_record == 0) & program.is_ramp)
    t = np.concatenate(([0], np.cumsum(program.ticks[at]))) / 5e6
    mm = np.concatenate((program.position_steps[at, 0], program.position_steps[at[-1] + 1, :1])) / 80 - 10

    along = ruckig.InputParameter(1)
    along.target_position, along.max_velocity, along.max_acceleration, along.max_jerk = [d], [speed], [accel], [jerk]
    moved = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(along, moved) in (ruckig.Result.Working, ruckig.Result.Finished)
    step_s = accel / jerk / 6
    assert t[-1] == pytest.approx(moved.duration - step_s, rel=2e-3)
    # Shifted by half a time step, the staircase is centred on the slope.
    theirs = np.array([moved.at_time(min(max(moment + step_s / 2, 0.0), moved.duration))[0][0] for moment in t])
    # A stair departs from the slope by j step^3 / 24 at most, 0.002 mm. Whole steps near rest, where the first stair is
    # but one and a half of them long, cost half a millisecond, at 100 mm/s 0.05 mm of being late.
    assert np.abs(theirs - mm).max() < 0.06


@pytest.mark.parametrize("shaper", ["zv", "zvd"])
@pytest.mark.parametrize("end", [(60, 10), (10, 47), (60, 47)])
def test_a_simulated_carriage_stands_still_after_a_shaped_move(shaper, end):
    """The remaining oscillation, including rounding of steps and speeds, is a few per cent."""
    swing = {}
    for name in ("none", shaper):
        machine = Rig.default().changed({"smoothing.shaper": name, **FREQUENCIES})
        program = motion.plan(one_stroke([[10, 10], end]), machine)
        at = np.flatnonzero((program.stroke_of_record == 0) & program.is_ramp)
        t = np.concatenate(([0], np.cumsum(program.ticks[at]))) / 5e6
        steps = np.concatenate((program.position_steps[at], program.position_steps[at[-1] + 1 :][:1])) / 80 - 10
        v = np.concatenate((program.v_start[at[:1]], program.v_end[at]))
        fine = np.arange(0, t[-1] + 0.15, 5e-5)
        left = 0.0
        for axis, hz in enumerate((14.0, 19.0)):
            # Constant acceleration within each ramp.
            k = np.clip(np.searchsorted(t, fine, side="right") - 1, 0, len(at) - 1)
            into = np.clip(fine - t[k], 0, np.diff(t)[k])
            share = (v[k] * into + (v[k + 1] - v[k]) / np.diff(t)[k] * into**2 / 2) / np.hypot(
                *(np.diff(steps, axis=0).T * 80)
            )[k]
            drive = steps[k, axis] + share * np.diff(steps[:, axis])[k]
            omega = 2 * math.pi * hz
            plant = signal.TransferFunction([omega**2], [1, 2 * 0.05 * omega, omega**2])
            _, y, _ = signal.lsim(plant, drive, fine)
            left = max(left, float(np.abs(y - drive)[fine > t[-1]].max()))
        swing[name] = left
    # A plain stop leaves about a / w^2, 0.1 to 0.2 mm; whole steps and whole speeds leave a little of it.
    assert swing["none"] > 0.06, swing
    assert swing[shaper] < 0.06 * swing["none"], swing


def test_without_smoothing_nothing_changes():
    assert MotionSmoothing.from_rig(rig("default")) is None
    assert MotionSmoothing.from_rig(Rig.default().changed(FREQUENCIES)) is None
