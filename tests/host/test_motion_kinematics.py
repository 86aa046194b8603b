"""Limits by direction, against values computed by hand for both kinds of machine."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.errors import PlanError
from linewright.motion.kinematics import Limits
from linewright.rig.rig import Rig


def limits(matrix, **changes) -> Limits:
    plain = {
        "steps_matrix": np.array(matrix, dtype=float),
        "speed_mm_s": np.array([100.0, 50.0]),
        "accel_mm_s2": np.array([2000.0, 500.0]),
        "step_rate_hz": np.array([40_000.0, 40_000.0]),
        "pen_down_speed_mm_s": 80.0,
        "junction_deviation_mm": 0.05,
    }
    return Limits(**(plain | changes))


CARTESIAN = [[80.0, 0.0], [0.0, 80.0]]
CROSSED = [[80.0, 80.0], [80.0, -80.0]]
OFF, ON = np.array([False]), np.array([True])


def one(x: float, y: float) -> np.ndarray:
    return np.array([[x, y]])


def test_each_axis_limits_its_own_direction_and_the_slower_one_the_diagonal():
    at = limits(CARTESIAN)
    assert at.speed_along(one(1, 0), OFF) == pytest.approx(100.0)
    assert at.speed_along(one(0, -1), OFF) == pytest.approx(50.0)
    # At 45 degrees y moves at v / sqrt 2, so v = 50 sqrt 2.
    assert at.speed_along(one(0.5**0.5, 0.5**0.5), OFF) == pytest.approx(50 * 2**0.5)
    assert at.accel_along(one(0.5**0.5, -(0.5**0.5))) == pytest.approx(500 * 2**0.5)
    # 3-4-5: x allows 2000 / 0.6, y allows 500 / 0.8.
    assert at.accel_along(one(0.6, 0.8)) == pytest.approx(625.0)


def test_the_pen_limits_only_where_it_draws():
    at = limits(CARTESIAN)
    assert at.speed_along(one(1, 0), ON) == pytest.approx(80.0)
    assert at.ramp_speed(np.array([[100, 0]]), ON) == pytest.approx(80.0 * 80.0)
    assert at.ramp_speed(np.array([[100, 0]]), OFF) == pytest.approx(100.0 * 80.0)


def test_crossed_belts_share_x_and_double_one_motor_on_the_diagonal():
    at = limits(CROSSED, step_rate_hz=np.array([4000.0, 4000.0]), speed_mm_s=np.array([1000.0, 1000.0]))
    # Along x both motors make 80 steps/mm: 4000 / 80 = 50 mm/s.
    assert at.steps_at(one(1.0, 0.0)).tolist() == [[80.0, 80.0]]
    assert at.speed_along(one(1, 0), OFF) == pytest.approx(50.0)
    # Along x = y motor A makes 160 steps per mm of x, that is 160 / sqrt 2 per mm of path, and B stands still.
    assert at.steps_at(one(1.0, 1.0)).tolist() == [[160.0, 0.0]]
    assert at.speed_along(one(0.5**0.5, 0.5**0.5), OFF) == pytest.approx(4000 / 160 * 2**0.5)
    # The same in steps: on the diagonal motor A alone makes the path, at its own rate.
    assert at.ramp_speed(np.array([[500, 0]]), OFF) == pytest.approx(4000.0)
    assert at.ramp_speed(np.array([[500, 500]]), OFF) == pytest.approx(4000.0 * 2**0.5)
    # Acceleration in steps: 500 motor steps of A alone are 3.125 mm in x and in y; y allows 500 mm/s^2, so the squared
    # step speed may change by 2 * 500 * (500 / 3.125) * 500.
    assert at.ramp_budget(np.array([[500, 0]])) == pytest.approx(2 * 500 * 160 * 500)


def test_ramp_limits_agree_with_direction_limits():
    rng = np.random.default_rng(5)
    for matrix in (CARTESIAN, CROSSED, [[80.0, 0.0], [0.0, 25.0]]):
        at = limits(matrix)
        d = rng.integers(-3000, 3000, (200, 2))
        mm = at.mm_at(d)
        length = np.hypot(*mm.T)
        u = mm / length[:, None]
        scale = np.hypot(*d.T) / length
        drawing = rng.random(200) < 0.5
        np.testing.assert_allclose(at.ramp_speed(d, drawing), at.speed_along(u, drawing) * scale, rtol=1e-11)
        budget = 2 * at.accel_along(u) * length * scale**2
        np.testing.assert_allclose(at.ramp_budget(d), budget, rtol=1e-11)


def test_what_turning_leaves_is_the_rest_of_each_axis():
    at = limits(CARTESIAN)
    # Turning needs all acceleration of y; x has its full 2000.
    assert at.accel_left(one(1, 0), one(0, 500)) == pytest.approx(2000.0)
    # On the diagonal y has no acceleration left, so the path has none.
    assert at.accel_left(one(0.6, 0.8), one(0, -500)) == 0.0
    assert at.accel_left(one(0.6, 0.8), one(0, 250)) == pytest.approx(250 / 0.8)


def test_positions_come_back():
    at = Limits.from_rig(Rig.default())
    points = np.random.default_rng(0).uniform(0, 300, (50, 2))
    np.testing.assert_allclose(at.mm_at(at.steps_at(points)), points, atol=1e-10)


@pytest.mark.parametrize(
    "changes",
    [
        {"accel_mm_s2": np.array([0.0, 1.0])},
        {"speed_mm_s": np.array([np.nan, 1.0])},
        {"pen_down_speed_mm_s": -1.0},
        {"junction_deviation_mm": np.inf},
    ],
)
def test_limits_without_meaning_are_refused(changes):
    with pytest.raises(PlanError, match="positive number"):
        limits(CARTESIAN, **changes)


def test_steps_that_lead_nowhere_are_refused():
    with pytest.raises(PlanError, match="steps per mm"):
        limits([[80.0, 80.0], [80.0, 80.0]])
    with pytest.raises(PlanError, match="steps per mm"):
        limits([[0.0, 0.0], [0.0, 0.0]])
