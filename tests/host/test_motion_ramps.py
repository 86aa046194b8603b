"""Ramps in whole steps: no limit is exceeded, no step is lost, and the board plays them as predicted."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from host.motion_cases import RIGS, broken_limits, drawings, one_stroke, paths, play, rig
from linewright import motion
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import PlanError
from linewright.motion.kinematics import Limits
from linewright.motion.planner import lay_path
from linewright.motion.profile import SpeedPlan
from linewright.motion.ramps import QUEUED, STRAY_STEPS, TURNING_FREE, _cut, _whole_speeds, round_path
from linewright.program.program import END, PEN, REST
from linewright.rig.boards import RAMPS_HZ
from linewright.rig.rig import Rig
from linewright.units import TICK_HZ

PATHS = paths()


@settings(max_examples=60, deadline=None)
@given(drawings(), st.sampled_from(sorted(RIGS)))
def test_no_ramp_exceeds_any_limit(drawing, name):
    machine = rig(name)
    program = motion.plan(drawing, machine)
    assert broken_limits(program, machine) == []


@settings(max_examples=60, deadline=None)
@given(drawings(), st.sampled_from(sorted(RIGS)))
def test_programs_are_sound_and_end_where_they_began(drawing, name):
    machine = rig(name)
    program = motion.plan(drawing, machine)
    park = np.rint(machine.kinematics_matrix @ np.array(machine.park.position_mm)).astype(int)
    assert program.start_steps == program.end_steps == tuple(park)
    assert program.kind[-1] == END
    assert np.count_nonzero(program.kind == END) == 1
    # The pen is lowered and raised once per stroke, at the rounded positions of its ends.
    at = np.flatnonzero(program.kind == PEN)
    assert program.servo_us[at].tolist() == [machine.pen.down_us, machine.pen.up_us] * len(drawing)
    ends = np.concatenate([[s[0], s[-1]] for s in program.drawing])
    exact = ends @ machine.kinematics_matrix.T
    assert np.abs(program.position_steps[at] - exact).max() <= 0.5 + 1e-9
    # The pen is at rest at pen actions, rests and the end; only a rest may follow a single step with an end speed.
    before = np.concatenate(([0], np.where(program.is_ramp, program.v_end, 0)[:-1]))
    assert np.all(before[(program.kind == PEN) | (program.kind == END)] == 0)
    stopped = np.flatnonzero((program.kind == REST) & (before > 0))
    assert np.all(np.maximum(np.abs(program.da), np.abs(program.db))[stopped - 1] == 1)
    # The motion of the reach: no position outside it by more than rounding.
    mm = program.trajectory.points_mm
    assert mm.min() >= -1 / machine.steps_per_mm.min()
    assert np.all(mm <= machine.travel_mm + 1 / machine.steps_per_mm.min())


@pytest.mark.parametrize("name", sorted(RIGS))
@pytest.mark.parametrize("path", sorted(PATHS))
def test_every_vertex_is_passed_within_half_a_step_or_the_merge_tolerance(name, path):
    machine = rig(name)
    drawing = one_stroke(PATHS[path])
    program = motion.plan(drawing, machine)
    records = np.flatnonzero(program.stroke_of_record == 0)
    track = program.position_steps[records[0] : records[-1] + 1]
    exact = drawing.points_mm @ machine.kinematics_matrix.T
    # Vertices that remain are rounded, at most half a step off per motor; merged ones lie within 1/8 step of the chord
    # before rounding, noise within 1/64.
    line = LineString(track) if len(np.unique(track, axis=0)) > 1 else Point(track[0])
    far = max(line.distance(Point(p)) for p in exact)
    assert far <= math.hypot(0.5, 0.5) + 1 / 8 + 1 / 64


@settings(max_examples=30, deadline=None)
@given(drawings(), st.sampled_from(["default", "coarse y", "coarser y", "crossed"]))
def test_no_step_strays_from_the_asked_line_by_more_than_rounding_comes_to(drawing, name):
    """Every step of the board, for motors of any resolution.

    Along the motor that makes more steps: half a step for the rounded vertex, 1/8 for merged vertices, 1/64 for noise.
    Along the other one also half a step where a ramp ends on the way, and half a step of Bresenham's rule between.
    """
    most = math.hypot(0.5 + 1 / 8 + 1 / 64, 1.5 + 1 / 8 + 1 / 64)
    assert math.hypot(*STRAY_STEPS) == pytest.approx(most), "what the program promises is what is tested here"
    coarser = {"motor.b.microsteps": 1, "axis.y.accel_mm_s2": 600.0}
    machine = Rig.default().changed(coarser) if name == "coarser y" else rig(name)
    program = motion.plan(drawing, machine)
    at = program.position_steps
    exact = drawing.points_mm @ machine.kinematics_matrix.T
    for number in range(len(drawing)):
        first, end = drawing.starts[number], drawing.starts[number + 1]
        line = LineString(exact[first:end]) if end - first > 1 else Point(exact[first])
        # The deviation along the motor with more steps combined with that of the other; no direction has more.
        records = np.flatnonzero((program.stroke_of_record == number) & program.is_ramp)
        for record in records.tolist():
            move = at[record + 1] - at[record]
            n = int(np.abs(move).max())
            k = np.unique(np.linspace(0, n, min(n, 40) + 1).astype(int))[:, None]
            steps = at[record] + np.sign(move) * ((2 * k * np.abs(move) + n) // (2 * n))
            far = max(line.distance(Point(step)) for step in steps)
            assert far <= most


HARD = ("noise 0.1", "noise 2", "noise 6", "smooth 1", "zigzag 3 x 5", "zigzag 1 x 1", "wave", "circle 2", "one step")


@pytest.mark.parametrize(
    ("name", "path"), [("default", path) for path in sorted(PATHS)] + [(name, path) for name in RIGS for path in HARD]
)
def test_the_boards_pulses_keep_every_limit_and_the_predicted_time(name, path):
    # The board's kernel renders the program; linewright.simulation.pulse_checks derives the pulse limits.
    machine = rig(name)
    program = motion.plan(one_stroke(PATHS[path]), machine)
    results, ticks, position = play(program, machine)
    assert ticks == program.predicted_ticks
    assert position == program.end_steps
    for check in ("acceleration", "speed", "step rate", "step spacing"):
        assert results[check].broken == 0, str(results[check].worst)


@pytest.mark.parametrize("name", ["default", "crossed", "round", "heavy y"])
def test_braking_to_a_hairpin_and_speeding_up_behind_it_keep_an_axis_acceleration(name):
    # Each tip of the star is a hairpin at another angle; the corners within are as sharp. The tape's checks leave two
    # deviations for windows as long as a hairpin's turn, and are told of half the deviation here: without
    # `Corners.braked` three whole ones are taken. Fine steps, so that rounding hides nothing.
    machine = rig(name).changed({f"motor.{motor}.microsteps": 64 for motor in "ab"})
    turns = np.arange(29) * np.pi / 14
    radii = np.where(np.arange(29) % 2, 4.0, 25.0)
    star = 60 + radii[:, None] * np.column_stack((np.cos(turns), np.sin(turns)))
    rows = np.column_stack((np.where(np.arange(8) % 2, 40.0, 20.0), 90 + 0.3 * np.arange(8)))
    deviation_mm = machine.motion.junction_deviation_mm
    strict = machine.changed({"motion.junction_deviation_mm": deviation_mm / 2})
    results, _, _ = play(motion.plan(Drawing.from_strokes([star, rows]), machine), strict)
    assert results["acceleration"].checked > 1000
    assert results["acceleration"].violations == ()


@pytest.mark.parametrize(("radius_mm", "capped"), [(10.0, True), (60.0, False)])
def test_ramps_follow_each_other_no_faster_than_boards_take_them(radius_mm, capped):
    # Chords of 0.1 mm, eight steps, at 316 and 400 mm/s: more than 3000 a second if each were a ramp. On the large
    # circle longer ones stray as little; on the small one the pen has to be slower. Ramps keep their time within 0.1 %.
    machine = rig("fast").changed({f"axis.{axis}.accel_mm_s2": 10_000.0 for axis in "xy"})
    turns = np.arange(0.0, 2 * np.pi, 0.1 / radius_mm)
    circle = 150 + radius_mm * np.column_stack((np.cos(turns), np.sin(turns)))
    program = motion.plan(one_stroke(circle), machine)
    drawn = program.ticks[program.is_ramp & (program.stroke_of_record >= 0)]
    through = np.concatenate(([0], np.cumsum(drawn))) / TICK_HZ
    fastest_hz = QUEUED / (through[QUEUED:] - through[:-QUEUED]).min()
    assert fastest_hz < 1.001 * RAMPS_HZ
    assert (fastest_hz > 0.98 * RAMPS_HZ) == capped
    # Newton: along an axis v^2 = a r, at 45 degrees 1.4 of it; and no faster than 400 mm/s.
    assert capped or through[-1] < 2 * np.pi * radius_mm / 400.0 + 0.15


def test_a_single_step_from_rest_to_rest_is_one_ramp_and_a_rest():
    program = motion.plan(one_stroke([[10, 10], [10.0125, 10]]), rig("default"))
    at = int(np.flatnonzero((program.stroke_of_record == 0) & program.is_ramp)[0])
    assert (program.da[at], program.db[at], program.kind[at + 1]) == (1, 0, REST)
    # Speeding up over half a step and slowing down over the other half takes 2 sqrt(d / a).
    assert program.ticks[at] / 5e6 == pytest.approx(2 * math.sqrt(0.0125 / 1500), rel=0.01)


@pytest.mark.parametrize("length_mm", [0.05, 0.7, 4.0, 20.0])
def test_a_line_from_rest_to_rest_takes_the_time_of_a_triangle_or_trapezoid(length_mm):
    # Half the way speeding up and half slowing down: 2 sqrt(d / a); beyond v^2 / a the rest at v = 100 mm/s.
    program = motion.plan(one_stroke([[10, 10], [10 + length_mm, 10]]), rig("default"))
    drawn = program.is_ramp & (program.stroke_of_record == 0)
    cruise_mm = max(length_mm - 100.0**2 / 1500, 0.0)
    expected_s = 2 * math.sqrt((length_mm - cruise_mm) / 1500) + cruise_mm / 100
    assert program.ticks[drawn].sum() / TICK_HZ == pytest.approx(expected_s, rel=0.01)
    assert np.count_nonzero(drawn) == (3 if cruise_mm else 2)


@pytest.mark.parametrize(("free", "cut"), [(TURNING_FREE, False), (2 * TURNING_FREE, True)])
def test_a_piece_that_turns_nearly_all_along_follows_the_plan_from_end_to_end(free, cut):
    # 4000 steps at 100 steps/s, where speeding up on the part that is free of turning would save most of the time.
    piece, speed = np.array([[4000, 0]]), np.full(2, 1e4)
    at, owner, _ = _cut(piece, speed, np.array([4e4]), np.array([8e8]), np.array([free]))
    assert at[-1] == 4000
    assert (len(owner) > 1) == cut


@pytest.mark.parametrize(
    ("speeds", "ends"),
    [((1000, 3000), [600, 3720, 4000]), ((3000, 1000), [280, 3400, 4000]), ((3999.7, 1000), [3400, 4000])],
)
def test_a_piece_between_two_slower_ones_speeds_up_cruises_and_slows_down(speeds, ends):
    # v^2 changes by 1e8 on 4000 steps, that is by 2 a s: from 1000 to 4000 steps/s in 600 steps, from 4000 to 3000 in
    # 280. A change below half a step/s needs no ramp of its own.
    square = np.array(speeds, dtype=float) ** 2
    at, owner, peak = _cut(np.array([[4000, 1500]]), square, np.array([4000.0]), np.array([1e8]), np.ones(1))
    assert at.tolist() == ends
    assert owner.tolist() == [0] * len(ends)
    assert peak.tolist() == [4000.0**2]


@pytest.mark.parametrize(
    ("steps", "speed", "cut"),
    [(20_000, 9700.0, True), (400, 9700.0, False), (400, 9000.0, True), (1400, 9700.0, False), (2000, 9700.0, True)],
)
def test_a_piece_is_cut_where_that_saves_5_ms_or_a_twentieth_of_its_time(steps, speed, cut):
    # At 10 000 steps/s instead of 9700 a piece takes 3 % less time, at 10 000 instead of 9000 a tenth less.
    square = np.full(2, speed**2)
    _, owner, _ = _cut(np.array([[0, steps]]), square, np.array([1e4]), np.array([1e12]), np.ones(1))
    assert (len(owner) > 1) == cut


@pytest.mark.parametrize("backwards", [False, True])
def test_whole_speeds_keep_budgets_that_float_rounding_would_exceed(backwards):
    # Behind budgets of 1e9 the speed passes round to 1e-7, so they allow a squared speed of 1764 here.
    order = slice(None, None, -1 if backwards else 1)
    budget = np.array([1596982286.8282466, 2628451481.1885605, 1763.99999999, 3e9])[order]
    cap = np.array([0.0, 1e10, 0.0, 1e10, 0.0])[order]
    v = _whole_speeds(cap, budget)
    assert v[order].tolist() == [0, 39962, 0, 41, 0]
    assert np.all(np.abs(np.diff(v**2)) <= budget)


def test_long_moves_and_crawls_are_cut_to_what_a_ramp_holds():
    long_way = Rig.default().changed({"axis.x.travel_mm": 5000.0})
    program = motion.plan(Drawing.from_strokes([[[0, 0], [4999, 3]]]), long_way)
    assert program.ramps >= 2 * 5000 * 80 / 16383
    assert broken_limits(program, long_way) == []
    crawl = Rig.default().changed({"motion.pen_down_speed_mm_s": 0.5, "motor.a.microsteps": 1, "motor.b.microsteps": 1})
    program = motion.plan(Drawing.from_strokes([[[0, 0], [300, 3]]]), crawl)
    assert program.ticks[program.is_ramp].max() < 2**30  # the board's kernel takes no longer ramp
    # 0.5 mm/s are 2.5 steps/s at 5 steps/mm, of which whole speeds leave 2: 0.4 mm/s.
    assert program.predicted_s == pytest.approx(300 / 0.4, rel=0.02)


def test_a_dense_line_is_merged_and_takes_the_time_of_a_sparse_one():
    ends = np.array([[20.0, 20.0], [280.0, 157.0]])
    dense = ends[0] + np.linspace(0, 1, 20_001)[:, None] * (ends[1] - ends[0])
    sparse_s = motion.plan(one_stroke(ends), rig("fast")).predicted_s
    program = motion.plan(one_stroke(dense), rig("fast"))
    assert program.ramps < 4000
    # Pieces of 8 steps differ by up to 4 degrees in direction, and the slower axis of each sets its pace.
    assert program.predicted_s == pytest.approx(sparse_s, rel=0.02)


def test_a_small_circle_is_merged_alike_in_every_direction():
    """A node stays after each 1/32 rad and after each 8 steps, whichever way the path runs."""
    turn = np.linspace(0.0, 2.0 * np.pi, 3001)
    circle = 20.0 + 1.5 * np.column_stack((np.cos(turn), np.sin(turn)))
    rest = np.zeros(3001, dtype=bool)
    rest[[0, -1]] = True
    speeds = SpeedPlan(np.arange(3001.0), np.full(3001, 100.0), np.ones(3000), np.zeros(3001, dtype=bool))
    path = round_path(circle, rest, np.zeros(3000, np.int64), speeds, Limits.from_rig(rig("default")))
    kept = turn[np.searchsorted(path.node_of_vertex, np.arange(len(path.steps)))]
    around_steps = 2.0 * np.pi * 1.5 * 80.0
    assert len(kept) == pytest.approx(2.0 * np.pi * 32.0 + around_steps / 8.0, abs=4)
    assert np.diff(kept).max() < 1.0 / 32.0 + 2.0 * (2.0 * np.pi / around_steps)  # nodes are whole steps
    octants = np.bincount((kept[:-1] // (np.pi / 4.0)).astype(int), minlength=8)
    assert octants.max() - octants.min() <= 4


def test_a_hairpin_with_a_double_tip_that_ends_where_it_began_leaves_no_piece_of_no_length():
    """No turn shows at either half of a double tip, so way there and back are merged."""
    x_steps = [100.0, 104.0, 104.0, 100.0, 80.0, 60.0]
    points_mm = np.column_stack((x_steps, np.full(6, 800.0))) / 80.0
    rest = np.array([True, False, False, False, False, True])
    squares = np.array([100.0, 81.0, 81.0, 64.0, 49.0, 100.0])
    speeds = SpeedPlan(np.arange(6.0), squares, np.array([1.0, 1.0, 1.0, 1.0, 0.5]), np.zeros(6, dtype=bool))
    stroke = np.array([0, 0, 0, 1, 2])
    path = round_path(points_mm, rest, stroke, speeds, Limits.from_rig(rig("default")))
    assert path.steps.tolist() == [[100, 800], [80, 800], [60, 800]]
    assert path.node_of_vertex.tolist() == [0, 0, 0, 0, 1, 2]
    assert path.cap.tolist() == pytest.approx([0.0, 49.0 * 80.0**2, 0.0])
    assert path.stroke.tolist() == [1, 2]
    assert path.free.tolist() == pytest.approx([1.0, 0.5])


@pytest.mark.parametrize(("speed_mm_s", "length_steps", "turn_rad"), [(240.0, 8.0, 1 / 32), (260.0, 32.0, 1 / 128)])
def test_pieces_are_longer_only_where_the_board_could_not_take_as_many(speed_mm_s, length_steps, turn_rad):
    """2500 ramps a second of 8 steps are 20 000 steps/s, 250 mm/s at 80 steps/mm."""
    turn = np.linspace(0.0, 2.0 * np.pi, 40_001)
    circle = 100.0 + 60.0 * np.column_stack((np.cos(turn), np.sin(turn)))
    rest = np.zeros(len(turn), dtype=bool)
    rest[[0, -1]] = True
    squares, free = np.full(len(turn), speed_mm_s**2), np.ones(len(turn) - 1)
    speeds = SpeedPlan(np.arange(len(turn)) * 1.0, squares, free, np.zeros(len(turn), dtype=bool))
    path = round_path(circle, rest, np.zeros(len(turn) - 1, np.int64), speeds, Limits.from_rig(rig("default")))
    nodes = 2.0 * np.pi * 60.0 * 80.0 / length_steps + 2.0 * np.pi / turn_rad
    assert len(path.steps) == pytest.approx(nodes, rel=0.15)


def test_a_way_of_less_than_a_step_between_two_whole_steps_is_free_of_turning_like_its_vertices():
    """0.2 steps from 10.4 to 10.6 lead from step 10 to step 11."""
    points_mm = np.array([[10.4, 800.0], [10.6, 800.0], [10.6, 900.0]]) / 80.0
    speeds = SpeedPlan(np.arange(3.0), np.full(3, 100.0), np.array([1.0, 0.25]), np.zeros(3, dtype=bool))
    rest = np.array([True, True, True])
    path = round_path(points_mm, rest, np.zeros(2, np.int64), speeds, Limits.from_rig(rig("default")))
    assert path.steps.tolist() == [[10, 800], [11, 800], [11, 900]]
    assert path.free.tolist() == [pytest.approx(1.0), pytest.approx(0.25)]


def test_pens_draw_in_order_and_wait_at_park_in_between():
    pens = (Pen("black"), Pen("unused"), Pen("red"))
    strokes = [[[10, 10], [50, 10]], [[20, 20]], [[10, 30], [50, 30]], [[5, 5], [6, 6]]]
    program = motion.plan(Drawing.from_strokes(strokes, pen=[2, 0, 0, 2], pens=pens), rig("default"))
    assert program.drawing.pen.tolist() == [0, 0, 2, 2]
    assert program.drawing.stroke(0).tolist() == [[20, 20]]
    assert [group.pen for group in program.groups] == [0, 2]
    assert [group.strokes for group in program.groups] == [(0, 2), (2, 4)]
    first, second = program.groups
    assert first.records[0] == 0
    assert first.records[1] == second.records[0]
    assert second.records[1] == len(program)
    change = second.records[0]
    assert program.position_steps[change].tolist() == [0, 0]
    assert program.v_end[change - 1] == 0
    owners = program.stroke_of_record
    assert owners[:change].max() == 1
    assert owners[change:][owners[change:] >= 0].min() == 2


def test_groups_at_the_park_position_itself():
    # No travel between the pens: all records of the first come before those of the second.
    drawing = Drawing.from_strokes([[[0, 0]], [[0, 0]]], pen=[0, 1], pens=(Pen("a"), Pen("b")))
    program = motion.plan(drawing, rig("default"))
    assert program.kind.tolist() == [PEN, PEN, PEN, PEN, END]
    assert [group.records for group in program.groups] == [(0, 2), (2, 5)]


def test_the_path_is_laid_from_park_to_park():
    drawing = Drawing.from_strokes([[[1, 1], [2, 2]], [[3, 3]]], pen=[0, 1], pens=(Pen(), Pen("red")))
    path = lay_path(drawing, np.array([9.0, 9.0]))
    expected = [[9, 9], [1, 1], [2, 2], [9, 9], [3, 3], [3, 3], [9, 9]]
    assert path.points_mm.tolist() == expected
    assert path.stroke.tolist() == [-1, 0, -1, -1, 1, -1]
    assert path.rest.all()
    assert path.down_at.tolist() == [1, 4]
    assert path.up_at.tolist() == [2, 5]
    assert path.park_at.tolist() == [0, 3]


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([[10, 10], [np.nan, 10]], "not a pair of numbers"),
        ([[10, 10], [np.inf, 10]], "not a pair of numbers"),
        ([[10, 10], [1e9, 10]], r"reaches 0\.\.310 mm"),
        ([[10, 10], [-0.01, 10]], r"goes to \(-0\.01, 10\)"),
    ],
)
def test_what_cannot_be_drawn_is_refused(points, message):
    with pytest.raises(PlanError, match=message):
        motion.plan(Drawing.from_strokes([[[1, 1]], points]), rig("default"))


def test_nothing_to_draw_is_refused():
    with pytest.raises(PlanError, match="nothing to draw"):
        motion.plan(Drawing.from_strokes([]), rig("default"))


def test_limits_below_a_step_per_second_are_refused():
    slow = Rig.default().changed(
        {
            "motion.pen_down_speed_mm_s": 0.5,
            "motor.a.microsteps": 1,
            "motor.b.microsteps": 1,
            "motor.a.steps_per_turn": 40,
            "motor.b.steps_per_turn": 40,
        }
    )
    with pytest.raises(PlanError, match="steps/s"):
        motion.plan(Drawing.from_strokes([[[1, 1], [200, 1]]]), slow)


def test_a_rig_at_the_ends_of_its_ranges_plans_like_any_other():
    # 5 m of travel at 50 m/s^2 on 1 step/mm: the largest figures a rig file admits. No numpy warning occurs.
    far = Rig.default().changed(
        {
            key: value
            for axis, motor in (("axis.x", "motor.a"), ("axis.y", "motor.b"))
            for key, value in (
                (f"{axis}.travel_mm", 5000.0),
                (f"{axis}.accel_mm_s2", 50_000.0),
                (f"{axis}.speed_mm_s", 2000.0),
                (f"{motor}.microsteps", 1),
                (f"{motor}.steps_per_turn", 40),
            )
        }
    )
    program = motion.plan(Drawing.from_strokes([[[5000, 5000], [0, 5000], [5000, 0]], [[2, 3]]]), far)
    assert broken_limits(program, far) == []
    assert program.end_steps == program.start_steps


def test_strokes_below_a_step_are_told():
    program = motion.plan(Drawing.from_strokes([[[10, 10], [10.001, 10]], [[20, 20]]]), rig("default"))
    assert program.warnings == ("1 stroke is shorter than one motor step; the pen draws only a dot there",)


def test_rounding_never_drifts():
    # 100 000 vertices a third of a step apart, there and back: the end is the start to the step.
    there = np.cumsum(np.full((50_000, 2), [0.0041, 0.0013]), axis=0) + 10
    drawing = Drawing.from_strokes([np.vstack((there, there[::-1]))])
    program = motion.plan(drawing, rig("default"))
    at = np.flatnonzero(program.kind == PEN)
    assert program.position_steps[at[0]].tolist() == program.position_steps[at[1]].tolist()
    limits = Limits.from_rig(rig("default"))
    assert np.abs(program.position_steps[at[0]] - limits.steps_at(there[:1])[0]).max() <= 0.5


def test_a_plan_in_parts_is_the_plan_of_the_whole(monkeypatch):
    """Parts begin where a pen is lowered, so nothing of one reaches into another."""
    chance = np.random.default_rng(8)
    strokes = chance.uniform(20, 180, (30, 1, 2)) + np.cumsum(chance.uniform(-3, 3, (30, 7, 2)), axis=1)
    drawing = Drawing.from_strokes([*strokes, strokes[0, :1], strokes[1, :1]])
    shaping = {"smoothing.shaper": "zv", "smoothing.x_hz": 14.0, "smoothing.y_hz": 19.0}
    machines = [Rig.default(), Rig.default().changed(shaping)]
    wholes = [motion.plan(drawing, machine) for machine in machines]
    monkeypatch.setattr("linewright.motion.planner.AT_ONCE", 20)
    parts, shaped = (motion.plan(drawing, machine) for machine in machines)
    for name in ("kind", "da", "db", "v_end", "ticks", "stroke_of_record"):
        assert (getattr(parts, name) == getattr(wholes[0], name)).all()
    assert parts.groups == wholes[0].groups
    # Time averages are sampled from the start of a part, so the plan is the same except for rounding.
    assert shaped.predicted_s == pytest.approx(wholes[1].predicted_s, rel=1e-3)
    assert shaped.da.sum() == wholes[1].da.sum()
    assert (np.unique(shaped.stroke_of_record) == np.unique(wholes[1].stroke_of_record)).all()


@pytest.mark.parametrize("shaper", ["none", "tip"])
def test_the_motor_that_rides_on_the_others_steps_keeps_its_own_interval(shaper):
    """At 9600 steps/s of x, steps of y follow each other after 104 us at 40 degrees; its driver takes 8000 a second.

    The rays of the star have x and y lead, at all shares of steps, and end in corners where either may come to lead.
    """
    smoothing = {"smoothing.shaper": shaper, "smoothing.x_hz": 14.0, "smoothing.y_hz": 19.0}
    machine = rig("slow driver of y").changed(smoothing)
    turn = np.repeat(np.linspace(0.2, 1.5, 9 if shaper == "none" else 3), 2)
    reach = np.where(np.arange(len(turn)) % 2, 90.0, 10.0)
    star = 60 + reach[:, None] * np.column_stack((np.cos(turn), np.sin(turn)))
    results, _, _ = play(motion.plan(one_stroke(star), machine), machine)
    spacing = results["step spacing"]
    assert spacing.broken == 0, str(spacing.worst)
