"""Pen lifts during travel: no contact while moving, near height reached in time, full height if there is time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.motion_cases import broken_limits, drawings
from linewright import motion
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import RigError
from linewright.program import file as program_file
from linewright.program.program import PEN, RAMP, Program
from linewright.program.remainder import Tail
from linewright.rig.rig import Rig
from linewright.units import ms_to_ticks

NEAR_US, NEAR_MS = 1540, 60
NEAR = {"pen.near_us": NEAR_US, "pen.near_ms": NEAR_MS}
RIGS = {
    "common": NEAR,
    "servo turned round": {"pen.up_us": 1700, "pen.down_us": 1300, "pen.near_us": 1350, "pen.near_ms": 40},
    "smooth": NEAR | {"smoothing.shaper": "zv", "smoothing.x_hz": 14.0},
    "slow pen": NEAR | {"pen.lift_ms": 400, "pen.lower_ms": 300},
    "crooked sheet": NEAR
    | {
        "corrections.pen_height.x_mm": [0.0, 300.0],
        "corrections.pen_height.y_mm": [0.0],
        "corrections.pen_height.change_us": [[-30.0, 40.0]],
    },
    "loose": NEAR | {"corrections.backlash_x_mm": 0.3},
}


def rig(name: str) -> Rig:
    return Rig.default().changed(RIGS[name])


def servo_when_moving(program: Program) -> np.ndarray:
    """(m,) last servo pulse before each ramp, us."""
    told = np.where(program.kind == PEN, np.arange(len(program)), -1)
    last = np.maximum.accumulate(told)[program.kind == RAMP]
    return np.where(last >= 0, program.servo_us[np.maximum(last, 0)], 0)


@given(drawings(), st.sampled_from(sorted(RIGS)))
def test_the_pen_is_never_told_to_touch_the_paper_on_a_way(drawing, name):
    machine = rig(name)
    program = motion.plan(drawing, machine)
    assert broken_limits(program, machine) == []
    pulse = servo_when_moving(program)
    travels = program.stroke_of_record[program.kind == RAMP] < 0
    clear = np.abs(machine.pen.clear_us - machine.pen.up_us)
    told = pulse[travels & (pulse > 0)]
    assert np.all(np.abs(told - machine.pen.up_us) <= clear)
    drawn = pulse[~travels]
    assert np.all(np.abs(drawn - machine.pen.up_us) > clear)


@given(drawings(), st.sampled_from(sorted(RIGS)))
def test_every_move_of_the_servo_has_its_time(drawing, name):
    """Travel starts near_ms after a stroke; the pen is fully raised on the way, and at the near height on arrival."""
    machine = rig(name)
    pen = machine.pen
    program = motion.plan(drawing, machine)
    before = program.ticks_before
    stops = program.pen_stops
    for number, (down, up) in enumerate(zip(stops[::2].tolist(), stops[1::2].tolist(), strict=True)):
        assert program.dwell_ms[up] >= pen.near_ms
        last_lift = stops[2 * number - 1] if number else 0
        told = [i for i in range(last_lift, down) if program.kind[i] == PEN and program.in_passing[i]]
        at_once = program.dwell_ms[down] >= pen.lower_ms
        if told:
            (approach,) = told
            assert before[down] - before[approach] >= ms_to_ticks(pen.lower_ms - pen.near_ms)
            assert not number or before[approach] - before[last_lift] >= ms_to_ticks(pen.lift_ms)
        elif number:
            # A hop: the pen has stayed at the near height.
            assert program.servo_us[last_lift] != pen.up_us or at_once
        else:
            assert at_once


def test_a_stroke_costs_the_last_bit_only():
    drawing = Drawing.from_strokes([[[10, 10 + 5 * i], [40, 10 + 5 * i]] for i in range(20)])
    plain, near = (motion.plan(drawing, r) for r in (Rig.default(), Rig.default().changed(NEAR)))
    # Both ends of the 19 travel moves in between: 150 ms become 60. The move from park is too short for an approach.
    assert plain.predicted_s - near.predicted_s == pytest.approx(19 * 2 * (0.150 - 0.060), abs=0.002)


def test_long_ways_rise_and_short_ones_hop():
    strokes = [[[50, 10], [60, 10]], [[60, 12], [50, 12]], [[200, 200], [210, 200]]]
    program = motion.plan(Drawing.from_strokes(strokes), Rig.default().changed(NEAR))
    lifts = program.servo_us[program.pen_stops[1::2]].tolist()
    assert lifts == [NEAR_US, 1300, 1300]
    passing = np.flatnonzero(program.in_passing)
    assert program.servo_us[passing].tolist() == [
        NEAR_US,
        NEAR_US,
    ]  # from park to the first stroke, and on the long move


def test_each_pen_is_all_the_way_up_when_it_is_home():
    pens = (Pen("black"), Pen("red"))
    drawing = Drawing.from_strokes([[[10, 10], [50, 10]], [[10, 30], [50, 30]]], pen=[0, 1], pens=pens)
    program = motion.plan(drawing, Rig.default().changed(NEAR))
    lifts = program.pen_stops[1::2]
    assert program.servo_us[lifts].tolist() == [1300, 1300]
    assert program.dwell_ms[lifts].tolist() == [150, 150]


def test_over_a_crooked_sheet_near_is_clear_of_its_highest_place():
    program = motion.plan(Drawing.from_strokes([[[5, 5], [9, 9]], [[250, 10], [260, 10]]]), rig("crooked sheet"))
    # At the highest place the pen meets the paper 30 us sooner; at lower places later in proportion.
    on_a_way = program.in_passing & (program.stroke_of_record < 0)
    assert program.servo_us[on_a_way].tolist() == [NEAR_US - 30]
    for down in program.pen_stops[2::2].tolist():
        further = (program.servo_us[down] - (NEAR_US - 30)) / (1600 - (NEAR_US - 30))
        assert program.dwell_ms[down] == pytest.approx(NEAR_MS * max(further, 1.0), abs=1.001)


def test_what_is_taken_up_again_lowers_the_pen_all_the_way():
    program = motion.plan(
        Drawing.from_strokes([[[10, 10], [20, 10]], [[20, 12], [10, 12]]]), Rig.default().changed(NEAR)
    )
    down = int(program.pen_stops[2])
    assert program.dwell_ms[down] == NEAR_MS
    tail = Tail.of(program, down, lower_ms=150)
    left = int(program.predicted_ticks - program.ticks_before[down])
    assert tail.predicted_ticks == left + ms_to_ticks(150 - NEAR_MS)
    assert Tail.of(program, down).predicted_ticks == left


def test_a_saved_program_keeps_its_approaches(tmp_path):
    drawing = Drawing.from_strokes([[[10, 10], [20, 10]], [[120, 112], [10, 112]], [[11, 112], [10, 100]]])
    program = motion.plan(drawing, Rig.default().changed(NEAR))
    program_file.save(program, tmp_path / "near.lw")
    again = program_file.load(tmp_path / "near.lw")
    assert again.servo_us.tolist() == program.servo_us.tolist()
    assert again.predicted_ticks == program.predicted_ticks


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"pen.near_us": 1250}, "pen.near_us"),
        ({"pen.near_us": 1600}, "pen.near_us"),
        ({"pen.near_us": 1540, "pen.near_ms": 10}, "pen.near_ms"),
        ({"pen.near_us": 1540, "pen.near_ms": 200}, "pen.near_ms"),
    ],
)
def test_a_near_height_that_makes_no_sense_is_refused(changes, key):
    with pytest.raises(RigError) as caught:
        Rig.default().changed(changes)
    assert [issue.key for issue in caught.value.issues] == [key]


def test_without_a_near_height_nothing_changes():
    drawing = Drawing.from_strokes([[[10, 10], [20, 10]], [[20, 12], [10, 12]]])
    program = motion.plan(drawing, Rig.default())
    assert program.servo_us[program.kind == PEN].tolist() == [1600, 1300] * 2
    assert program.dwell_ms[program.kind == PEN].tolist() == [150] * 4
