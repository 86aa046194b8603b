"""Correction of known machine errors: the map and its inverse, backlash, heights, and plans."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from host.motion_cases import RIGS, broken_limits, drawings, paths
from linewright.drawing.strokes import Drawing
from linewright.errors import PlanError, RigError
from linewright.machine.play import TAKE_UP_MM, follow
from linewright.machine.shape import MachineShape
from linewright.motion import plan
from linewright.motion.pen_heights import QUANTUM_US, PenHeights
from linewright.planning.placement import to_machine
from linewright.program import file as program_file
from linewright.program.program import PEN, Program
from linewright.rig.board_settings import board_settings
from linewright.rig.rig import Rig
from linewright.sheet.sizes import Sheet
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

BENT = {
    "corrections.scale_x": 0.02,
    "corrections.scale_y": -0.013,
    "corrections.squareness_deg": 1.7,
    "corrections.straightness_x_mm": [[0.0, 0.0], [100.0, 0.2], [220.0, 0.25], [310.0, -0.1]],
    "corrections.straightness_y_mm": [[-5.0, 0.1], [150.0, -0.3], [320.0, 0.0]],
}
LOOSE = {"corrections.backlash_x_mm": 0.5, "corrections.backlash_y_mm": 0.35}
CIRCLE = np.linspace(0, 2 * np.pi, 240)
CARD = Drawing.from_strokes(
    [
        [[20, 20], [180, 20], [180, 260], [20, 260], [20, 20]],
        np.column_stack((100 + 60 * np.cos(CIRCLE), 140 + 60 * np.sin(CIRCLE))),
        np.column_stack((60 + 8 * np.cos(CIRCLE), 60 + 8 * np.sin(CIRCLE))),
        [[20, 20], [180, 260]],
        [[150, 60], [160, 62], [150, 64], [160, 66]],
        [[90.0, 90.0]],
    ]
)


def rig(*changes) -> Rig:
    return Rig.default().changed({key: value for part in changes for key, value in part.items()})


errors = st.builds(
    MachineShape,
    lean=st.floats(-0.0874, 0.0874),
    straight_x=st.lists(st.floats(-1, 1), min_size=0, max_size=5).map(
        lambda o: tuple((60.0 * i, v) for i, v in enumerate(o))
    ),
    straight_y=st.lists(st.floats(-1, 1), min_size=0, max_size=5).map(
        lambda o: tuple((55.0 * i, v) for i, v in enumerate(o))
    ),
    reach_mm=st.just((310.0, 310.0)),
)
places = st.lists(st.tuples(st.floats(-20, 330), st.floats(-20, 330)), min_size=1, max_size=20).map(np.array)


@given(known=errors, points=places)
def test_the_way_back_undoes_the_way_there(known, points):
    assert np.abs(known.true_mm(known.carriage_mm(points)) - points).max() < 1e-9
    assert np.abs(known.carriage_mm(known.true_mm(points)) - points).max() < 1e-9


def test_the_zero_stays_where_it_is():
    known = rig(BENT).shape
    assert known.true_mm(np.zeros((1, 2))).tolist() == [[0.0, 0.0]]


def test_squareness_shows_in_the_diagonals():
    # Law of cosines on a rhombus of side s whose angle is 90 degrees - e: diagonals s sqrt(2 +- 2 sin e). A square of
    # 200 mm that leans by 1 degree: 285.300 and 280.364 mm (computed by hand from that law).
    known = MachineShape(lean=math.tan(math.radians(1.0)))
    side = 200.0
    # Legs of equal length: the leaning one is side long along itself, so side cos(e) high.
    high = side * math.cos(math.radians(1.0))
    corners = known.true_mm(np.array([[0, 0], [side, high], [side, 0], [0, high]]))
    long, short = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[3] - corners[2]))
    assert long == pytest.approx(285.300, abs=5e-4)
    assert short == pytest.approx(280.364, abs=5e-4)


@given(known=errors)
def test_everything_in_the_box_can_be_reached_and_nothing_outside_needs_to_be(known):
    x0, y0, x1, y1 = known.box_mm
    rim = np.linspace(0, 1, 101)
    box = np.concatenate(
        [np.column_stack((x0 + (x1 - x0) * rim, np.full(101, y))) for y in (y0, y1)]
        + [np.column_stack((np.full(101, x), y0 + (y1 - y0) * rim)) for x in (x0, x1)]
    )
    carriage = known.carriage_mm(box)
    assert carriage.min() > -1e-9
    assert carriage.max() < 310 + 1e-9
    # Each side of the box touches the rim of the reach, at most 1.6 mm from a sampled point; slopes are at most 0.11.
    assert np.abs(carriage[:, 0]).min() < 0.2
    assert np.abs(carriage[:, 0] - 310).min() < 0.2


@given(known=errors, drawing=drawings())
@settings(max_examples=25)
def test_refined_strokes_stay_the_same_and_are_straight_for_the_drives(known, drawing):
    drawing = replace(drawing, points_mm=drawing.points_mm.round(9))  # shapely's distances overflow at 1e-200 mm
    refined = known.refined(drawing)
    assert len(refined) == len(drawing)
    for before, after in zip(drawing, refined, strict=True):
        assert np.array_equal(before[[0, -1]], after[[0, -1]])
        if len(after) > 1 and np.ptp(before, axis=0).max() > 1e-6:
            assert shapely.distance(shapely.points(after), shapely.LineString(before)).max() < 1e-9
            middle = (after[1:] + after[:-1]) / 2
            ends = known.carriage_mm(after)
            assert np.abs(known.carriage_mm(middle) - (ends[1:] + ends[:-1]) / 2).max() < 1e-4


@given(
    place=st.lists(st.floats(-5, 5), min_size=1, max_size=60).map(np.array),
    play=st.floats(0.02, 1.0),
    home=st.sampled_from([1, -1]),
)
def test_taken_up_play_leaves_the_pen_within_the_take_up_of_its_place(place, play, home):
    known = MachineShape(play_mm=(play, 0.0), home_sense=(home, 1))
    drawing = Drawing.from_strokes([np.column_stack((place, np.arange(len(place))))])
    drives, senses = known.drives(known.refined(drawing))
    # Between vertices the drives move straight; sampled as finely as motor steps.
    fine = np.interp(
        np.arange(0, len(drives.points_mm) - 0.99, 0.01), np.arange(len(drives.points_mm)), drives.points_mm[:, 0]
    )
    want = np.interp(
        np.arange(0, len(drives.points_mm) - 0.99, 0.01),
        np.arange(len(drives.points_mm)),
        known.refined(drawing).points_mm[:, 0],
    )
    start = float(place[0])
    pen = follow(fine + home * play / 2, play / 2, start)
    assert abs(pen - want).max() <= TAKE_UP_MM + 1e-9
    assert senses[0, 0] in (1.0, -1.0)


def test_the_play_operator_against_a_loop():
    rng = np.random.default_rng(3)
    drive = np.cumsum(rng.normal(size=500))
    out, loop = 0.3, []
    for place in drive:
        out = min(max(out, place - 0.7), place + 0.7)
        loop.append(out)
    assert np.array_equal(follow(drive, 0.7, 0.3), loop)


def deviation_mm(program: Program, faults: Faults, machine: Machine, drawing: Drawing) -> float:
    ink = draw_on(machine, faults, program)
    worst = 0.0
    for i, stroke in enumerate(drawing):
        planned, drawn = (np.repeat(p, 2, axis=0) if len(p) == 1 else p for p in (stroke, ink.stroke(i)))
        worst = max(
            worst,
            shapely.distance(shapely.points(drawn), shapely.LineString(planned)).max(),
            shapely.distance(shapely.points(planned), shapely.LineString(drawn)).max(),
        )
    return float(worst)


@pytest.mark.parametrize("kind", ["cartesian", "crossed-belt"])
def test_a_card_on_an_untrue_machine_is_true_once_the_errors_are_known(kind):
    faults = Faults(scale_x=0.02, scale_y=-0.013, skew_deg=1.7, backlash_x_mm=0.5, backlash_y_mm=0.35)
    known = {key: value for key, value in (BENT | LOOSE).items() if "straight" not in key}
    plain = rig({"kinematics.type": kind})
    machine = Machine.from_rig(plain)
    assert deviation_mm(plan(CARD, plain), faults, machine, CARD) > 5.0
    # Remaining error: half a step of each motor, the take-up of both axes, and the corners of a circle's chords.
    assert deviation_mm(plan(CARD, plain.changed(known)), faults, machine, CARD) < 0.05


def test_the_play_is_taken_up_before_the_pen_comes_down():
    strokes = Drawing.from_strokes([[[100, 100], [100, 120]], [[60, 100], [60, 120]], [[80, 100], [80, 120]]])
    loose = rig(LOOSE)
    assert (
        deviation_mm(
            plan(strokes, loose), Faults(backlash_x_mm=0.5, backlash_y_mm=0.35), Machine.from_rig(loose), strokes
        )
        < 0.02
    )


def test_a_line_without_reversal_costs_no_more_than_the_way_to_it():
    line = Drawing.from_strokes([[[20, 20], [200, 150]]])
    free, loose = plan(line, Rig.default()), plan(line, rig(LOOSE))
    assert loose.predicted_s - free.predicted_s < 0.2
    drawn = [(p.stroke_of_record == 0) & p.is_ramp for p in (free, loose)]
    assert free.ticks[drawn[0]].sum() == loose.ticks[drawn[1]].sum()


@pytest.mark.parametrize("name", list(RIGS))
@pytest.mark.parametrize(
    "path", ["circle 5", "smooth 1", "noise 0.5", "zigzag 3 x 5", "there and back", "dot", "half a step"]
)
def test_limits_hold_after_correction(name, path):
    machine = Rig.default().changed(RIGS[name] | BENT | LOOSE)
    drawing = Drawing.from_strokes([np.clip(paths()[path], 12.0, 290.0)])
    program = plan(drawing, machine)
    assert broken_limits(program, machine) == []
    low, high = (np.array([board_settings(machine)[f"{axis}_{end}"] for axis in "xy"]) for end in ("low", "high"))
    at = program.position_steps
    if machine.kinematics.type == "crossed-belt":
        at = np.stack((at.sum(axis=1), at[:, 0] - at[:, 1]), axis=1) // 2
    assert (at >= low - 1).all()
    assert (at <= high + 1).all()
    assert program.end_steps == program.start_steps


def test_shown_positions_are_true_ones():
    machine = rig(BENT, LOOSE)
    program = plan(CARD, machine)
    way = program.trajectory
    for i in range(len(CARD) - 1):
        drawn = way.points_mm[np.flatnonzero(way.stroke == i)]
        off = shapely.distance(shapely.points(drawn), shapely.LineString(CARD.stroke(i)))
        assert off.max() < TAKE_UP_MM * 1.5 + 0.0125
    for place in ((0.0, 0.0), (120.0, 80.0), (250.0, 290.0)):
        assert machine.true_at(machine.steps_at(place)) == pytest.approx(place, abs=0.02)


def test_a_program_keeps_what_it_allowed_for(tmp_path):
    program = plan(CARD, rig(BENT, LOOSE))
    program_file.save(program, tmp_path / "card.lw")
    again = program_file.load(tmp_path / "card.lw")
    assert again.shape == program.shape
    assert np.array_equal(again.trajectory.points_mm, program.trajectory.points_mm)
    assert np.array_equal(again.steps_at(again.drawing), program.steps_at(program.drawing))


@pytest.mark.parametrize(
    "change",
    [
        BENT,
        LOOSE,
        {
            "corrections.pen_height.x_mm": [0.0],
            "corrections.pen_height.y_mm": [0.0],
            "corrections.pen_height.change_us": [[10.0]],
        },
    ],
)
def test_the_fingerprint_changes_with_every_correction(change):
    assert rig(change).fingerprint() != Rig.default().fingerprint()
    for key, value in change.items():
        if "pen_height" not in key:
            assert rig({key: value}).fingerprint() != Rig.default().fingerprint()


def test_a_place_that_a_leaning_machine_cannot_reach_is_refused_and_clipped():
    leaning = rig({"corrections.squareness_deg": 2.0})
    low = Drawing.from_strokes([[[1.0, 200.0], [50.0, 200.0]]])
    with pytest.raises(PlanError, match=r"stroke 0 goes to \(1, 200\) mm; the machine reaches 10\.8"):
        plan(low, leaning)
    placed = to_machine(Drawing.from_strokes([[[2.0, 200.0], [150.0, 200.0]]]), Sheet.named("A4", margin_mm=0), leaning)
    assert placed.points_mm[:, 0].min() == pytest.approx(leaning.shape.box_mm[0])
    with pytest.raises(PlanError, match=r"move to park"):
        plan(CARD, leaning.changed({"park.position_mm": [0.0, 300.0]}))


BAD = [
    ({"corrections.straightness_x_mm": [[0.0, 0.0], [0.0, 1.0]]}, "must increase"),
    ({"corrections.straightness_x_mm": [[0.0, 0.0], [10.0, 1.0]]}, "steeper"),
    ({"corrections.straightness_x_mm": [[0.0, float("nan")]]}, "straightness_x_mm"),
    ({"corrections.straightness_x_mm": [[0.0]]}, "straightness_x_mm"),
    ({"corrections.straightness_x_mm": "straight"}, "list of numbers"),
    ({"corrections.scale_x": 0.5}, r"-0\.2\.\.0\.2"),
    ({"corrections.squareness_deg": 9.0}, r"-5\.\.5"),
    ({"corrections.pen_height.x_mm": [0.0, 10.0]}, "in neither"),
    (
        {
            "corrections.pen_height.x_mm": [0.0, 10.0],
            "corrections.pen_height.y_mm": [0.0],
            "corrections.pen_height.change_us": [[1.0]],
        },
        "1 rows of 2",
    ),
    ({"corrections.pen_height.x_mm": [10.0, 0.0]}, "must increase"),
    (
        {
            "corrections.pen_height.x_mm": [0.0],
            "corrections.pen_height.y_mm": [0.0],
            "corrections.pen_height.change_us": [[5000.0]],
        },
        "each change must be",
    ),
]


@pytest.mark.parametrize(("change", "words"), BAD, ids=range(len(BAD)))
def test_corrections_that_no_machine_has_are_refused(change, words):
    with pytest.raises(RigError, match=words):
        rig(change)


# Pen heights

TILTED = {
    "corrections.pen_height.x_mm": [0.0, 150.0, 300.0],
    "corrections.pen_height.y_mm": [0.0, 300.0],
    "corrections.pen_height.change_us": [[0.0, 30.0, 80.0], [-40.0, 0.0, 20.0]],
}


def test_the_map_is_its_table_at_the_places_and_linear_between():
    heights = PenHeights.from_rig(rig(TILTED))
    at = np.array([[0, 0], [300, 0], [0, 300], [150, 0], [75, 0], [150, 150], [-50, -50], [400, 400]], dtype=float)
    assert (heights.pulse_us(at) - 1600).tolist() == [0, 80, -40, 30, 15, 15, 0, 20]


def test_the_pulse_follows_the_map_along_a_stroke_without_a_stop():
    stroke = Drawing.from_strokes([[[20.0, 20.0], [290.0, 40.0]], [[30, 100]]])
    level, program = plan(stroke, Rig.default()), plan(stroke, rig(TILTED))
    passing = (program.kind == PEN) & (program.dwell_ms == 0)
    assert passing.sum() > 10
    pulses = program.servo_us[(program.kind == PEN) & (program.stroke_of_record == 0)][:-1]
    assert np.abs(np.diff(pulses)).max() == QUANTUM_US
    assert program.predicted_s == pytest.approx(level.predicted_s, rel=1e-3)
    # Every change is between two ramps of its stroke, so the motion does not stop.
    at = np.flatnonzero(passing)
    assert program.is_ramp[at - 1].all()
    assert program.is_ramp[at + 1].all()
    assert (program.v_end[at - 1] > 0).all()


def test_uneven_paper_is_pressed_evenly_once_its_heights_are_known():
    faults = Faults(paper_tilt_x_us=80.0, paper_tilt_y_us=-40.0)
    x, y = [0.0, 310.0], [0.0, 310.0]
    known = rig(
        {
            "corrections.pen_height.x_mm": x,
            "corrections.pen_height.y_mm": y,
            "corrections.pen_height.change_us": [[0.0, 80.0], [-40.0, 40.0]],
        }
    )
    machine = Machine.from_rig(known)
    blind, knowing = (draw_on(machine, faults, plan(CARD, r)).pressure_us for r in (Rig.default(), known))
    assert np.ptp(blind) > 60
    assert blind.min() < 0  # it leaves the paper
    assert knowing.min() > 30 - QUANTUM_US
    assert np.ptp(knowing) < 2 * QUANTUM_US


def test_an_even_sheet_plans_as_before():
    plain = plan(CARD, Rig.default())
    flat = plan(CARD, rig({"corrections.scale_x": 0.0, "corrections.straightness_x_mm": []}))
    assert np.array_equal(plain.da, flat.da)
    assert np.array_equal(plain.servo_us, flat.servo_us)
