"""Frame, caption and signature: their positions and pens, and the area left for the picture."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.cli import run
from linewright.drawing.crop import PlacedDrawing
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import SheetError
from linewright.planning import pipeline
from linewright.planning.surround import Surround
from linewright.rig.rig import Rig

ROOM = (10.0, 10.0, 200.0, 287.0)
PENS = (Pen("sky", "#88bbee", 0.3), Pen("night", "#101830", 0.8), Pen("ink", "#000000"))
"""The last pen, the darkest, draws nothing."""


def picture(room=ROOM):
    middle = np.array([(room[0] + room[2]) / 2, (room[1] + room[3]) / 2])
    drawing = Drawing.from_strokes([[middle, middle + 5.0], [middle - 5.0, middle]], [0, 1], PENS)
    return PlacedDrawing(drawing.points_mm, drawing.starts, drawing.pen, drawing.pens)


def drawn_around(surround, room=ROOM):
    """Strokes of this pen."""
    whole, notes = surround.around(picture(room), room, 0.5)
    return whole.select(np.arange(2, len(whole))), notes


@settings(max_examples=12, deadline=None)
@given(
    st.booleans(),
    st.sampled_from(["", "Grey heron", "jumping gypsy"]),
    st.sampled_from(["", "M. Quill"]),
    st.floats(75.0, 800.0),
    st.floats(75.0, 800.0),
)
def test_what_is_around_a_picture_stays_out_of_it_and_within_the_room(frame, caption, signature, width, height):
    surround = Surround(frame, caption, signature)
    room = (10.0, 20.0, 10.0 + width, 20.0 + height)
    left, top, right, bottom = surround.picture_room(room)
    around, _ = drawn_around(surround, room)
    assert bool(len(around)) == (not surround.is_nothing)
    for stroke in around:
        low, high = stroke.min(axis=0), stroke.max(axis=0)
        assert (low >= np.array(room[:2]) - 1e-9).all()
        assert (high <= np.array(room[2:]) + 1e-9).all()
        encloses = low[0] < left and low[1] < top and high[0] > right and high[1] > bottom
        assert encloses or low[1] > bottom


def test_the_frame_lies_on_the_margins_and_the_darkest_pen_that_is_used_draws_it():
    frame, _ = drawn_around(Surround(frame=True))
    assert len(frame) == 1
    assert frame.bounds_mm() == ROOM
    assert [frame.pens[pen].name for pen in frame.pen] == ["night"]


def test_a_caption_is_in_the_middle_or_makes_room_for_a_signature():
    alone, _ = drawn_around(Surround(caption="Grey heron"))
    x0, _, x1, _ = alone.bounds_mm()
    assert x0 + x1 == pytest.approx(ROOM[0] + ROOM[2], abs=2.0)  # letters have white beside them
    both, _ = drawn_around(Surround(caption="Grey heron", signature="M. Quill"))
    x0, _, x1, _ = both.bounds_mm()
    assert x0 == pytest.approx(ROOM[0], abs=1.5)
    assert x1 == pytest.approx(ROOM[2], abs=1.5)


def test_a_signature_may_be_drawn_by_hand(tmp_path):
    file = tmp_path / "me.svg"
    file.write_text('<svg xmlns="http://www.w3.org/2000/svg"><path stroke="red" fill="none" d="M0 9L30 0L60 9"/></svg>')
    signed, _ = drawn_around(Surround(signature=str(file)))
    assert len(signed) == 1
    x0, y0, x1, y1 = signed.bounds_mm()
    assert (x1 - x0) / (y1 - y0) == pytest.approx(60 / 9)
    assert x1 == pytest.approx(ROOM[2])


@pytest.mark.parametrize(
    ("surround", "words"),
    [
        (Surround(caption="a very long caption " * 9), "the caption is .* mm long"),
        (Surround(signature="Maximiliana Quill of the Lighthouse at Marrow Quay"), "more than half"),
    ],
)
def test_words_that_are_too_long_are_refused(surround, words):
    with pytest.raises(SheetError, match=words):
        drawn_around(surround)


def test_a_sheet_with_no_room_left_is_refused():
    with pytest.raises(SheetError, match="no room for the picture"):
        Surround(frame=True, caption="a").picture_room((0.0, 0.0, 24.0, 30.0))


@pytest.mark.parametrize("placement", [pipeline.Placement(), pipeline.Placement(width_mm=60.0)])
def test_a_picture_is_planned_within_its_frame(tmp_path, placement):
    file = tmp_path / "box.svg"
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40">'
    file.write_text(page + '<path stroke="#000" d="M0 0H40V40"/></svg>')
    rig = Rig.default()
    task = pipeline.PlanTask(str(file), rig, placement, surround=Surround(frame=True, caption="box"))
    drawing = pipeline.prepare(task).program.drawing
    strokes = [rig.sheet.position.on_sheet(stroke) for stroke in drawing]
    boxes = [np.vstack((stroke.min(axis=0), stroke.max(axis=0))) for stroke in strokes]
    frame = max(boxes, key=lambda box: np.ptp(box, axis=0).min())
    sheet_mm = (10.0, 10.0, 200.0)  # A4 with its margins of 10 mm; the words stand below
    assert (frame[0, 0], frame[0, 1], frame[1, 0]) == pytest.approx(sheet_mm, abs=0.05)
    inside = [box for box in boxes if box is not frame and box[0, 1] < frame[1, 1]]
    assert len(inside) == 1
    assert (inside[0][0] > frame[0] + 2.0).all()
    assert (inside[0][1] < frame[1] - 2.0).all()


def test_what_cannot_have_a_frame_says_so(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    assert run(["plan", "--text", "Quay", "-o", "quay.lw", "--no-pictures", "--caption", "words"]) == 0
    assert run(["draw", "quay.lw", "--frame"]) == 2
    assert "is a planned program" in capsys.readouterr().err
    assert run(["plan", "--text", "Quay", "--poster", "--size", "500", "-o", "sheets", "--frame"]) == 2
    assert "a poster has no frame" in capsys.readouterr().err
