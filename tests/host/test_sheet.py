"""Sheets, placing and cutting. Outside checks: ISO 216 table, ANSI/ASME Y14.1 sizes, shapely's clip_by_rect."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from host.zoo import DAMAGED, SOUND, drawings
from linewright.drawing.crop import clip
from linewright.drawing.strokes import Drawing
from linewright.errors import SheetError
from linewright.planning.placement import place, to_machine
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import largest_named, room_on, sheet_on
from linewright.sheet.sizes import NAMED_MM, Sheet

# ISO 216:2007, table of the main series A, mm.
ISO_216 = {
    "A0": (841, 1189),
    "A1": (594, 841),
    "A2": (420, 594),
    "A3": (297, 420),
    "A4": (210, 297),
    "A5": (148, 210),
    "A6": (105, 148),
}


def inside(drawing: Drawing, box: tuple[float, float, float, float]) -> bool:
    p = drawing.points_mm
    return bool((p >= np.array(box[:2])).all() and (p <= np.array(box[2:])).all())


@pytest.mark.parametrize(("name", "size"), ISO_216.items())
def test_iso_sizes_are_those_of_the_standard(name, size):
    sheet = Sheet.named(name)
    assert (sheet.width_mm, sheet.height_mm) == size
    # ISO 216, 3: sides 1 : sqrt(2), within what rounding down to whole mm leaves.
    assert sheet.height_mm / sheet.width_mm == pytest.approx(math.sqrt(2), rel=0.01)


def test_us_sizes_are_exact_inches():
    # ANSI/ASME Y14.1: size A is 8.5 x 11 in; legal is 8.5 x 14 in (common practice).
    assert NAMED_MM["letter"] == pytest.approx((215.9, 279.4), abs=1e-12)
    assert NAMED_MM["legal"] == pytest.approx((215.9, 355.6), abs=1e-12)


@pytest.mark.parametrize(
    ("name", "width", "height"),
    [
        ("a4", 210, 297),
        ("A4 landscape", 297, 210),
        ("A4 Portrait", 210, 297),
        ("Letter landscape", 279.4, 215.9),
        ("210x297", 210, 297),
        ("210x297mm", 210, 297),
        ("297 x 210 mm", 297, 210),
        ("297x210 portrait", 210, 297),
        ("21x29.7cm", 210, 297),
        ("8.5x11in", 215.9, 279.4),
        ("8inX100mm", 203.2, 100),
        ("100\u00d7150", 100, 150),
    ],
)
def test_sizes_by_name(name, width, height):
    sheet = Sheet.named(name)
    assert (sheet.width_mm, sheet.height_mm) == pytest.approx((width, height))


@pytest.mark.parametrize(
    "name",
    ["", "A7", "A44", "A", "landscape", "210", "x", "210x", "0x0", "-5x10", "1e9x1e9", "2.1.0x3", "1x1", "9x9km", "\0"],
)
def test_what_is_no_size_is_refused_by_name(name):
    with pytest.raises(SheetError) as caught:
        Sheet.named(name)
    assert caught.value.message


@pytest.mark.parametrize("margin", [-1.0, 105.0, math.nan, math.inf])
def test_margins_that_leave_no_room_are_refused(margin):
    with pytest.raises(SheetError, match=r"margin of .* is outside 0\.\.105 mm"):
        Sheet.named("A4", margin_mm=margin)


def test_a_sheet_is_turned_only_where_that_brings_it_into_reach():
    rig = Rig.default()
    narrow = rig.changed({"axis.y.travel_mm": 230.0})
    assert sheet_on(rig).name == "A4"
    turned = sheet_on(narrow)
    assert (turned.name, turned.width_mm, turned.margin_mm) == ("A4 landscape", 297, rig.sheet.margin_mm)
    assert sheet_on(narrow, "A4 portrait").height_mm == 297
    assert sheet_on(narrow, "A4", landscape=False).height_mm == 297
    assert sheet_on(narrow, "A3").width_mm == 297  # fits neither way: as named
    assert sheet_on(narrow, "A5", margin_mm=3).margin_mm == 3


PICTURE = Drawing.from_strokes([[(0, 0), (100, 0), (100, 50), (0, 50), (0, 0)], [(0, 0), (100, 50)]])


def test_without_a_margin_the_whole_sheet_is_drawn_on():
    for name in ("A4", "5x5mm"):
        sheet = Sheet.named(name, margin_mm=0.0)
        assert sheet.box_mm == (0.0, 0.0, sheet.width_mm, sheet.height_mm)
    frame = Drawing.from_strokes([[[0, 0], [50, 0], [50, 50], [0, 50], [0, 0]]])
    placed = place(frame, (50, 50), Sheet.named("50x50mm", margin_mm=0.0), fit="keep")
    assert placed.bounds_mm() == (0.0, 0.0, 50.0, 50.0)
    assert not placed.cut


def test_the_largest_and_the_smallest_sheet_are_taken():
    assert Sheet(5.0, 10_000.0).height_mm == 10_000.0
    for width, height in ((4.99, 100.0), (100.0, 10_000.1)):
        with pytest.raises(SheetError, match=r"outside 5\.\.10000 mm"):
            Sheet(width, height)


def test_fit_keeps_the_proportion_and_touches_the_margin():
    placed = place(PICTURE, (100, 50), Sheet.named("A4", margin_mm=10))
    assert placed.bounds_mm() == pytest.approx((10, 101, 200, 196))
    assert not placed.cut


def test_a_frame_fitted_to_the_margin_survives_whole():
    # The library's clip drops lines on the edge of the box, such as a frame.
    for size in [(190, 277), (1.9, 2.77), (19 / 7, 27.7 / 7)]:
        w, h = size
        frame = Drawing.from_strokes([[(0, 0), (w, 0), (w, h), (0, h), (0, 0)]])
        placed = place(frame, size, Sheet.named("A4", margin_mm=10))
        assert len(placed) == 1
        assert placed.vertices == 5
        assert not placed.cut
        assert inside(placed, (10, 10, 200, 287))


def test_keep_keeps_the_size_and_aligns():
    sheet = Sheet.named("A4", margin_mm=10)
    for align, corner in {
        "top-left": (10, 10),
        "top": (55, 10),
        "right": (100, 123.5),
        "centre": (55, 123.5),
        "bottom-right": (100, 237),
    }.items():
        placed = place(PICTURE, (100, 50), sheet, fit="keep", align=align)
        assert placed.bounds_mm() == pytest.approx((*corner, corner[0] + 100, corner[1] + 50))


@pytest.mark.parametrize(
    ("turn", "expected"),
    # An L: the long arm to the right from the corner, the short one down. Clockwise as seen, y down.
    [
        (0, [(30, 0), (0, 0), (0, 10)]),
        (90, [(10, 30), (10, 0), (0, 0)]),
        (180, [(0, 10), (30, 10), (30, 0)]),
        (270, [(0, 0), (0, 30), (10, 30)]),
        (-90, [(0, 0), (0, 30), (10, 30)]),
        (450, [(10, 30), (10, 0), (0, 0)]),
    ],
)
def test_turns_are_clockwise(turn, expected):
    ell = Drawing.from_strokes([[(30, 0), (0, 0), (0, 10)]])
    placed = place(ell, (30, 10), Sheet(200, 200), fit="keep", turn_deg=turn, align="top-left")
    assert placed.points_mm == pytest.approx(np.array(expected, dtype=float))


def test_auto_turn_suits_the_picture():
    upright = Sheet.named("A4", margin_mm=10)
    # 277 mm of height for the 100 mm side: scale 2.77, so 138.5 mm across, centred in 210.
    assert place(PICTURE, (100, 50), upright, turn_deg="auto").bounds_mm() == pytest.approx((35.75, 10, 174.25, 287))
    lying = Sheet.named("A4 landscape", margin_mm=10)
    assert place(PICTURE, (100, 50), lying, turn_deg="auto").points_mm == pytest.approx(
        place(PICTURE, (100, 50), lying).points_mm
    )
    long = Drawing.from_strokes([[(0, 0), (250, 0)]])
    kept = place(long, (250, 20), upright, fit="keep", turn_deg="auto")
    assert kept.stroke_lengths_mm() == pytest.approx([250])
    assert not kept.cut
    # Too long for either way, 277 mm of room being more than 190.
    longer = Drawing.from_strokes([[(0, 10), (300, 10)]])
    assert place(longer, (300, 20), upright, fit="keep", turn_deg="auto").stroke_lengths_mm() == pytest.approx([277])


def test_repeat_fills_cells_that_do_not_touch():
    sheet = Sheet.named("A4", margin_mm=10)
    placed = place(PICTURE, (100, 50), sheet, copies=(2, 3), gap_mm=6)
    assert len(placed) == 12
    halves = placed.points_mm[:, 0]
    assert not ((halves > 10 + 92) & (halves < 10 + 98)).any()
    assert inside(placed, sheet.box_mm)
    with pytest.raises(SheetError, match="leave no room"):
        place(PICTURE, (100, 50), sheet, copies=(2, 100), gap_mm=6)
    with pytest.raises(SheetError, match=r"1\.\.100"):
        place(PICTURE, (100, 50), sheet, copies=(0, 1))


def test_the_ink_itself_can_be_fitted():
    small = Drawing.from_strokes([[(40, 40), (50, 45)]])
    assert place(small, None, Sheet(100, 100)).bounds_mm() == pytest.approx((0, 25, 100, 75))


def test_what_is_cut_is_counted():
    box = (0.0, 0.0, 10.0, 10.0)
    cut = clip(Drawing.from_strokes([[(-5, 5), (15, 5)], [(20, 20), (20, 25)], [(1, 1), (2, 2)], [(11, 11)]]), box).cut
    assert (cut.strokes, cut.lost) == (1, 2)
    assert cut.length_mm == pytest.approx(15)
    assert bool(cut)


def test_a_stroke_that_only_touches_from_outside_leaves_nothing():
    box = (0.0, 0.0, 10.0, 10.0)
    assert len(clip(Drawing.from_strokes([[(-5, 5), (0, 5), (-5, 6)], [(-1, 1), (1, -1)]]), box)) == 0


def test_a_stroke_that_leaves_and_returns_becomes_two_in_its_direction():
    out = clip(Drawing.from_strokes([[(5, 5), (15, 5), (15, 6), (5, 6)]]), (0.0, 0.0, 10.0, 10.0))
    assert [s.tolist() for s in out] == [[[5, 5], [10, 5]], [[10, 6], [5, 6]]]


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo_is_placed_inside(name):
    drawing = SOUND[name]
    sheet = Sheet.named("A5", margin_mm=7)
    for size in (None, (100.0, 100.0), (1e9, 1.0), (0.0, 0.0)):
        for fit in ("fit", "keep"):
            placed = place(drawing, size, sheet, fit=fit, turn_deg="auto")
            assert inside(placed, sheet.box_mm)
            machine = to_machine(placed, sheet, Rig.default())
            assert inside(machine, (0, 0, 310, 310))
            assert not machine.cut


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_is_refused_with_the_stroke(name):
    with pytest.raises(SheetError, match=r"stroke [01] has a point at"):
        place(DAMAGED[name], (100, 100), Sheet(100, 100))
    with pytest.raises(SheetError):
        to_machine(DAMAGED[name], Sheet(100, 100), Rig.default())


@pytest.mark.parametrize("size", [(math.nan, 1), (-1, 5), (math.inf, 1)])
def test_a_picture_without_a_size_is_refused(size):
    with pytest.raises(SheetError, match="cannot be placed"):
        place(PICTURE, size, Sheet(100, 100))


def test_only_quarter_turns():
    with pytest.raises(SheetError, match="45 degrees"):
        place(PICTURE, (100, 50), Sheet(100, 100), turn_deg=45)


def test_a_sheet_out_of_reach_is_refused():
    far = Rig.default().changed({"sheet.offset_mm": [400.0, 0.0]})
    with pytest.raises(SheetError, match="outside the machine's reach"):
        to_machine(PICTURE, Sheet(100, 100), far)


def test_the_reach_cuts_what_the_sheet_would_hold():
    rig = Rig.default().changed({"axis.x.travel_mm": 60.0})
    out = to_machine(PICTURE, Sheet(100, 100), rig)
    assert out.points_mm[:, 0].max() == 60
    assert out.cut.length_mm > 0


@given(drawings(), st.floats(1, 900), st.floats(1, 400), st.floats(0, 100), st.sampled_from(["A2", "A4", "A6"]))
def test_what_is_fitted_into_the_room_is_not_cut_by_the_reach(drawing, x_mm, y_mm, offset_mm, name):
    """A drawing fitted into sheet and reach loses nothing, not even by rounding."""
    rig = Rig.default().changed(
        {"axis.x.travel_mm": 120.0 + x_mm, "axis.y.travel_mm": 120.0 + y_mm, "sheet.offset_mm": [offset_mm, 33.3]}
    )
    sheet = Sheet.named(name, margin_mm=7)
    placed = place(drawing, None, sheet, room_mm=room_on(sheet, rig), turn_deg="auto")
    assert not placed.cut
    assert not to_machine(placed, sheet, rig).cut


def test_the_room_of_a_sheet_within_reach_is_its_box():
    sheet = sheet_on(Rig.default(), "A4")
    assert room_on(sheet, Rig.default()) == sheet.box_mm


def test_the_largest_standard_sheet_that_a_rig_holds():
    rig = Rig.default()
    assert largest_named(rig).name == "A4"
    assert largest_named(rig.changed({"axis.x.travel_mm": 320.0, "axis.y.travel_mm": 440.0})).name == "A3"
    assert largest_named(rig.changed({"axis.x.travel_mm": 60.0, "axis.y.travel_mm": 60.0})) is None


@given(
    drawings(),
    st.tuples(st.floats(0, 500), st.floats(0, 500)) | st.none(),
    st.sampled_from(["fit", "keep"]),
    st.sampled_from([0, 90, 180, 270, "auto"]),
    st.sampled_from(["centre", "top-left", "bottom", "right"]),
    st.integers(1, 3),
    st.floats(0, 50),
)
def test_nothing_is_ever_outside(drawing, size, fit, turn, align, count, margin):
    """Every placed drawing lies exactly within the margins, and on the machine within its reach."""
    rig = Rig.default().changed({"axis.x.travel_mm": 150.1, "sheet.offset_mm": [0.1, 33.3]})
    sheet = Sheet.named("A4", margin_mm=margin)
    placed = place(drawing, size, sheet, fit=fit, turn_deg=turn, align=align, copies=(count, count))
    assert inside(placed, sheet.box_mm)
    machine = to_machine(placed, sheet, rig)
    assert inside(machine, (0, 0, 150.1, 310))
    assert np.isfinite(machine.points_mm).all()


@given(drawings(pens=1))
def test_cutting_agrees_with_a_geometry_library(drawing):
    """Ink inside the box has the length that shapely's intersection finds, save what runs along the rim."""
    box = (0.3, 0.7, 120.1, 150.9)  # off the coarse grid, so that nothing runs along the rim
    out = clip(drawing, box)
    for_length = [s for s in drawing if len(s) > 1]
    expected = sum(shapely.clip_by_rect(shapely.LineString(s), *box).length for s in for_length)
    assert float(out.stroke_lengths_mm().sum()) == pytest.approx(expected, rel=1e-9, abs=1e-6)
    total = float(drawing.stroke_lengths_mm().sum())
    assert out.cut.length_mm + float(out.stroke_lengths_mm().sum()) == pytest.approx(total, rel=1e-9, abs=1e-9)


@given(drawings(low_mm=0, high_mm=200))
def test_what_lies_inside_stays_bit_for_bit(drawing):
    """A box around everything only removes doubled points of dots."""
    out = clip(drawing, (0.0, 0.0, 200.0, 200.0))
    assert not out.cut
    assert len(out) == len(drawing)
    for before, after in zip(drawing, out, strict=True):
        if np.ptp(before, axis=0).any():
            assert np.array_equal(before, after)
        else:
            assert np.array_equal(before[:1], after)
