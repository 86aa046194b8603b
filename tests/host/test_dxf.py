"""DXFs by two independent writers are drawn correctly, in millimetres."""

import contextlib
import math
import random
import sys

import numpy as np
import pytest
import shapely

from linewright.errors import InputError, SourceError
from linewright.sources.drawing_files import read_drawing
from linewright.sources.dxf.reader import _UNIT_MM
from linewright.sources.picture import Wish

ezdxf = pytest.importorskip("ezdxf")

KEEP = Wish(fit="keep")
NEAR_MM = KEEP.tolerance_mm + 1e-6


def strokes_of(picture, colour=None):
    drawing = picture.drawing
    return shapely.MultiLineString(
        [
            np.concatenate((stroke, stroke[-1:]))
            for stroke, pen in zip(drawing, drawing.pen, strict=True)
            if colour is None or drawing.pens[int(pen)].colour == colour
        ]
    )


def apart(one, other):
    return shapely.hausdorff_distance(one, other, densify=0.01)


def document(units=4):
    found = ezdxf.new("R2010", setup=True)
    found.units = units
    # A frame of 100 x 80 units, so that the page is known: its upper left corner is (0, 80).
    found.modelspace().add_lwpolyline([(0, 0), (100, 0), (100, 80), (0, 80)], close=True, dxfattribs={"color": 2})
    return found


def drawn(found, tmp_path, wish=KEEP):
    path = tmp_path / "p.dxf"
    found.saveas(path)
    return read_drawing(str(path), wish)


def arc_points(centre, radius, first_deg, last_deg):
    angles = np.radians(np.linspace(first_deg, last_deg, 4000))
    return shapely.LineString(
        np.column_stack((centre[0] + radius * np.cos(angles), 80 - centre[1] - radius * np.sin(angles)))
    )


def test_lines_arcs_circles_and_ellipses_lie_where_they_were_drawn(tmp_path):
    found = document()
    space = found.modelspace()
    space.add_line((10, 10), (30, 70))
    space.add_circle((50, 40), 25, dxfattribs={"color": 1})
    space.add_arc((70, 50), 20, 300, 90, dxfattribs={"color": 3})
    space.add_ellipse((40, 40), (20, 10), 0.5, 0, math.pi, dxfattribs={"color": 5})
    picture = drawn(found, tmp_path)
    assert (picture.width_mm, picture.height_mm) == pytest.approx((100, 80))
    assert apart(strokes_of(picture, "#000000"), shapely.LineString([(10, 70), (30, 10)])) < NEAR_MM
    assert apart(strokes_of(picture, "#ff0000"), arc_points((50, 40), 25, 0, 360)) < NEAR_MM
    assert apart(strokes_of(picture, "#00ff00"), arc_points((70, 50), 20, -60, 90)) < NEAR_MM
    t = np.linspace(0, math.pi, 4000)
    x = 40 + 20 * np.cos(t) - 5 * np.sin(t)
    y = 40 + 10 * np.cos(t) + 10 * np.sin(t)
    assert apart(strokes_of(picture, "#0000ff"), shapely.LineString(np.column_stack((x, 80 - y)))) < NEAR_MM


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.3, -0.4142135623730951, 5.0])
def test_a_bulge_is_the_arc_whose_quarter_has_it_as_tangent(tmp_path, bulge):
    found = document()
    found.modelspace().add_lwpolyline([(40, 40, bulge), (60, 40, 0)], format="xyb", dxfattribs={"color": 1})
    picture = drawn(found, tmp_path)
    # By hand: the arc's sagitta is |bulge| half chords, right of its way for a positive bulge.
    sagitta, half = bulge * 10.0, 10.0
    radius = (half * half + sagitta * sagitta) / (2 * abs(sagitta))
    middle_y = 40 - sagitta + math.copysign(radius, sagitta)
    arc = strokes_of(picture, "#ff0000")
    centre = shapely.Point(50, 80 - middle_y)
    reach = shapely.distance(shapely.points(shapely.get_coordinates(arc)), centre)
    assert np.abs(reach - radius).max() < NEAR_MM
    assert shapely.distance(arc, shapely.Point(50, 80 - (40 - sagitta))) < NEAR_MM
    assert arc.length == pytest.approx(4 * math.atan(abs(bulge)) * radius, rel=1e-3)


def test_a_spline_is_the_curve_of_its_control_points(tmp_path):
    interpolate = pytest.importorskip("scipy.interpolate")
    controls = [(10, 10), (20, 60), (50, 70), (60, 10), (80, 15), (90, 60)]
    found = document()
    found.modelspace().add_open_spline(controls, degree=3, dxfattribs={"color": 1})
    picture = drawn(found, tmp_path)
    knots = [0, 0, 0, 0, 1 / 3, 2 / 3, 1, 1, 1, 1]
    points = interpolate.BSpline(knots, np.array(controls, float), 3)(np.linspace(0, 1, 4000))
    wanted = shapely.LineString(np.column_stack((points[:, 0], 80 - points[:, 1])))
    assert apart(strokes_of(picture, "#ff0000"), wanted) < NEAR_MM


def test_blocks_are_placed_scaled_and_turned(tmp_path):
    found = document()
    block = found.blocks.new("flag")
    block.add_line((0, 0), (10, 0), dxfattribs={"color": 0})
    block.add_line((10, 0), (10, 5), dxfattribs={"color": 0})
    inner = found.blocks.new("two")
    inner.add_blockref("flag", (0, 0), dxfattribs={"color": 0})
    inner.add_blockref("flag", (0, 20), dxfattribs={"xscale": 2, "color": 0})
    found.modelspace().add_blockref("two", (50, 10), dxfattribs={"rotation": 90, "color": 1})
    picture = drawn(found, tmp_path)
    # By hand: turned by 90 degrees, (x, y) goes to (50 - y, 10 + x).
    lines = [[(0, 0), (10, 0)], [(10, 0), (10, 5)], [(0, 20), (20, 20)], [(20, 20), (20, 25)]]
    wanted = shapely.MultiLineString([[(50 - y, 80 - (10 + x)) for x, y in line] for line in lines])
    assert apart(strokes_of(picture, "#ff0000"), wanted) < NEAR_MM


def test_units_are_those_that_the_file_states(tmp_path):
    assert drawn(document(units=1), tmp_path).width_mm == pytest.approx(2540)
    assert drawn(document(units=5), tmp_path).width_mm == pytest.approx(1000)
    without = drawn(document(units=0), tmp_path)
    assert without.width_mm == pytest.approx(100)
    assert any("the file states no units; one unit is taken as 1 mm" in note for note in without.warnings)


def test_every_unit_of_the_format_is_known():
    """Against ezdxf's own table where it has one (three digits); survey units by the foot of 1200 / 3937 m."""
    survey_foot_mm = 1200e3 / 3937
    survey = {"USSurveyFeet": 1.0, "USSurveyInch": 1 / 12, "USSurveyYard": 3.0, "USSurveyMile": 5280.0}
    by_hand = {"Microinches": 25.4e-6, "Mils": 25.4e-3}  # the table has none of them
    for unit in list(ezdxf.enums.InsertUnits)[1:]:
        if unit.name in survey:
            assert _UNIT_MM[unit.value] == pytest.approx(survey[unit.name] * survey_foot_mm, rel=1e-12)
        else:
            wanted = by_hand.get(unit.name) or 1000.0 / ezdxf.units.METER_FACTOR[unit.value]
            assert _UNIT_MM[unit.value] == pytest.approx(wanted, rel=2e-3)


def test_a_unit_that_nobody_knows_is_named(tmp_path):
    found = document()
    found.header["$INSUNITS"] = 99
    picture = drawn(found, tmp_path)
    assert picture.width_mm == pytest.approx(100)
    assert any("states an unknown unit, 99; one unit is taken as 1 mm" in note for note in picture.warnings)


def test_a_file_without_a_header_is_in_mm_and_says_so(tmp_path):
    path = tmp_path / "bare.dxf"
    line = "0 LINE 8 0 10 0 20 0 11 100 21 50".replace(" ", "\n")
    path.write_text(f"0\nSECTION\n2\nENTITIES\n{line}\n0\nENDSEC\n0\nEOF\n")
    picture = read_drawing(str(path), KEEP)
    assert (picture.width_mm, picture.height_mm) == pytest.approx((100, 50))
    assert any("states no units" in note for note in picture.warnings)


def test_hidden_layers_stay_hidden_and_can_be_picked(tmp_path):
    found = document()
    found.layers.add("rigging", color=1)
    found.layers.add("notes", color=3).off()
    found.layers.add("ice", color=5).freeze()
    space = found.modelspace()
    for number, layer in enumerate(("rigging", "notes", "ice")):
        space.add_line((10, 10 + number), (50, 10 + number), dxfattribs={"layer": layer})
    colours = {pen.colour for pen in drawn(found, tmp_path).drawing.pens}
    assert colours == {"#ffff00", "#ff0000"}
    picked = drawn(found, tmp_path, Wish(fit="keep", layers=("notes",), pen_by="layer"))
    assert [pen.name for pen in picked.drawing.pens] == ["notes"]


def test_words_have_their_height_place_and_turn(tmp_path):
    found = document()
    space = found.modelspace()
    space.add_text("HHH", height=10, dxfattribs={"color": 1}).set_placement((10, 20))
    space.add_text("HHH", height=5, rotation=90, dxfattribs={"color": 3}).set_placement((80, 10))
    space.add_mtext("HH\nHH", dxfattribs={"char_height": 4, "insert": (50, 70), "color": 5})
    picture = drawn(found, tmp_path)
    level = strokes_of(picture, "#ff0000").bounds
    assert (level[1], level[3]) == pytest.approx((50, 60), abs=0.02)
    assert 10 <= level[0] < 13
    upright = strokes_of(picture, "#00ff00").bounds
    assert (upright[0], upright[2]) == pytest.approx((75, 80), abs=0.02)
    assert 69 <= upright[3] <= 70
    paragraph = strokes_of(picture, "#0000ff").bounds
    assert paragraph[1] == pytest.approx(10, abs=0.02)
    assert paragraph[3] == pytest.approx(10 + 4 + 4 * 5 / 3, abs=0.02)


def test_linetypes_become_dashes(tmp_path):
    found = document()
    found.linetypes.add("FOUR", [6.0, 4.0, -2.0])
    found.modelspace().add_line((10, 40), (32, 40), dxfattribs={"linetype": "FOUR", "color": 1})
    picture = drawn(found, tmp_path)
    ends = sorted((float(part.bounds[0]), float(part.bounds[2])) for part in strokes_of(picture, "#ff0000").geoms)
    assert np.allclose(ends, [(10, 14), (16, 20), (22, 26), (28, 32)])


def test_another_writer_is_read_as_well(tmp_path):
    dxfwrite = pytest.importorskip("dxfwrite")
    engine = dxfwrite.DXFEngine
    path = tmp_path / "r12.dxf"
    drawing = engine.drawing(str(path))
    drawing.add(engine.polyline([(0, 0), (100, 0), (100, 80), (0, 80), (0, 0)], color=2))
    drawing.add(engine.line((10, 10), (30, 70), color=1))
    drawing.add(engine.circle(25, (50, 40), color=3))
    drawing.add(engine.arc(20, (70, 50), 10, 90, color=5))
    drawing.add(engine.text("HHH", (10, 20), height=10, color=6))
    drawing.save()
    picture = read_drawing(str(path), KEEP)
    assert apart(strokes_of(picture, "#ff0000"), shapely.LineString([(10, 70), (30, 10)])) < NEAR_MM
    assert apart(strokes_of(picture, "#00ff00"), arc_points((50, 40), 25, 0, 360)) < NEAR_MM
    assert apart(strokes_of(picture, "#0000ff"), arc_points((70, 50), 20, 10, 90)) < NEAR_MM
    assert strokes_of(picture, "#ff00ff").bounds[1::2] == pytest.approx((50, 60), abs=0.02)


@pytest.mark.parametrize("width", [10.0, 594.0])
def test_a_circle_is_as_round_at_every_size(tmp_path, width):
    found = document()
    found.modelspace().add_circle((50, 40), 25, dxfattribs={"color": 1})
    picture = drawn(found, tmp_path, Wish(room_mm=(width, math.inf), turn_deg=0))
    circle = shapely.affinity.scale(arc_points((50, 40), 25, 0, 360), width / 100, width / 100, origin=(0, 0))
    assert apart(strokes_of(picture, "#ff0000"), circle) < NEAR_MM


# Invalid files


@pytest.mark.parametrize(
    "data", [b"", b"no dxf", b"0\nSECTION\n", b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nx\n", bytes(range(256))]
)
def test_what_is_no_dxf_is_refused(tmp_path, data):
    path = tmp_path / "bad.dxf"
    path.write_bytes(data)
    with pytest.raises(SourceError, match=r"bad\.dxf") as caught:
        read_drawing(str(path), KEEP)
    assert caught.value.hint


@pytest.mark.parametrize("number", ["nan", "inf", "1e9", "-1e300"])
def test_coordinates_that_are_none_or_too_far_out_are_refused(tmp_path, number):
    path = tmp_path / "bad.dxf"
    pairs = ["0", "SECTION", "2", "ENTITIES", "0", "LINE", "8", "0", "10", "0", "20", "0", "11", number, "21", "5"]
    path.write_text("\n".join([*pairs, "0", "ENDSEC", "0", "EOF", ""]))
    with pytest.raises(SourceError, match=r"bad\.dxf"):
        read_drawing(str(path), KEEP)


def test_damage_anywhere_is_read_or_refused(tmp_path):
    chance = random.Random(5)
    found = document()
    space = found.modelspace()
    block = found.blocks.new("flag")
    block.add_line((0, 0), (10, 0))
    space.add_blockref("flag", (50, 10), dxfattribs={"rotation": 90})
    space.add_spline([(0, 60), (20, 80), (50, 60), (90, 80)])
    space.add_text("Quay", height=6)
    space.add_mtext("two\nlines", dxfattribs={"char_height": 4})
    space.add_lwpolyline([(40, 40, 1), (60, 40, 0)], format="xyb")
    space.add_ellipse((80, 50), (15, 5), 0.4, 0, 4)
    path = tmp_path / "p.dxf"
    found.saveas(path)
    lines = path.read_bytes().split(b"\n")
    first = next(i for i, line in enumerate(lines) if line.strip() == b"ENTITIES")
    read = 0
    for _ in range(150):
        new = list(lines)
        for _ in range(chance.choice([1, 1, 3])):
            other = new[chance.randrange(len(new))]
            new[chance.randrange(first, len(new))] = chance.choice([b"nan", b"-1", b"1e300", b"x", b"", b"0", other])
        path.write_bytes(b"\n".join(new))
        with contextlib.suppress(SourceError):
            picture = read_drawing(str(path), KEEP)
            assert np.isfinite(picture.drawing.points_mm).all()
            read += 1
    assert read  # some of them were readable


def test_without_the_extra_the_word_is_clear(tmp_path, monkeypatch):
    path = tmp_path / "p.dxf"
    path.write_text("0\nSECTION\n")
    monkeypatch.setitem(sys.modules, "ezdxf", None)
    with pytest.raises(InputError, match="DXF needs the package ezdxf"):
        read_drawing(str(path), KEEP)


def test_a_pattern_is_drawn_as_its_lines_and_hides_nothing(tmp_path):
    found = document()
    model = found.modelspace()
    model.add_line((0, 15), (30, 15), dxfattribs={"color": 1})
    hatch = model.add_hatch(color=5)
    hatch.paths.add_polyline_path([(0, 0), (30, 0), (30, 30), (0, 30)])
    # Lines at 45 degrees, each 2 up and 2 left of the one before: 2.83 apart.
    hatch.set_pattern_fill("quay", color=5, definition=[[45, (0, 0), (-2, 2), []]])
    drawing = drawn(found, tmp_path).drawing
    by_colour = {pen.colour: number for number, pen in enumerate(drawing.pens)}
    lines = [stroke for stroke, pen in zip(drawing, drawing.pen, strict=True) if pen == by_colour["#0000ff"]]
    across = np.concatenate([np.diff(line, axis=0) for line in lines])
    assert across[:, 0] == pytest.approx(-across[:, 1], abs=1e-3)  # none runs along the edge
    # The area divided by what lies between lines.
    assert np.hypot(*across.T).sum() == pytest.approx(30 * 30 / (2 * 2**0.5), rel=0.1)
    (under,) = (stroke for stroke, pen in zip(drawing, drawing.pen, strict=True) if pen == by_colour["#ff0000"])
    assert np.ptp(under[:, 0]) == pytest.approx(30, abs=1e-3)


def test_a_pattern_too_fine_is_a_filling(tmp_path, monkeypatch):
    monkeypatch.setattr("linewright.sources.dxf.entities.PATTERN_LINES_HIGH", 5)
    found = document()
    hatch = found.modelspace().add_hatch(color=5)
    hatch.paths.add_polyline_path([(0, 0), (30, 0), (30, 30), (0, 30)])
    hatch.set_pattern_fill("quay", color=5, definition=[[45, (0, 0), (-2, 2), []]])
    drawing = drawn(found, tmp_path).drawing
    blue = [pen.colour for pen in drawing.pens].index("#0000ff")
    (edge,) = (stroke for stroke, pen in zip(drawing, drawing.pen, strict=True) if pen == blue)
    assert np.ptp(edge, axis=0) == pytest.approx([30, 30])
    assert edge[0] == pytest.approx(edge[-1])


def test_where_the_library_has_no_words_there_are_no_empty_brackets(tmp_path):
    path = tmp_path / "cut.dxf"
    path.write_text("  0\nSECTION\n  2\nHEADER\n  9")
    with pytest.raises(SourceError, match=r"it is not a DXF file, or it is damaged$"):
        read_drawing(str(path), KEEP)


def test_a_huge_file_is_refused_unread(tmp_path):
    path = tmp_path / "huge.dxf"
    with path.open("wb") as stream:
        stream.write(b"0\nSECTION\n")
        stream.truncate(100_000_000)
    with pytest.raises(SourceError, match="the file is too large"):
        read_drawing(str(path), KEEP)


def test_blocks_that_multiply_end(tmp_path, monkeypatch):
    from linewright.sources.dxf import reader

    monkeypatch.setattr(reader, "ENTITIES_HIGH", 2000)
    # Found by counting the blocks, before copies are made.
    monkeypatch.setattr(reader._ModelWalk, "_entity", lambda *_: pytest.fail("a copy was made"))
    found = document()
    found.blocks.new("b0").add_line((0, 0), (1, 0))
    for number in range(1, 20):
        block = found.blocks.new(f"b{number}")
        block.add_blockref(f"b{number - 1}", (0, 0))
        block.add_blockref(f"b{number - 1}", (1, 1))
    found.modelspace().add_blockref("b19", (0, 0))
    with pytest.raises(SourceError, match="too many entities"):
        drawn(found, tmp_path)
    empty = document()
    empty.blocks.new("none")
    many = {"column_count": 30000, "row_count": 30000, "column_spacing": 1, "row_spacing": 1}
    empty.modelspace().add_blockref("none", (0, 0), dxfattribs=many)
    with pytest.raises(SourceError, match="too many entities"):
        drawn(empty, tmp_path)


def test_blocks_that_hardly_multiply_are_counted_as_they_are_met(tmp_path, monkeypatch):
    """The count refuses nothing that reading would accept: a drawing exactly at the limit is read."""
    from linewright.sources.dxf import reader

    found = document()
    found.layers.new("off").off()
    found.blocks.new("b0").add_line((0, 0), (1, 0))
    for number in range(1, 5):
        block = found.blocks.new(f"b{number}")
        block.add_blockref(f"b{number - 1}", (0, 0))
        block.add_blockref(f"b{number - 1}", (1, 1), dxfattribs={"column_count": 2, "column_spacing": 1})
        block.add_blockref(f"b{number - 1}", (0, 0), dxfattribs={"layer": "off"})
    found.modelspace().add_blockref("b4", (0, 0))
    met = []
    count = reader._ModelWalk._count
    with monkeypatch.context() as patched:
        patched.setattr(reader._ModelWalk, "_count", lambda walk: (met.append(1), count(walk)))
        drawn(found, tmp_path)
    monkeypatch.setattr(reader, "ENTITIES_HIGH", len(met))
    drawn(found, tmp_path)
    monkeypatch.setattr(reader, "ENTITIES_HIGH", len(met) - 1)
    monkeypatch.setattr(reader._ModelWalk, "_entity", lambda *_: pytest.fail("a copy was made"))
    with pytest.raises(SourceError, match="too many entities"):
        drawn(found, tmp_path)
