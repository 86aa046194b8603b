"""Corner speed limits against geometry: parabolas, circles, and Newton's law."""

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


@pytest.mark.parametrize("degrees", [1, 10, 45, 90, 135, 170, 180])
def test_a_thrown_pen_passes_delta_from_the_corner_and_joins_both_segments(degrees):
    phi = math.radians(degrees)
    # Directed so that the bisector lies along an axis, whose acceleration is then the only limit.
    found = corners(turn(phi, 1000.0, 1000.0, heading=-phi / 2 + (math.pi / 2 if degrees == 180 else 0.0)))
    v = math.sqrt(found.cap_mm2_s2[1])
    assert found.turn_rad[1] == pytest.approx(phi, rel=1e-12)
    # Newton's parabola: from where the pen leaves the first segment, under the constant acceleration of the bisector.
    u, u_after = (np.array([math.cos(at), math.sin(at)]) for at in (0.0, phi))
    push = (u_after - u) / np.hypot(*(u_after - u)) * ACCEL_MM_S2
    takes_s = 2 * v * math.sin(phi / 2) / ACCEL_MM_S2
    leaves = -u * v * takes_s / 2
    middle = leaves + u * v * takes_s / 2 + push * (takes_s / 2) ** 2 / 2
    assert np.hypot(*middle) == pytest.approx(DELTA_MM, rel=1e-9)
    joins = leaves + u * v * takes_s + push * takes_s**2 / 2
    assert joins == pytest.approx(u_after * v * takes_s / 2, abs=1e-9)
    assert u * v + push * takes_s == pytest.approx(u_after * v, abs=1e-9)
    assert found.share[0, 1] * 1000.0 == pytest.approx(v * takes_s / 2)


@pytest.mark.parametrize("degrees", [1, 10, 45, 90, 135])
def test_an_arc_within_the_same_deviation_is_never_faster(degrees):
    # The circle tangent to both legs with its middle delta from the corner: R / cos(phi/2) - R = delta.
    phi = math.radians(degrees)
    arc = DELTA_MM * math.cos(phi / 2) / (1 - math.cos(phi / 2))
    found = corners(turn(phi, 1000.0, 1000.0, heading=-phi / 2))
    share = math.cos(phi / 2) * (1 + math.cos(phi / 2)) / 2
    assert ACCEL_MM_S2 * arc == pytest.approx(share * found.cap_mm2_s2[1], rel=1e-9)


def test_the_acceleration_is_that_of_the_bisector():
    # A right angle from +x to +y: the pen is pushed along (-1, 1) / sqrt 2, where both axes help.
    square = corners(turn(math.pi / 2, 100, 100)).cap_mm2_s2[1]
    tilted = corners(turn(math.pi / 2, 100, 100, heading=-math.pi / 4)).cap_mm2_s2[1]
    assert square == pytest.approx(tilted * math.sqrt(2))
    weak_y = corners(turn(math.pi / 2, 100, 100), limits(accel=(1500, 300))).cap_mm2_s2[1]
    assert weak_y == pytest.approx(square / 5)


def test_a_turn_fits_into_half_of_the_shorter_neighbour():
    phi = 0.1
    found = corners(turn(phi, 0.2, 50.0, heading=-phi / 2))
    # From where it leaves the segment to the corner: v * (dv / 2a).
    assert found.cap_mm2_s2[1] * math.sin(phi / 2) / ACCEL_MM_S2 == pytest.approx(0.1)
    assert found.share[:, 1][0] == pytest.approx(0.5)


@pytest.mark.parametrize("radius_mm", [0.5, 3.0, 40.0])
@pytest.mark.parametrize("count", [64, 1000, 20_000])
def test_a_divided_circle_obeys_v2_equal_a_r(radius_mm, count):
    # Newton: a = v^2 / r. If the centre lies along an axis, only this axis accelerates.
    angle = np.arange(count + 1) * 2 * math.pi / count
    found = corners(radius_mm * np.stack((np.cos(angle), np.sin(angle)), axis=1), limits(delta=1.0))
    quarter = found.cap_mm2_s2[count // 4]
    # A chord is 2 r sin(phi/2), so its half over sin(phi/2) is the radius.
    # 1e-7: a turning angle of 3e-4 rad out of coordinates with 1e-16 of relative error.
    assert quarter == pytest.approx(ACCEL_MM_S2 * radius_mm, rel=1e-7)
    assert np.all(found.cap_mm2_s2[1:-1] <= math.sqrt(2) * ACCEL_MM_S2 * radius_mm * (1 + 1e-7))
    # Turns cover the whole circle, so no chord is a straight that allows more speed.
    assert np.all(found.share[1:-1] > 0.5 - 1e-6)


def test_straight_on_has_no_cap_and_a_reversal_is_cut_short_by_the_deviation():
    found = corners([[0, 0], [1, 1], [3, 3], [2, 2], [0, 5]])
    assert found.cap_mm2_s2[1] == np.inf
    assert found.turn_rad[1] == 0.0
    # Stopping from v takes the distance v^2 / 2a; along the diagonal both axes contribute.
    assert found.cap_mm2_s2[2] == pytest.approx(2 * ACCEL_MM_S2 * math.sqrt(2) * DELTA_MM)
    assert found.turn_rad[2] == pytest.approx(math.pi)


@given(st.floats(1e-9, math.pi - 1e-9), st.floats(1e-3, 100), st.floats(1e-3, 100), st.floats(0, 6.28))
def test_any_corner_has_a_finite_cap_and_shares_that_make_sense(phi, before, after, heading):
    found = corners(turn(phi, before, after, heading))
    assert found.cap_mm2_s2[1] >= 0.0
    assert np.all((found.share >= 0.0) & (found.share <= 0.5))
    step = np.diff(turn(phi, before, after, heading), axis=0)
    length = np.hypot(*step.T)
    left, bend = found.bends(
        step / length[:, None], length, np.zeros((2, 2)), np.minimum(found.end_cap_mm2_s2, 1e8), limits()
    )
    assert np.all((bend >= 0.0) & np.isfinite(bend) & (left >= 0.0))
    radius = found.cap_mm2_s2[1] / ACCEL_MM_S2
    if math.isfinite(radius):
        # No turn reaches further than the fit rule allows; sqrt 2 for the direction's share.
        assert radius * math.sin(phi / 2) <= min(before, after) / 2 * math.sqrt(2) * (1 + 1e-6)


@pytest.mark.parametrize("least_part", [0.0, 0.4, 0.9])
def test_on_a_circle_no_axis_is_asked_for_more_than_it_has(least_part):
    # Acceleration (w' - w) / 2d while turning at w' / r: each axis has the sum of both.
    radius, count = 20.0, 400
    angle = np.arange(count + 1) * 2 * math.pi / count
    points = radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    at = limits(accel=(1500, 600), delta=1.0)
    found = corners(points, at)
    step = np.diff(points, axis=0)
    d = np.hypot(*step.T)
    u = step / d[:, None]
    most = np.minimum(found.end_cap_mm2_s2, 1e9)  # the ends have none
    left, bend = found.bends(u, d, least_part * most, most, at)
    least_used = 1.0
    for part in (least_part, (1.0 + least_part) / 2, 1.0):
        high = part * most[1:, 0]
        # Over the first half of each segment, on its vertex' turn.
        low = high * (1 + bend[1:, 0]) - left[1:, 0] * d[1:]
        along = (high - low) / d[1:]
        assert np.all(along >= -1e-6 * left[1:, 0])
        load = np.abs(along[:, None] * u[1:]) + np.abs((high / radius)[:, None] * found.normal[1:-1])
        assert (load / at.accel_mm_s2).max() <= 1.0001
        least_used = min(least_used, (load / at.accel_mm_s2).max(axis=1).min())
    # The remaining acceleration is used completely at the least and the largest speed.
    assert least_used > (0.7 if least_part else 0.5)


def test_a_lone_reversal_is_slowed_until_the_axis_bears_braking_too():
    # v = sqrt(2 a delta) and h = sqrt(8 delta / a), so v = a h / 2; half of the turn takes 2 delta / v = h / 2. At a
    # share s of that speed the axis moves by a h^2 (s + (1 - 1 / 2s)^2) over the window, of which 1.03 are left to it:
    # s^3 - 0.03 s^2 - s + 1/4 = 0.
    points = np.array([[0.0, 0.0], [40.0, 0.0], [5.0, 0.0]])
    plain = corners(points)
    slowed = plain.braked(points, limits())
    share = max(np.roots([1.0, -0.03, -1.0, 0.25]).real)
    got = math.sqrt(slowed.cap_mm2_s2[1] / plain.cap_mm2_s2[1])
    assert share * (1 - 2 / 1024) <= got <= share
    assert slowed.radius_mm[1] == pytest.approx(plain.radius_mm[1] * got**2, rel=1e-12)
    assert slowed.end_cap_mm2_s2[0, 1] == slowed.end_cap_mm2_s2[1, 0] == slowed.cap_mm2_s2[1]
    assert slowed.end_cap_mm2_s2[0, 0] == plain.end_cap_mm2_s2[0, 0]
    assert slowed.hairpin.tolist() == [False, True, False]


@pytest.mark.parametrize("seed", range(4))
def test_corners_are_slowed_as_far_as_braking_asks_and_no_further(seed):
    chance = np.random.default_rng(seed)
    turns = chance.choice([0.0, 0.3, 1.2, 2.4, 3.0, math.pi], 60) * chance.choice([-1, 1], 60)
    lengths = chance.choice([0.05, 0.4, 30.0], 60)
    ways = np.cumsum(turns)
    points = np.cumsum(lengths[:, None] * np.column_stack((np.cos(ways), np.sin(ways))), axis=0)
    at = limits(accel=(1500, 600))
    plain = corners(points, at)
    slowed = plain.braked(points, at)
    step = np.diff(points, axis=0)
    length = np.hypot(*step.T)
    straight = np.isinf(plain.cap_mm2_s2)
    assert straight.any()
    assert np.isinf(slowed.cap_mm2_s2[straight]).all()
    hairpins = 0
    for i in np.flatnonzero(~straight)[1:-1].tolist():
        u_in, u_out = step[i - 1] / length[i - 1], step[i] / length[i]

        def worst(share, i=i, u_in=u_in, u_out=u_out):
            """Movement of the more loaded axis in the window, as a share of what its acceleration allows."""
            v = math.sqrt(plain.cap_mm2_s2[i])
            takes_s = plain.share[i - 1, 1] * length[i - 1] / v / share
            loads = []
            for axis in range(2):
                a = at.accel_mm_s2[axis]
                window_s = math.sqrt(8 * DELTA_MM / a)
                outside_s = max(window_s - takes_s, 0.0)
                towards = math.copysign(1.0, u_out[axis] - u_in[axis])
                braking = max(-u_in[axis] * towards, 0.0) / max(abs(u_in) / at.accel_mm_s2)
                starting = max(u_out[axis] * towards, 0.0) / max(abs(u_out) / at.accel_mm_s2)
                turning = share * v * abs(u_out[axis] - u_in[axis]) * window_s
                loads.append((turning + (braking + starting) / 2 * outside_s**2) / (a * window_s**2))
            return max(loads)

        share = math.sqrt(slowed.cap_mm2_s2[i] / plain.cap_mm2_s2[i])
        assert worst(share) <= 1.03 * (1 + 1e-9)
        assert share == 1.0 or worst(share + 1 / 512) > 1.03
        assert slowed.hairpin[i] == (share < 1.0)
        assert slowed.radius_mm[i] == pytest.approx(plain.radius_mm[i] * share**2, rel=1e-9)
        hairpins += share < 1.0
    assert 5 < hairpins < 55
    at_corner = np.stack((slowed.cap_mm2_s2[:-1], slowed.cap_mm2_s2[1:]), axis=1)
    ends = np.where(plain.share > 0.0, np.minimum(plain.end_cap_mm2_s2, at_corner), plain.end_cap_mm2_s2)
    assert slowed.end_cap_mm2_s2.tolist() == ends.tolist()


def test_gentler_segments_calm_the_corners_at_both_of_their_ends():
    found = corners([[0, 0], [9, 0], [9, 9], [0, 9], [0, 0]])
    calmed = found.gentler(np.array([1.0, 0.25, 0.5, 1.0]))
    assert (calmed.cap_mm2_s2[1:-1] / found.cap_mm2_s2[1:-1]).tolist() == [0.25, 0.25, 0.5]
    assert calmed.end_cap_mm2_s2[1].tolist() == calmed.cap_mm2_s2[1:3].tolist()


@pytest.mark.parametrize("seed", range(3))
def test_a_path_the_other_way_round_leaves_the_same_at_the_other_ends(seed):
    chance = np.random.default_rng(seed)
    points = np.cumsum(chance.uniform(-1, 1, (30, 2)) * chance.choice([0.05, 1.0, 20.0], (30, 1)), axis=0)
    at = limits(accel=(1500, 600))
    both = []
    for path in (points, points[::-1]):
        found = corners(path, at)
        step = np.diff(path, axis=0)
        length = np.hypot(*step.T)
        most = np.minimum(found.end_cap_mm2_s2, 1e9)
        both.append(
            (found.share, found.end_cap_mm2_s2, *found.bends(step / length[:, None], length, most / 3, most, at))
        )
    for there, back in zip(*both, strict=True):
        np.testing.assert_allclose(there, back[::-1, ::-1], rtol=1e-9)
