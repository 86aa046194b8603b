"""Corner caps against the geometry they stand for: arcs constructed by hand, circles, and Newton's law."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.motion.corners import find_corners
from linewright.motion.kinematics import Limits

DELTA_MM = 0.05
ACCEL_MM_S2 = 1500.0


def limits(accel=(ACCEL_MM_S2, ACCEL_MM_S2), speed=1e4, delta=DELTA_MM) -> Limits:
    return Limits(
        steps_matrix=np.eye(2) * 80.0,
        speed_mm_s=np.array([speed, speed]),
        accel_mm_s2=np.array(accel, dtype=float),
        step_rate_hz=np.array([1e6, 1e6]),
        pen_down_speed_mm_s=speed,
        junction_deviation_mm=delta,
    )


def corners(points, at=None):
    points = np.asarray(points, dtype=float)
    rest = np.zeros(len(points), dtype=bool)
    rest[[0, -1]] = True
    return find_corners(points, rest, np.ones(len(points) - 1, dtype=bool), at or limits())


def turn(phi: float, before: float = 10.0, after: float = 10.0, heading: float = 0.0) -> np.ndarray:
    """Two segments that turn by phi."""
    u = np.array([math.cos(heading), math.sin(heading)])
    v = np.array([math.cos(heading + phi), math.sin(heading + phi)])
    return np.array([-before * u, [0.0, 0.0], after * v])


@pytest.mark.parametrize("degrees", [1, 10, 45, 90, 135, 170])
def test_the_arc_touches_both_segments_and_passes_delta_from_the_corner(degrees):
    phi = math.radians(degrees)
    # Heading so that the bisector lies along an axis, where that axis' acceleration is the whole of it.
    found = corners(turn(phi, 1000.0, 1000.0, heading=-phi / 2))
    radius = found.cap_mm2_s2[1] / ACCEL_MM_S2
    # The circle of that radius, tangent to both legs, has its centre at radius / cos(phi/2) from the corner.
    assert radius / math.cos(phi / 2) - radius == pytest.approx(DELTA_MM, rel=1e-9)
    assert found.turn_rad[1] == pytest.approx(phi, rel=1e-12)


def test_the_acceleration_is_that_of_the_bisector():
    # A right angle from +x to +y: the pen is pushed along (-1, 1) / sqrt 2, where both axes help.
    square = corners(turn(math.pi / 2, 100, 100)).cap_mm2_s2[1]
    tilted = corners(turn(math.pi / 2, 100, 100, heading=-math.pi / 4)).cap_mm2_s2[1]
    assert square == pytest.approx(tilted * math.sqrt(2))
    weak_y = corners(turn(math.pi / 2, 100, 100), limits(accel=(1500, 300))).cap_mm2_s2[1]
    assert weak_y == pytest.approx(square / 5)


def test_the_arc_fits_into_half_of_the_shorter_neighbour():
    phi = 0.1
    found = corners(turn(phi, 0.2, 50.0, heading=-phi / 2))
    radius = found.cap_mm2_s2[1] / ACCEL_MM_S2
    assert radius * math.tan(phi / 2) == pytest.approx(0.1)


@pytest.mark.parametrize("radius_mm", [0.5, 3.0, 40.0])
@pytest.mark.parametrize("count", [64, 1000, 20_000])
def test_a_divided_circle_obeys_v2_equal_a_r(radius_mm, count):
    # Newton: a = v^2 / r. Where the centre lies along an axis, that axis bears it alone.
    angle = np.arange(count + 1) * 2 * math.pi / count
    found = corners(radius_mm * np.stack((np.cos(angle), np.sin(angle)), axis=1), limits(delta=1.0))
    quarter = found.cap_mm2_s2[count // 4]
    # Inscribed polygon: the arcs tangent to the chords have the radius r cos(pi / count), 0.12 % less at 64 sides.
    # 1e-7: a turning angle of 3e-4 rad out of coordinates with 1e-16 of relative error.
    assert quarter == pytest.approx(ACCEL_MM_S2 * radius_mm * math.cos(math.pi / count), rel=1e-7)
    assert np.all(found.cap_mm2_s2[1:-1] <= math.sqrt(2) * ACCEL_MM_S2 * radius_mm)
    # Arcs cover a circle wholly: no chord is a straight on which to go faster.
    assert np.all(found.share[1:-1] > 0.5 - 1e-6)


def test_straight_on_has_no_cap_and_a_reversal_is_a_stop():
    found = corners([[0, 0], [1, 1], [3, 3], [2, 2], [0, 5]])
    assert found.cap_mm2_s2[1] == np.inf
    assert found.turn_rad[1] == 0.0
    assert found.cap_mm2_s2[2] == pytest.approx(0.0, abs=1e-9)
    assert found.turn_rad[2] == pytest.approx(math.pi)


@given(st.floats(1e-9, math.pi - 1e-9), st.floats(1e-3, 100), st.floats(1e-3, 100), st.floats(0, 6.28))
def test_any_corner_has_a_finite_cap_and_shares_that_make_sense(phi, before, after, heading):
    found = corners(turn(phi, before, after, heading))
    assert found.cap_mm2_s2[1] >= 0.0
    assert np.all((found.share >= 0.0) & (found.share <= 0.5))
    assert np.all((found.bend >= 0.0) & np.isfinite(found.bend))
    radius = found.cap_mm2_s2[1] / ACCEL_MM_S2
    if math.isfinite(radius):
        # No arc is longer than the fit rule allows; sqrt 2 for the direction's share.
        assert radius * math.tan(phi / 2) <= min(before, after) / 2 * math.sqrt(2) * (1 + 1e-6)


def test_on_a_circle_no_axis_is_asked_for_more_than_it_has():
    # Speeding up at (w' - w) / 2d while turning at w / r: each axis bears the sum of both.
    radius, count = 20.0, 400
    angle = np.arange(count + 1) * 2 * math.pi / count
    points = radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    at = limits(accel=(1500, 600), delta=1.0)
    found = corners(points, at)
    step = np.diff(points, axis=0)[1:]
    d = np.hypot(*step.T)
    u = step / d[:, None]
    half_budget = at.accel_along(u) * d
    cap = found.cap_mm2_s2[1:-1]
    for part in (0.0, 0.3, 0.7, 1.0):
        low = part * cap
        high = (low + half_budget) / (1 + found.bend[1:, 0])  # over the first half of each segment, on its vertex' arc
        along = (high - low) / d
        load = np.abs(along[:, None] * u) + np.abs((low / radius)[:, None] * found.normal[1:-1])
        # The arcs of a polygon of 400 sides have 0.003 % less radius.
        assert (load / at.accel_mm_s2).max() <= 1.0001
        if part == 0.0:
            assert (load / at.accel_mm_s2).max() > 0.8  # and the budget is used
