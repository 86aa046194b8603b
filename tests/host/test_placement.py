"""Exact placement of pictures: cells, fractions of the area, and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest

from linewright.drawing.strokes import Drawing
from linewright.errors import SheetError
from linewright.planning import placement
from linewright.planning.placement import HUGE_MM, place, settled, share_of, to_machine
from linewright.rig.rig import Rig
from linewright.sheet.sizes import Sheet

SHEET = Sheet(100, 80, margin_mm=0.0)


def frame(width: float, height: float) -> Drawing:
    return Drawing.from_strokes([[(0, 0), (width, 0), (width, height), (0, height), (0, 0)]])


def boxes(placed) -> list[list[float]]:
    return [[*stroke.min(axis=0), *stroke.max(axis=0)] for stroke in placed]


def test_copies_fill_equal_cells_by_rows_and_the_last_ends_at_the_rim():
    placed = place(frame(48, 24), (48, 24), SHEET, copies=(2, 3), gap_mm=4.0)
    rows = [(0, 24), (28, 52), (56, 80)]
    expected = [(x0, y0, x1, y1) for y0, y1 in rows for x0, x1 in ((0, 48), (52, 100))]
    assert np.array(boxes(placed)) == pytest.approx(np.array(expected))
    assert placed.points_mm.max(axis=0).tolist() == [100.0, 80.0]
    # Thirds of 100 mm are no binary numbers: the rim is met all the same.
    thirds = place(frame(30, 76), (30, 76), SHEET, copies=(3, 1))
    assert thirds.points_mm[:, 0].max() == 100.0
    assert boxes(thirds)[1][0] - boxes(thirds)[0][2] == pytest.approx(5.0)  # the gap if none is named


def test_a_room_within_the_sheet_is_where_it_goes():
    placed = place(frame(10, 10), (10, 10), SHEET, room_mm=(20.0, 30.0, 60.0, 50.0))
    assert placed.bounds_mm() == pytest.approx((30, 30, 50, 50))


@pytest.mark.parametrize("align", ["top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom"])
def test_the_room_that_is_left_lies_where_the_words_say(align):
    x, y = share_of(align)
    assert x == (0.0 if "left" in align else 1.0 if "right" in align else 0.5)
    assert y == (0.0 if "top" in align else 1.0 if "bottom" in align else 0.5)
    placed = place(frame(20, 10), (20, 10), SHEET, fit="keep", align=align)
    assert placed.bounds_mm() == pytest.approx((80 * x, 70 * y, 80 * x + 20, 70 * y + 10))


def test_limits_are_counts_of_100_gaps_from_0_and_some_room():
    dot = Drawing.from_strokes([[(0, 0)]])
    assert len(place(dot, (0, 0), SHEET, copies=(100, 100), gap_mm=0.0)) == 10_000
    for copies in ((0, 1), (1, 0), (101, 1), (1, 101)):
        with pytest.raises(SheetError, match=r"1\.\.100"):
            place(dot, (0, 0), SHEET, copies=copies, gap_mm=0.0)
    for gap_mm in (-0.1, 50.0, math.nan):  # 50: two gaps leave three columns no width at all
        with pytest.raises(SheetError, match="leave no room in 100 x 80 mm"):
            place(dot, (0, 0), SHEET, copies=(3, 1), gap_mm=gap_mm)
    with pytest.raises(SheetError, match="leave no room"):
        place(dot, (0, 0), SHEET, copies=(1, 3), gap_mm=40.0)


def test_a_million_kilometres_are_the_limit_of_a_coordinate_and_twice_that_of_a_picture():
    edge = Drawing.from_strokes([[(-HUGE_MM, 0), (HUGE_MM, 0)]])
    assert place(edge, None, SHEET).bounds_mm() == pytest.approx((0, 40, 100, 40))
    beyond = math.nextafter(HUGE_MM, math.inf)
    for point in ((beyond, 0.0), (0.0, -beyond)):
        damaged = Drawing.from_strokes([[(1, 1)], [(1, 1), point]])
        for put in (lambda one: place(one, (9, 9), SHEET), lambda one: to_machine(one, SHEET, Rig.default())):
            with pytest.raises(SheetError, match=r"stroke 1 has a point at \(.*1e\+12"):
                put(damaged)
    place(frame(1, 1), (2 * HUGE_MM, 1.0), SHEET)
    with pytest.raises(SheetError, match=r"a picture of 2e\+12 x 1 mm"):
        place(frame(1, 1), (2 * beyond, 1.0), SHEET)


def test_what_is_smaller_than_a_nanometre_is_a_point_and_keeps_its_size():
    assert placement.fit_scale(np.array([1e-6, 0.0]), np.array([10.0, 10.0])) == pytest.approx(1e7)
    assert placement.fit_scale(np.array([0.9e-6, 0.0]), np.array([10.0, 10.0])) == 1.0
    assert placement.fit_scale(np.array([5.0, 0.9e-6]), np.array([10.0, 20.0])) == 2.0


@pytest.mark.parametrize(("fit", "size"), [("fit", (10.0, 10.0)), ("keep", (90.0, 90.0))])
def test_a_square_is_not_turned_for_rounding(fit, size):
    for wider, turn in ((1e-10, 0), (1e-7, 90)):
        upright = (size[0], size[1] * (1 + wider))
        assert placement._auto_turn(np.array(upright), np.array([100.0, 80.0]), fit) == turn
        assert placement._auto_turn(np.array(upright[::-1]), np.array([100.0, 80.0]), fit) == 0


def test_a_picture_that_fits_as_it_is_is_not_turned():
    assert placement._auto_turn(np.array([50.0, 70.0]), np.array([100.0, 80.0]), "keep") == 0


def test_what_rounding_has_put_beside_the_rim_lies_on_it_and_nothing_else_moves():
    # 16 times 2^-52 of the largest number, 100 mm: 3.6e-13 mm.
    slack = 16 * 2.0**-52 * 100
    cell = (10.0, 20.0, 100.0, 80.0)
    points = [(10 - slack, 20 - slack), (100 + slack, 80 + slack), (10 + slack, 80 - slack), (10 - 2 * slack, 30)]
    points += [(100 + 2 * slack, 80 + 2 * slack)]
    found = settled(Drawing.from_strokes([points]), cell, np.array([90.0, 60.0])).points_mm
    assert found[:2].tolist() == [[10.0, 20.0], [100.0, 80.0]]
    assert found[2:].tolist() == [list(point) for point in points[2:]]
    wide = settled(Drawing.from_strokes([points[3:]]), cell, np.array([300.0, 60.0])).points_mm
    assert wide.tolist() == [[10.0, 30.0], [100.0, 80.0]]  # a picture that reaches beyond rounds by more


def test_a_turned_sheet_loses_at_its_margins_and_at_the_reach():
    rig = Rig.default().changed({"sheet.offset_mm": [200.0, 100.0], "sheet.turn_deg": 3.0})
    drawing = Drawing.from_strokes([[(-10, 40), (300, 40)], [(50, 20), (60, 20)]])
    sheet = Sheet(250, 100, margin_mm=5.0)
    out = to_machine(drawing, sheet, rig)
    # At the margins 15 and 55 mm; then x = 200 + X cos 3 - 40 sin 3 reaches 310 mm after 112.2 mm of the sheet.
    turn = math.radians(3)
    reached_mm = (310 - 200 + 40 * math.sin(turn)) / math.cos(turn)
    assert out.stroke_lengths_mm() == pytest.approx([reached_mm - 5, 10])
    assert out.cut.length_mm == pytest.approx(310 - (reached_mm - 5))
