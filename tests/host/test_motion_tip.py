"""Plans for the tip: its path by an independent integrator, and the load of the motors."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import scipy.signal

from host.motion_cases import play
from host.tip_integrator import PEN, RAMP, Axis, off_lines_mm, trace
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.machine.shape import MachineShape
from linewright.motion import tip as tip_planner
from linewright.motion.kernels import three_boxes, three_impulses
from linewright.motion.kinematics import Limits
from linewright.motion.sampled_ramps import make_ramps_sampled
from linewright.motion.take_up import TakeUp
from linewright.motion.timeline import Sampled, Stretches
from linewright.motion.tip import _begins
from linewright.motion.tip_model import LOOKS, Elastic, TipModel
from linewright.program import program as records
from linewright.rig.rig import Rig

KINDS = {records.RAMP: RAMP, records.PEN: PEN}
HZ, DAMPING = (14.0, 19.0), (0.05, 0.05)
TIP = {"smoothing.shaper": "tip", "smoothing.x_hz": HZ[0], "smoothing.y_hz": HZ[1]}
SWING_MM = 0.05
PLAYS = {"corrections.backlash_x_mm": 0.05, "corrections.backlash_y_mm": 0.15}
CROOKED = {
    "corrections.squareness_deg": 0.5,
    "corrections.straightness_x_mm": [[0.0, 0.0], [150.0, 0.4], [300.0, 0.0]],
}
RIGS = {
    "default": {},
    "crossed": {"kinematics.type": "crossed-belt"},
    "unequal": {"axis.y.accel_mm_s2": 700.0, "axis.y.speed_mm_s": 90.0, "motor.b.microsteps": 8},
    "pen on its way": {"pen.near_us": 1540},
    "stiff x": {"smoothing.x_hz": 0.0},
    "crooked": CROOKED,
    "backlash": PLAYS,
    "backlash, crossed and crooked": PLAYS | CROOKED | {"kinematics.type": "crossed-belt"},
    "backlash, unequal": PLAYS | {"axis.y.accel_mm_s2": 700.0, "axis.y.speed_mm_s": 90.0, "motor.b.microsteps": 8},
}


def needles(points: int) -> np.ndarray:
    """A star with tips that turn by almost 180 degrees, (n, 2) mm."""
    angle = np.linspace(0.0, 2.0 * np.pi, 2 * points + 1)
    radius = np.where(np.arange(2 * points + 1) % 2, 2.0, 11.0)
    return np.column_stack((np.cos(angle), np.sin(angle))) * radius[:, None] + 60.0


def arc(radius_mm: float, x_mm: float) -> np.ndarray:
    angle = np.linspace(0.0, 5.5, 40)
    return np.column_stack((np.cos(angle), np.sin(angle))) * radius_mm + [x_mm, 60.0]


def mixture() -> Drawing:
    """Frames, slanting lines near each other, small arcs, needles, dots and lines of less than a step."""
    frame = np.array([[40.0, 30.0], [62.0, 30.0], [62.0, 41.0], [40.0, 41.0], [40.0, 30.0]])
    slant = [np.array([[70.0 + 1.5 * i, 30.0], [74.2 + 1.5 * i, 42.0]])[:: 1 - 2 * (i % 2)] for i in range(4)]
    small = [arc(radius, 40.0 + 3.0 * i) for i, radius in enumerate((0.2, 0.4, 2.5))]
    specks = [
        np.array(speck) for speck in ([[50.0, 70.0]], [[50.3, 70.2], [50.31, 70.2]], [[70.0, 70.0], [70.004, 70.0]])
    ]
    return Drawing.from_strokes([frame, *slant, *small, needles(4), *specks])


@cache
def planned(name: str) -> tuple[Rig, records.Program]:
    rig = Rig.default().changed(TIP | RIGS[name])
    return rig, motion.plan(mixture(), rig)


def axes(rig: Rig, factors: tuple[float, float]) -> tuple[Axis, Axis]:
    smoothing = rig.smoothing
    return Axis(smoothing.x_hz * factors[0], 0.05), Axis(smoothing.y_hz * factors[1], 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("name", RIGS)
def test_the_tip_stays_on_its_lines_over_the_whole_band(name):
    """scipy's integrator on the program's steps: within `swing_mm`, with frequencies 5 % off either way."""
    rig, program = planned(name)
    for factors in ((1.0, 1.0), (0.95, 0.95), (1.05, 1.05)):
        traced = trace(program, KINDS, axes(rig, factors), rig.shape.play_mm)
        assert off_lines_mm(traced, list(program.drawing), program.shape.true_mm) <= SWING_MM, factors


def test_backlash_is_taken_up_between_motor_and_carriage_not_at_the_tip():
    """A circle of 5 mm, where both axes turn around twice with the pen on the paper."""
    rig = Rig.default().changed(TIP | PLAYS)
    angle = np.linspace(0.0, 2.0 * np.pi, 60)
    circle = np.column_stack((np.cos(angle), np.sin(angle))) * 5.0 + 60.0
    program = motion.plan(Drawing.from_strokes([circle]), rig)
    traced = trace(program, KINDS, axes(rig, (1.0, 1.0)), rig.shape.play_mm)
    assert off_lines_mm(traced, list(program.drawing)) <= SWING_MM
    unheeded = trace(program, KINDS, axes(rig, (1.0, 1.0)))
    assert off_lines_mm(unheeded, list(program.drawing)) > SWING_MM
    assert program.end_steps == program.start_steps


def test_a_swing_is_passed_on_from_the_last_step_to_the_first_and_not_over_samples_without_motion():
    """The ramps leave those out: 20 at either end of a way, whose swing would have decayed to less in 40 ms more."""
    rig = Rig.default().changed(TIP)
    limits, elastic = Limits.from_rig(rig), Elastic.from_rig(rig)
    share = np.clip((np.arange(101) - 20) / 60.0, 0.0, 1.0)
    drive = np.zeros((202, 2))
    drive[:101, 0] = 20.0 + 4.0 * share**2 * (3.0 - 2.0 * share)
    drive[101:, 0] = 24.0 + 4.0 * share**2 * (3.0 - 2.0 * share)
    first = np.array([0, 101, 202])
    points = np.array([[20.0, 0.0], [24.0, 0.0], [24.0, 0.0], [28.0, 0.0]])
    stretches = Stretches(points, np.array([0, 2, 4]), np.array([False, False, True]))
    ramps = make_ramps_sampled(Sampled(first, drive, 1e-3), np.array([-1, 0]), limits)
    none = np.zeros((2, len(elastic.factors), 2), dtype=np.complex128)
    model = TipModel(stretches, limits, elastic, np.full(2, 0.05), none, first, drive[:, 0], drive, drive)
    begins, _ = _begins(model, ramps, np.zeros((2, len(elastic.factors)), dtype=np.complex128))
    for number, factor in enumerate(elastic.factors):
        pole = elastic.pole(0, factor)
        # 20 samples after the last step to the end of the first, and 20 more before the first step of the second.
        expected = model.swings()[0, number, 0] * np.exp(pole * (elastic.settle_s - 0.04))
        assert abs(begins[0, number, 1] - expected) < 0.2 * abs(expected)


def test_strokes_planned_in_parts_get_the_swing_of_the_part_before(monkeypatch):
    """Ways of 4 mm between short strokes, whose swing reaches the next stroke: planned one by one and all together."""
    rig = Rig.default().changed(TIP)
    drawing = Drawing.from_strokes([[(20.0 + 7.0 * i, 20.0), (23.0 + 7.0 * i, 20.0 + i)] for i in range(4)])
    whole = motion.plan(drawing, rig)
    handed = []
    begins_of = tip_planner._begins

    def noted(model, ramps, before):
        handed.append((before, *begins_of(model, ramps, before)))
        return handed[-1][1:]

    monkeypatch.setattr(tip_planner, "_begins", noted)
    monkeypatch.setattr(tip_planner, "AT_ONCE", 4)
    program = motion.plan(drawing, rig)
    starts = [before for before, _, _ in handed]
    assert len({start.tobytes() for start in starts}) == 5  # a way and a stroke each, and the way back
    assert all(any((before == after).all() for _, _, after in handed) for before in starts[1:])
    assert np.abs(starts[-1]).max() > 1e-3
    assert off_lines_mm(trace(program, KINDS, axes(rig, (1.0, 1.0))), list(program.drawing)) <= SWING_MM
    assert program.end_steps == program.start_steps
    assert program.predicted_s == pytest.approx(whole.predicted_s, rel=0.01)


@pytest.mark.parametrize("axis", [0, 1])
def test_motors_take_up_within_their_limits_and_bring_the_carriage_where_it_turns(axis):
    """Motors of a carriage that turns around at a fifth of its acceleration, and one that stands before it does."""
    limits, period = Limits.from_rig(Rig.default()), 1e-3
    shape = MachineShape(play_mm=(0.1, 0.1))
    play = TakeUp.of(shape, limits, HZ, SWING_MM, period)
    assert play is not None
    accel = float(limits.accel_mm_s2[axis])
    time = (np.arange(401) - 200) * period
    turning = 50.0 - 0.1 * accel * time**2
    standing = 50.0 - 0.1 * accel * np.maximum(np.abs(time) - 0.05, 0.0) ** 2
    for place, error in ((turning, 0.02), (standing, 1e-6)):
        carriage = np.full((401, 2), 50.0)
        carriage[:, axis] = place
        begins = np.ones((1, 2), dtype=np.int64)
        motors = play.motors(np.array([0, 401]), carriage, begins)
        midst = slice(50, 350)  # away from the ends, where this motion begins and stops at speed
        assert np.abs(play.shape.carriage_at(motors) - carriage)[midst].max() < error
        taken = motors[midst, axis]
        bent = np.abs(taken[8:] - 2.0 * taken[4:-4] + taken[:-8]) / (4 * period) ** 2
        assert 0.3 * accel < bent.max() < accel


def test_the_integrator_sees_what_a_plain_plan_does_to_the_tip():
    """The check above fails for a plan without compensation."""
    rig = Rig.default().changed(TIP | {"smoothing.shaper": "none"})
    program = motion.plan(mixture(), rig)
    assert off_lines_mm(trace(program, KINDS, axes(rig, (1.0, 1.0))), list(program.drawing)) > 4.0 * SWING_MM


@pytest.mark.slow
def test_a_wider_band_costs_time_and_keeps_its_promise():
    _, narrow = planned("default")
    rig = Rig.default().changed(TIP | {"smoothing.band": 0.15})
    wide = motion.plan(mixture(), rig)
    assert wide.predicted_ticks > narrow.predicted_ticks
    for factor in (0.85, 1.15):
        traced = trace(wide, KINDS, axes(rig, (factor, factor)))
        assert off_lines_mm(traced, list(wide.drawing)) <= SWING_MM


@pytest.mark.slow
@pytest.mark.parametrize("name", RIGS)
def test_the_motors_keep_their_limits(name):
    """Its pulses by the board's kernel pass the checks of the virtual rig."""
    rig, program = planned(name)
    results, ticks, end = play(program, rig)
    assert [str(result.worst) for result in results.values() if result.broken] == []
    assert (ticks, end) == (program.predicted_ticks, program.end_steps)
    assert end == program.start_steps


def test_the_plan_is_nearly_as_fast_as_one_that_rings_at_will():
    plain = motion.plan(mixture(), Rig.default())
    _, tip = planned("default")
    shaped = motion.plan(mixture(), Rig.default().changed(TIP | {"smoothing.shaper": "zv", "smoothing.swing_mm": 0.03}))

    def moving(program):
        return int(program.ticks[program.is_ramp].sum())

    assert moving(tip) < 1.3 * moving(plain)
    assert moving(shaped) > 1.2 * moving(tip)


@pytest.mark.parametrize("make", [three_boxes, lambda *a: three_impulses(0, *a), lambda *a: three_impulses(1, *a)])
def test_the_motors_weights_bring_the_tip_where_its_own_weights_say(make):
    """`scipy.signal.lsim`: the oscillator, driven by the weighted sum of a way, follows the tip's weighted sum."""
    period = 1e-3
    kernel = make(HZ, DAMPING, period)
    speed = np.concatenate((np.linspace(0.0, 1.0, 80), np.linspace(1.0, 0.0, 60), np.zeros(200)))
    way = np.cumsum(speed) * period * 100.0  # mm: 100 mm/s at most
    for axis in (0, 1):
        drive = np.convolve(np.diff(way, prepend=0.0), kernel.motor[axis])[: len(way)].cumsum()
        wanted = np.convolve(np.diff(way, prepend=0.0), kernel.tip)[: len(way)].cumsum()
        w = 2.0 * math.pi * HZ[axis]
        system = scipy.signal.lti([w * w], [1.0, 2.0 * DAMPING[axis] * w, w * w])
        _, tip, _ = scipy.signal.lsim(system, drive, np.arange(len(way)) * period)
        assert np.abs(tip - wanted).max() < 0.003  # of 7 mm; the drives depart from it by 0.1
        assert np.abs(drive - wanted).max() > 0.05


def test_three_impulses_without_damping_lie_a_sixth_of_a_period_apart():
    """Singhose, Singer and Seering (1997): 1, -1, 1 at 0, 1/6 and 1/3 of the period."""
    kernel = three_impulses(0, (10.0, 0.0), (0.0, 0.0), 1e-4)
    steps = np.cumsum(kernel.motor[0])
    third = round(1.0 / 30.0 / 1e-4)
    assert np.allclose(steps[5 : third // 2 - 5], 1.0, atol=0.01)
    assert np.allclose(steps[third // 2 + 5 : third - 5], 0.0, atol=0.01)
    assert np.allclose(steps[third + 5 :], 1.0, atol=0.01)


@pytest.mark.parametrize("hz", [(14.0, 19.0), (0.0, 9.0), (30.0, 11.0)])
def test_three_boxes_keep_the_accelerations(hz):
    kernel = three_boxes(hz, DAMPING, 1e-3)
    assert all(kernel.keeps_acceleration(axis) for axis in (0, 1))
    longest = 3.5 / (2.0 * math.pi * min(f for f in hz if f))
    assert len(kernel.tip) * 1e-3 < longest + 0.004


def test_a_short_line_begins_and_ends_where_it_is_asked_to():
    rig = Rig.default().changed(TIP)
    program = motion.plan(Drawing.from_strokes([[[30.0, 30.0], [30.4, 30.1]]]), rig)
    at = program.position_steps[program.pen_stops + 1] @ np.linalg.inv(Limits.from_rig(rig).steps_matrix).T
    assert np.allclose(at, [[30.0, 30.0], [30.4, 30.1]], atol=0.5 / 80 + 1e-9)


@pytest.mark.parametrize("across_mm", [0.0, 0.1, 0.3, 0.5])
def test_ramps_keep_in_time_where_the_motion_turns_back(across_mm):
    """A needle, out and back in 0.3 s: no motor deviates from its drive by much more than one step."""
    share = np.arange(301) / 300.0
    drive = np.column_stack((6.0 * np.sin(np.pi * share) ** 2, across_mm * share**2 * (3.0 - 2.0 * share))) + 20.0
    plan, limits = Sampled(np.array([0, len(share)]), drive, 1e-3), Limits.from_rig(Rig.default())
    ramps = make_ramps_sampled(plan, np.zeros(1, dtype=np.int64), limits)
    assert np.abs(limits.steps_at(ramps.played_mm(plan, limits) - drive)).max() < 1.1


@pytest.fixture
def model() -> TipModel:
    """Three stretches with drives beside them, from a seed; the second lasts longest."""
    chance = np.random.default_rng(3)
    counts, samples = np.array([6, 9, 4]), np.array([40, 300, 90])
    starts, first = np.append(0, np.cumsum(counts)), np.append(0, np.cumsum(samples))
    points = np.cumsum(chance.uniform(0.2, 2.0, (starts[-1], 2)) * chance.choice([-1.0, 1.0], (starts[-1], 2)), axis=0)
    stretches = Stretches(points, starts, np.ones(len(points) - 1, dtype=bool))
    due = np.concatenate([np.linspace(stretches.along_mm[a], stretches.along_mm[b - 1], n)
                          for a, b, n in zip(starts, starts[1:], samples, strict=False)])  # fmt: skip
    drive = np.column_stack([np.interp(due, stretches.along_mm, points[:, axis]) for axis in (0, 1)])
    elastic = Elastic((14.0, 0.0), (0.05, 0.05), 0.05, 0.05, 0.1, 0.1)
    begins = chance.normal(0.0, 0.01, (2, 2, 3)) + 1j * chance.normal(0.0, 0.01, (2, 2, 3))
    limits = Limits.from_rig(Rig.default())
    drive += chance.normal(0.0, 0.3, drive.shape)
    return TipModel(stretches, limits, elastic, np.full(3, 0.05), begins, first, due, drive, drive)


@pytest.mark.parametrize("number", [0, 1])
def test_a_swing_is_the_sum_of_its_steps_each_turned_and_decayed_by_its_age(model, number):
    pole, period = model.elastic.pole(0, model.elastic.factors[number]), model.elastic.period_s
    expected = []
    for stretch in range(3):
        x = model.drive_mm[model.first[stretch] : model.first[stretch + 1], 0]
        for now in range(len(x)):
            ages = (now - np.arange(1, now + 1) + 0.5) * period
            swing = (np.diff(x)[:now] * np.exp(pole * ages)).sum()
            expected.append(swing + model.begins[0, number, stretch] * np.exp(pole * now * period))
    assert model._swing(0, number) == pytest.approx(np.array(expected), abs=1e-9)


def test_the_nearest_segment_is_that_of_a_search_of_every_sample(model):
    sample = np.arange(0, len(model.drive_mm), 2)
    tip = model.drive_mm[sample]
    along, points = model.stretches.along_mm, model.stretches.points_mm
    expected, apart = [], []
    for place, number in zip(tip, sample, strict=True):
        owner = model.owner[number]
        begin, end = model.stretches.starts[owner], model.stretches.starts[owner + 1] - 1
        at, found = model.due_mm[number], {}
        for _ in range(LOOKS):
            k = min(max(int(np.searchsorted(along, at, side="right")) - 1, begin), end - 1)
            length, step, off = along[k + 1] - along[k], points[k + 1] - points[k], place - points[k]
            ahead = (off @ step) / length
            found.setdefault(k, math.dist(off, min(max(ahead, 0.0), length) / length * step))
            at = along[k] + ahead
        best = min(found, key=lambda k: found[k])
        expected.append(best)
        apart.append(found[best])
    segment, far = model._nearest(tip, sample)
    assert segment.tolist() == expected
    assert far == pytest.approx(np.array(apart), abs=1e-12)
