"""Arrangements on their sheet: place, size, turn, mirror and copies, compared with shapely's own affine maps."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import InputError, SheetError, SourceError
from linewright.planning import arrangement, composing, pipeline
from linewright.planning.arrangement import Arrangement, Item, Repeat
from linewright.planning.pipeline import Lines, Placement
from linewright.rig.rig import Rig
from linewright.sources.picture import Picture, Wish

ROOM = (10.0, 10.0, 200.0, 140.0)
FLAG = [[(0, 0), (40, 0), (40, 20), (0, 20), (0, 0)], [(5, 15), (10, 5)]]
"""A picture of 40 x 20 mm without symmetry."""


def flag(item: Item, wish: Wish) -> Picture:
    width, height = wish.fitted_mm(40.0, 20.0)
    strokes = [np.array(stroke) * (width / 40.0, height / 20.0) for stroke in FLAG]
    return Picture(Drawing.from_strokes(strokes), width, height)


def laid(*items: Item, read=flag, room=ROOM) -> composing.Composed:
    return composing.composed(Arrangement(items=items), room, Wish(), read)


def lines_of(drawing: Drawing) -> shapely.MultiLineString:
    return shapely.MultiLineString(list(drawing))


@settings(max_examples=40)
@given(
    st.floats(-400, 400),
    st.floats(1, 60),
    st.booleans(),
    st.sampled_from(["top-left", "top", "right", "centre", "bottom-right", "bottom-left"]),
)
def test_an_item_lies_where_affine_maps_of_another_library_put_it(turn_deg, width_mm, mirror, align):
    at = (90.0, 70.0)
    found = laid(Item("a", source="x", at_mm=at, width_mm=width_mm, turn_deg=turn_deg, mirror=mirror, align=align))
    shape = shapely.MultiLineString(FLAG)
    shape = affinity.scale(shape, width_mm / 40.0, width_mm / 40.0, origin=(0, 0))
    shape = affinity.scale(shape, -1.0 if mirror else 1.0, 1.0, origin="center")
    # shapely turns counter-clockwise with y upward, which with y downward is clockwise, as here.
    shape = affinity.rotate(shape, turn_deg, origin="center")
    x0, y0, x1, y1 = shape.bounds
    share = {"left": 0.0, "top": 0.0, "right": 1.0, "bottom": 1.0}
    words = align.split("-")
    across = next((share[word] for word in words if word in ("left", "right")), 0.5)
    down = next((share[word] for word in words if word in ("top", "bottom")), 0.5)
    shape = affinity.translate(shape, at[0] - x0 - across * (x1 - x0), at[1] - y0 - down * (y1 - y0))
    assert shapely.hausdorff_distance(lines_of(found.drawing), shape) < 1e-9
    assert np.allclose(found.laid[0].boxes_mm[0], shape.bounds)


def test_a_quarter_turn_is_clockwise_as_seen_and_exact():
    found = laid(Item("a", source="x", at_mm=(20, 30), width_mm=40, turn_deg=90))
    assert found.drawing.bounds_mm() == (20.0, 30.0, 40.0, 70.0)
    # The left part (x 5 to 10) is at the top.
    assert found.drawing.stroke(1).tolist() == [[25.0, 35.0], [35.0, 40.0]]


def test_copies_follow_each_other_by_rows_with_their_gap():
    item = Item("a", source="x", at_mm=(20, 30), width_mm=40, repeat=Repeat(3, 2, (4.0, 6.0)))
    corners = [box[:2] for box in laid(item).laid[0].boxes_mm]
    assert corners == [(20, 30), (64, 30), (108, 30), (20, 56), (64, 56), (108, 56)]


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 90, 133, -90])
@pytest.mark.parametrize("repeat", [None, Repeat(3, 2, (5.0, 5.0))])
def test_without_a_size_it_is_as_large_as_its_room(turn_deg, repeat):
    found = laid(Item("a", source="x", turn_deg=turn_deg, repeat=repeat))
    assert not found.drawing.cut
    x0, y0, x1, y1 = found.drawing.bounds_mm()
    boxes = np.array(found.laid[0].boxes_mm)
    touches_sides = math.isclose(boxes[:, 0].min(), 10) and math.isclose(boxes[:, 2].max(), 200)
    touches_top = math.isclose(boxes[:, 1].min(), 10) and math.isclose(boxes[:, 3].max(), 140)
    assert touches_sides or touches_top
    assert x0 >= 10
    assert y0 >= 10
    assert x1 <= 200
    assert y1 <= 140


def test_it_is_as_large_as_the_room_from_its_place_on():
    found = laid(Item("a", source="x", at_mm=(150, 20)))
    assert found.laid[0].boxes_mm == ((150.0, 20.0, 200.0, 45.0),)
    centred = laid(Item("a", source="x", at_mm=(150, 100), align="centre"))
    assert np.allclose(centred.laid[0].boxes_mm, (100.0, 75.0, 200.0, 125.0))
    with pytest.raises(SheetError, match=r"item a: there is no room for it at \(250, 20\) mm"):
        laid(Item("a", source="x", at_mm=(250, 20)))


def test_both_sizes_are_a_box_to_fit_into():
    assert laid(Item("a", source="x", width_mm=100, height_mm=10)).laid[0].page_mm == (20.0, 10.0)


def test_nothing_lies_outside_the_room_and_what_was_cut_is_told():
    found = laid(Item("a", source="x", at_mm=(180, 130), width_mm=80), Item("b", source="x", width_mm=20))
    x0, y0, x1, y1 = found.drawing.bounds_mm()
    assert (x0 >= 10, y0 >= 10, x1 <= 200, y1 <= 140) == (True,) * 4
    assert found.drawing.cut
    assert [note.split(":")[0] for note in found.warnings] == ["item a"]


def test_pens_that_are_alike_are_one_pen():
    def inked(item, wish):
        pens = {
            "a": (Pen("black"), Pen("red", "#ff0000")),
            "b": (Pen("red", "#ff0000"),),
            "c": (Pen("red", "#ee0000"),),
        }
        strokes = [[(0, 0), (4, 2)]] * len(pens[item.id])
        return Picture(Drawing.from_strokes(strokes, range(len(strokes)), pens[item.id]), 4.0, 2.0)

    found = laid(*(Item(name, source="x", width_mm=20) for name in "abc"), read=inked)
    assert [pen.name for pen in found.drawing.pens] == ["black", "red", "red 2"]
    assert found.drawing.pen.tolist() == [0, 1, 1, 2]


def test_a_source_is_asked_for_its_strokes_at_its_size():
    asked = []

    def read(item, wish):
        asked.append((wish.room_mm, wish.turn_deg))
        return flag(item, wish)

    laid(Item("a", source="x", width_mm=33, turn_deg=20), read=read)
    laid(Item("a", source="x", turn_deg=90), read=read)
    laid(Item("a", pattern="wheels", width_mm=30), read=read)
    assert asked == [((33.0, math.inf), 0), ((130.0, 190.0), 0), ((30.0, 30.0), 0)]


def test_damage_and_floods_are_refused():
    def nan(item, wish):
        return Picture(Drawing.from_strokes([[(0, 0), (math.nan, 1)]]), 4.0, 2.0)

    with pytest.raises(SheetError, match=r"item a: stroke 0 has a point at \(nan, 1\)"):
        laid(Item("a", source="x", width_mm=20), read=nan)

    def long(item, wish):
        return Picture(Drawing.from_strokes([np.zeros((10_000, 2))]), 4.0, 2.0)

    with pytest.raises(SourceError, match="100 x 100 copies of 10,000 points"):
        laid(Item("a", source="x", width_mm=20, repeat=Repeat(100, 100)), read=long)
    with pytest.raises(SourceError, match="empty"):
        laid()


# Texts


def text_of(**how) -> composing.Laid:
    found = pipeline.Arranged(Arrangement("A5", items=(Item("t", text="Marrow Quay\nharbour fair", **how),)))
    return pipeline.compose(found, Rig.default(), Lines())[0].laid[0]


def test_a_text_keeps_its_lines_and_fills_its_width():
    wide, wider = text_of(width_mm=40), text_of(width_mm=80)
    assert wide.page_mm[0] == 40
    assert wider.page_mm[1] == pytest.approx(2 * wide.page_mm[1])
    # Reversed: this height gives this width.
    assert text_of(height_mm=wide.page_mm[1]).page_mm == pytest.approx(wide.page_mm)


def test_a_text_with_a_size_is_as_wide_as_it_comes():
    page = text_of(method="lettering:size_mm=5").page_mm
    assert page[0] == pytest.approx(text_of(method="lettering:size_mm=10").page_mm[0] / 2)
    with pytest.raises(SourceError, match=r"item t: the word 'harbour' is .* mm wide"):
        text_of(method="lettering:size_mm=30", width_mm=40)


# Files and options


def svg(tmp_path, name="flag.svg"):
    lines = "".join(f'<polyline points="{" ".join(f"{x},{y}" for x, y in stroke)}"/>' for stroke in FLAG)
    path = tmp_path / name
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">'
        f'<g fill="none" stroke="black">{lines}</g></svg>'
    )
    return path


def test_names_of_pictures_begin_at_the_folder_of_the_arrangement(tmp_path, monkeypatch):
    (tmp_path / "pictures").mkdir()
    svg(tmp_path / "pictures")
    card = tmp_path / "card.toml"
    card.write_text('sheet = "A5 landscape"\n[[item]]\nsource = "pictures/flag.svg"\nat_mm = [20, 30]\nwidth_mm = 60\n')
    monkeypatch.chdir("/")
    rig = Rig.default()
    job = pipeline.prepare(pipeline.PlanTask(str(card), rig))
    assert job.program.sheet.name == "A5 landscape"
    found = pipeline.arranged(str(card), Placement(), Lines())
    composed, _ = pipeline.compose(found, Rig.default(), Lines())
    assert np.allclose(composed.drawing.bounds_mm(), (20, 30, 80, 60))


def test_what_stands_in_the_file_is_not_said_beside_it(tmp_path):
    card = tmp_path / "card.toml"
    card.write_text('[[item]]\nsource = "a.svg"\n')
    for placement, lines in ((Placement(turn_deg=90), Lines()), (Placement(), Lines(pens=(Pen(),)))):
        with pytest.raises(InputError, match="is an arrangement, which states"):
            pipeline.arranged(str(card), placement, lines)
    found = pipeline.arranged(str(card), Placement(sheet="A6", margin_mm=3.0), Lines())
    assert (found.arrangement.sheet, found.arrangement.margin_mm) == ("A6", 3.0)


def test_an_item_that_cannot_be_read_is_named(tmp_path):
    card = tmp_path / "card.toml"
    card.write_text('[[item]]\nid = "bird"\nsource = "none.svg"\n')
    with pytest.raises(SourceError, match=r"item bird: .*none\.svg: there is no such file"):
        pipeline.prepare(pipeline.PlanTask(str(card), Rig.default()))


def test_a_place_beside_a_picture_is_an_arrangement_of_one(tmp_path):
    placement = Placement("A5 landscape", at_mm=(20.0, 30.0), width_mm=40.0, turn_deg=30.0, mirror=True)
    found = pipeline.arranged(str(svg(tmp_path)), placement, Lines())
    composed, sheet = pipeline.compose(found, Rig.default(), Lines())
    assert sheet.name == "A5 landscape"
    turned = laid(Item("a", source="x", at_mm=(20, 30), width_mm=40, turn_deg=30, mirror=True))
    assert shapely.hausdorff_distance(lines_of(composed.drawing), lines_of(turned.drawing)) < 1e-9
    assert pipeline.arranged(str(svg(tmp_path)), Placement(turn_deg=90), Lines()) is None


SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">{}</svg>'


def test_items_hide_what_lies_below_them(tmp_path):
    (tmp_path / "line.svg").write_text(SQUARE.format('<path d="M0 20H40" stroke="red"/>'))
    (tmp_path / "ring.svg").write_text(
        SQUARE.format('<path d="M0 0H40V40H0ZM10 10V30H30V10Z" fill="blue"/><rect x="18" y="18" width="4" height="4"/>')
    )
    below = Item("below", source="line.svg", at_mm=(20.0, 20.0), width_mm=40.0)
    above = Item("above", source="ring.svg", at_mm=(40.0, 20.0), width_mm=40.0, turn_deg=30.0, mirror=True)

    def length(*items: Item) -> float:
        arranged = pipeline.Arranged(Arrangement(items=items), tmp_path)
        whole, _ = pipeline.compose(arranged, Rig.default(), Lines())
        assert sum(laid.strokes for laid in whole.laid) == len(whole.drawing)
        red = [
            s for s, pen in zip(whole.drawing, whole.drawing.pen, strict=True) if whole.drawing.pens[pen].name == "red"
        ]
        return float(sum(np.hypot(*np.diff(stroke, axis=0).T).sum() for stroke in red))

    # The rest of the line by shapely's polygons.
    ring = shapely.Polygon([(0, 0), (40, 0), (40, 40), (0, 40)], [[(10, 10), (30, 10), (30, 30), (10, 30)]])
    cover = affinity.rotate(shapely.union(ring, shapely.box(18, 18, 22, 22)), 30.0, origin=(20, 20))
    box = cover.bounds
    cover = affinity.translate(cover, 40.0 - box[0], 20.0 - box[1])
    left = shapely.difference(shapely.LineString([(20, 40), (60, 40)]), cover).length
    assert 3.0 < left < 37.0
    assert length(below, above) == pytest.approx(left, abs=1e-6)
    assert length(above, below) == pytest.approx(40.0)
    assert length(below, Item(**{**vars(above), "hides": False})) == pytest.approx(40.0)


def test_words_of_a_file_layers_and_pages_are_keys_of_items(tmp_path):
    (tmp_path / "words.txt").write_text("Marrow Quay")
    (tmp_path / "two.svg").write_text(
        SQUARE.format(
            '<g id="one"><path d="M0 0H40" stroke="red"/></g><g id="two"><path d="M0 9H40" stroke="blue"/></g>'
        )
    )
    text = (
        '[[item]]\ntext_file = "words.txt"\nwidth_mm = 50\n[[item]]\nsource = "two.svg"\nlayers = ["two"]\npage = 1\n'
        '[[item]]\ntext = "an owl in the rain"\nas = "words"\nwidth_mm = 40\n'
    )
    whole, _ = pipeline.compose(pipeline.Arranged(arrangement.read(text), tmp_path), Rig.default(), Lines())
    assert "red" not in [pen.name for pen in whole.drawing.pens]
    assert "blue" in [pen.name for pen in whole.drawing.pens]
    assert min(laid.strokes for laid in whole.laid) >= 1
    with pytest.raises(SourceError, match="text and text_file are given"):
        arrangement.read('[[item]]\ntext = "a"\ntext_file = "words.txt"\n')
    with pytest.raises(SourceError, match="no page 3"):
        pipeline.compose(
            pipeline.Arranged(arrangement.read('[[item]]\nsource = "two.svg"\npage = 3\n'), tmp_path),
            Rig.default(),
            Lines(),
        )


INKS = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20" fill="none">
<g id="sea" stroke="#1f6f8b"><path d="M2 2h9"/></g><g id="masts" stroke="#2b2622"><path d="M2 8h9M2 9h9"/></g>
<g id="deck" stroke="#2b2622"><path d="M2 14h9"/></g></svg>"""


@pytest.mark.parametrize(
    ("pen_by", "pen_for", "strokes"),
    [
        ("colour", (), {"sea": 1, "#2b2622": 3}),  # a pen has its colour, so it is drawn with it
        ("colour", (("#2B2622", "red"),), {"sea": 1, "red": 3}),
        ("colour", (("#2b2622", "red"), ("#1f6f8b", "red")), {"red": 4}),
        ("layer", (("Deck", "sea"), ("sea", "red")), {"red": 1, "masts": 2, "sea": 1}),
    ],
)
def test_each_colour_or_layer_is_drawn_by_the_pen_chosen_for_it(tmp_path, pen_by, pen_for, strokes):
    (tmp_path / "inks.svg").write_text(INKS)
    item = Item("a", source="inks.svg", pens="sea #1f6f8b 0.3, red 0.7", pen_by=pen_by, pen_for=pen_for)
    found = pipeline.Arranged(Arrangement(items=(item,)), tmp_path)
    whole, _ = pipeline.compose(found, Rig.default(), Lines())
    pens = whole.drawing.pens
    assert {pens[n].name: int((whole.drawing.pen == n).sum()) for n in range(len(pens))} == strokes
    names = ["#1f6f8b", "#2b2622"] if pen_by == "colour" else ["sea", "masts", "deck"]
    assert sorted(ink.name for ink in whole.laid[0].inks) == sorted(names)
    assert whole.warnings == ()


def test_a_pen_for_what_is_not_there_is_told_and_for_no_pen_refused(tmp_path):
    (tmp_path / "inks.svg").write_text(INKS)
    (tmp_path / "pens.toml").write_text('[[pen]]\nname = "sea"\ncolour = "#1f6f8b"\n')
    item = Item("a", source="inks.svg", pens="pens.toml", pen_for=(("teal", "sea"),))
    whole, _ = pipeline.compose(pipeline.Arranged(Arrangement(items=(item,)), tmp_path), Rig.default(), Lines())
    assert whole.warnings == ("item a: pen_for: nothing is teal; there is #1f6f8b, #2b2622",)
    wrong = Item("a", source="inks.svg", pens="pens.toml", pen_for=(("#1f6f8b", "red"),))
    with pytest.raises(InputError, match="there is no pen 'red' among pens"):
        pipeline.compose(pipeline.Arranged(Arrangement(items=(wrong,)), tmp_path), Rig.default(), Lines())
