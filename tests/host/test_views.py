"""Preview pictures: true widths, colours and positions, and correct legends."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import resvg_py
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rich.console import Console

from linewright import wording
from linewright.board.session_values import DrawResult
from linewright.cli.tables import drawings as report
from linewright.drawing.strokes import Drawing, Pen
from linewright.motion import plan
from linewright.pictures import album, contact_sheet, overlay, preview, raster, speed_map, svg_writer
from linewright.pictures.residual_map import residual_map
from linewright.pictures.scene import BORDER_MM, Ink, Label, Patch, Scene, Table, inks_of
from linewright.planning.placement import to_machine
from linewright.program import file as program_file
from linewright.rig.rig import Rig
from linewright.sheet.position import SheetPosition
from linewright.sheet.sizes import Sheet

SVG = "{http://www.w3.org/2000/svg}"
A6 = Sheet.named("A6", margin_mm=5)

ZOO = {
    "empty": [],
    "one point": [[(20, 20)]],
    "doubled points": [[(20, 20), (20, 20), (30, 20), (30, 20)]],
    "closed": [[(20, 20), (40, 20), (30, 40), (20, 20)]],
    "collinear": [[(20, 20), (30, 30), (40, 40)]],
    "crossing itself": [[(20, 20), (40, 40), (40, 20), (20, 40)]],
    "huge": [[(-1e6, -1e6), (1e6, 1e6)]],
    "tiny": [[(20, 20), (20 + 1e-9, 20)]],
}


def square_scene(*items: Ink | Patch | Label) -> Scene:
    return Scene(40.0, 40.0, (Patch(0, 0, 40, 40, "#ffffff"), *items), "test")


def ink(strokes: list[object], width_mm: float = 1.0, colour: str = "#000000", opacity: float = 1.0) -> Ink:
    drawing = Drawing.from_strokes(strokes)
    return Ink("ink", colour, width_mm, drawing.points_mm, drawing.starts, opacity)


def pixels(scene: Scene, long_side_px: int = 400) -> np.ndarray:
    return np.asarray(raster.to_image(scene, long_side_px=long_side_px), dtype=np.float64)


def rendered(scene: Scene, width_px: int = 400) -> np.ndarray:
    """The same scene through the SVG writer and an independent renderer (resvg)."""
    data = bytes(resvg_py.svg_to_bytes(svg_string=svg_writer.to_svg(scene), width=width_px, dpi=96))
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=np.float64)


@pytest.mark.parametrize("name", ZOO)
def test_every_shape_makes_every_picture(name):
    drawing = Drawing.from_strokes(ZOO[name])
    table = Table(A6, footer_mm=overlay.FOOTER_MM)
    track_points = drawing.points_mm if len(drawing.points_mm) else np.zeros((1, 2))
    m = len(track_points) - 1
    track = speed_map.Track(track_points, np.full(m, 10.0), np.full(m, 20.0), np.ones(m, dtype=bool))
    for scene in (
        preview.preview(drawing, table, pen_width_mm=0.5, start_mm=(0, 0), caption="<&>"),
        speed_map.speed_map(track, table, pen_width_mm=0.5),
        overlay.overlay(drawing, drawing, table, pen_width_mm=0.5, notes=("note",)),
    ):
        ET.fromstring(svg_writer.to_svg(scene))  # well-formed
        assert Image.open(io.BytesIO(raster.to_png(scene, long_side_px=120))).format == "PNG"


def test_coordinates_are_written_to_the_micrometre():
    scene = square_scene(ink([[(1.2345678, 2.0), (3.0, 4.0004)], [(5.0, 6.0)]]))
    root = ET.fromstring(svg_writer.to_svg(scene))
    group = root.find(f"{SVG}g")
    assert group.get("transform") == "scale(0.001)"
    assert group.get("stroke-width") == "1000"
    assert group.find(f"{SVG}path").get("d") == "M1235 2000L3000 4000M5000 6000h0"
    assert (root.get("width"), root.get("viewBox")) == ("40mm", "0 0 40 40")


def test_a_line_has_the_area_of_its_true_width():
    # A stroke with round ends covers length x width + pi/4 x width^2.
    length, width = 20.0, 1.5
    scene = square_scene(ink([[(10, 20), (10 + length, 20)]], width))
    scale = 1600 / 40.0
    area_mm2 = (255.0 - pixels(scene, 1600)[:, :, 0]).sum() / 255.0 / scale**2
    # One large pixel (1/3 px) more or less at each long side: 2 x 20 mm x 1/120 mm of 31.8 mm^2 is 1 %.
    assert area_mm2 == pytest.approx(length * width + np.pi / 4 * width**2, rel=0.015)


@pytest.mark.parametrize(
    "strokes",
    [
        [[(5, 5), (35, 8), (6, 30), (34, 35)]],
        [[(20 + 12 * np.cos(t), 20 + 12 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 200)]],
        [[(5, 5)], [(20, 20), (20, 20)], [(30, 10), (30, 30)]],
    ],
)
def test_png_and_svg_show_the_same(strokes):
    # resvg smooths edges its own way: whole pixels must agree except along the edges of the 1.2 mm lines.
    scene = square_scene(ink(strokes, 1.2, "#1f3347"), Patch(1, 1, 3, 2, "#d8622a"))
    off = np.abs(pixels(scene) - rendered(scene)).max(axis=2)
    assert off.mean() < 1.5
    assert (off > 128).mean() < 0.002


def test_large_numbers_show_no_box_in_place_of_their_gap():
    said, plain = (
        pixels(square_scene(Label(text, 4, 20))) for text in (wording.count(1534, "stroke"), "1 534 strokes")
    )
    assert (said < 255).any()
    assert (said == plain).all()


def test_opacity_belongs_to_the_whole_ink():
    cross = [[(5, 20), (35, 20)], [(20, 5), (20, 35)]]
    for image in (
        pixels(square_scene(ink(cross, 4.0, "#000000", 0.5))),
        rendered(square_scene(ink(cross, 4.0, opacity=0.5))),
    ):
        assert image[200, 200, 0] == pytest.approx(128, abs=2)  # where both cross
        assert image[200, 100, 0] == pytest.approx(128, abs=2)


def test_preview_lies_on_the_sheet_in_machine_coordinates():
    drawing = Drawing.from_strokes([[(30.0, 40.0), (50.0, 40.0)]])
    scene = preview.preview(drawing, Table(A6, SheetPosition((20.0, 30.0))), pen_width_mm=0.5)
    shown = next(item for item in scene.items if isinstance(item, Ink) and item.name == "black")
    assert shown.points_mm[0] == pytest.approx([10.0 + BORDER_MM, 10.0 + BORDER_MM])
    paper = [item for item in scene.items if isinstance(item, Patch)][1]
    assert (paper.x_mm, paper.width_mm, paper.height_mm) == (BORDER_MM, 105, 148)


def test_a_sheet_that_lies_turned_is_shown_straight(tmp_path):
    # The pictures are of the sheet: a frame along its margins stays one, however it lies on the machine.
    rig = Rig.default().changed({"sheet.offset_mm": [20.0, 10.0], "sheet.turn_deg": 3.0})
    frame = Drawing.from_strokes([[(30.0, 40.0), (90.0, 40.0), (90.0, 120.0)]])
    program = plan(to_machine(frame, A6, rig), rig, sheet=A6)
    program_file.save(program, tmp_path / "kept.lw")
    for one in (program, program_file.load(tmp_path / "kept.lw")):
        for scene in (album.preview_scene(one, "frame"), album.left_scene(one, 0, "frame")):
            shown = next(item for item in scene.items if isinstance(item, Ink) and item.name == "black")
            assert shown.points_mm == pytest.approx(frame.points_mm + BORDER_MM, abs=1e-9)


def test_each_pen_has_its_own_colour_and_width():
    pens = (Pen("night", "#102030"), Pen("sun", "#d8622a", 0.8), Pen("unused", "#00ff00"))
    drawing = Drawing.from_strokes([[(1, 1), (2, 2)], [(3, 3), (4, 4)]], pen=[1, 0], pens=pens)
    shown = inks_of(drawing, Table(A6), pen_width_mm=0.5)
    assert [(i.name, i.colour, i.width_mm) for i in shown] == [("night", "#102030", 0.5), ("sun", "#d8622a", 0.8)]


def test_travel_joins_ends_to_begins():
    drawing = Drawing.from_strokes([[(1, 1), (2, 2)], [(5, 5)], [(8, 8), (9, 9)]])
    begin, end = preview.travel_between(drawing, (0, 0))
    assert begin.tolist() == [[0, 0], [2, 2], [5, 5]]
    assert end.tolist() == [[1, 1], [5, 5], [8, 8]]


def lightness(colour: str) -> float:
    """CIE 1976 L* of an sRGB colour (IEC 61966-2-1 for the transfer curve and luminance, CIE 15 for L*)."""
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else 24389 / 27 * y


def test_speed_colours_grow_lighter_all_the_way():
    # The order by lightness is visible with every kind of colour vision. 2 L* per level is twice the difference
    # visible side by side
    # (the just noticeable difference of CIE 1976 is about 1).
    levels = [lightness(speed_map.colour((i + 0.5) / speed_map.LEVELS)) for i in range(speed_map.LEVELS)]
    assert np.diff(levels).min() > 2.0
    assert levels[0] < 20
    assert 60 < levels[-1] < 80  # white paper has 100


def test_a_ramp_changes_colour_where_its_speed_does():
    # From rest to 100 mm/s at constant acceleration: v^2 = 2 a s, so v is reached at the share (v / 100)^2 of the way.
    track = speed_map.Track(np.array([[0.0, 50.0], [80.0, 50.0]]), np.array([0.0]), np.array([100.0]), np.array([True]))
    scene = speed_map.speed_map(track, Table(A6, footer_mm=speed_map.LEGEND_MM), pen_width_mm=0.4)
    inks = [item for item in scene.items if isinstance(item, Ink)]
    assert len(inks) == speed_map.LEVELS
    for i, one in enumerate(inks):
        expected = 80.0 * np.array([i / speed_map.LEVELS, (i + 1) / speed_map.LEVELS]) ** 2
        assert one.points_mm[:, 0] - BORDER_MM == pytest.approx(expected, abs=1e-9)
    texts = [item.text for item in scene.items if isinstance(item, Label)]
    assert texts == ["0", "25", "50", "75", "100", "mm/s"]


def test_pieces_of_one_speed_become_one_stroke_and_travel_is_left_out():
    points = np.array([[0, 0], [1, 0], [2, 0], [2, 5], [3, 5], [4, 5]], dtype=float)
    v = np.full(5, 30.0)
    down = np.array([True, True, False, True, True])
    scene = speed_map.speed_map(speed_map.Track(points, v, v, down), Table(A6), pen_width_mm=0.4)
    (one,) = (item for item in scene.items if isinstance(item, Ink))
    assert one.starts.tolist() == [0, 3, 6]
    assert (one.points_mm - BORDER_MM).tolist() == [[0, 0], [1, 0], [2, 0], [2, 5], [3, 5], [4, 5]]


@given(st.floats(0.01, 1e5))
def test_the_legend_ends_just_above_the_top_speed(speed):
    top = speed_map.nice_top(speed)
    assert speed <= top * (1 + 1e-9)
    assert top <= speed * 4 / 3 * (1 + 1e-9)  # the widest steps in the row of factors: 1.5 to 2 and 3 to 4


@pytest.mark.parametrize("side_mm", [5.0, 20.0, 24.0, 148.0])
def test_the_legend_of_any_sheet_lies_within_its_picture(side_mm):
    table = Table(Sheet(side_mm, side_mm), footer_mm=speed_map.LEGEND_MM)
    track = speed_map.Track(np.array([[1.0, 1.0], [4.0, 4.0]]), np.array([5.0]), np.array([50.0]), np.array([True]))
    scene = speed_map.speed_map(track, table, pen_width_mm=0.3)
    for item in scene.items:
        if isinstance(item, Patch):
            assert min(item.width_mm, item.height_mm) > 0
            assert 0 <= item.x_mm <= item.x_mm + item.width_mm <= scene.width_mm + 1e-9
        elif isinstance(item, Label):
            assert 0 <= item.x_mm <= scene.width_mm - 8.0  # room for the word


def test_worst_place_of_a_shifted_line():
    planned = Drawing.from_strokes([[(10, 10), (50, 10)], [(10, 30), (50, 30)]])
    drawn = Drawing.from_strokes([[(10, 10), (50, 10)], [(10, 30), (30, 30.3), (50, 30)]])
    found = overlay.worst(planned, drawn)
    assert found.mm == pytest.approx(0.3)
    assert found.at_mm == (30.0, 30.3)


def test_lens_shows_the_worst_place_in_its_middle():
    planned = Drawing.from_strokes([[(10, 10), (90, 10)]])
    drawn = Drawing.from_strokes([[(10, 10), (49, 10), (50, 10.5), (51, 10), (90, 10)]])
    scene = overlay.overlay(planned, drawn, Table(A6, footer_mm=overlay.FOOTER_MM), pen_width_mm=0.5)
    lens = next(item for item in scene.items if isinstance(item, Ink) and item.name == "drawn, magnified")
    peak = lens.points_mm[np.argmax(lens.points_mm[:, 1])]
    middle = np.array([BORDER_MM, 148 + 2 * BORDER_MM]) + overlay.LENS_MM / 2
    assert peak == pytest.approx(middle)
    # Nothing extends beyond the lens, and the picture states its magnification: 16 deviations of 0.5 mm across 36 mm.
    assert (lens.points_mm >= middle - overlay.LENS_MM / 2).all()
    assert (lens.points_mm <= middle + overlay.LENS_MM / 2).all()
    assert any(isinstance(item, Label) and item.text.startswith("x 4: 8 mm") for item in scene.items)


@given(st.floats(1e-4, 50.0), st.floats(0.0, 6.28))
def test_arrows_of_what_is_left_point_as_it_does_and_stay_short(length_mm, angle_rad):
    off_mm = length_mm * np.array([[np.cos(angle_rad), np.sin(angle_rad)], [0.5, 0.0]])
    off_mm[1] *= np.cos(angle_rad)  # a shorter one
    places_mm = np.array([[50.0, 60.0], [100.0, 200.0]])
    scene = residual_map(Sheet.named("A4"), places_mm, off_mm)
    arrows = next(item for item in scene.items if isinstance(item, Ink) and item.name == "arrows")
    arrow = arrows.points_mm[1::5] - arrows.points_mm[::5]
    times = np.hypot(*arrow[0]) / length_mm
    assert arrow == pytest.approx(off_mm * times, abs=1e-6)
    assert 12.0 / 2.5 - 1e-9 <= np.hypot(*arrow[0]) <= 12.0 + 1e-9
    assert f"arrows {times:.6g} times" in scene.items[-1].text


@given(st.lists(st.integers(1, 30), min_size=1, max_size=8), st.integers(0, 2**31))
def test_thinning_keeps_every_end_and_no_gap_grows(lengths, seed):
    rng = np.random.default_rng(seed)
    drawing = Drawing.from_strokes([np.cumsum(rng.uniform(-0.02, 0.02, (n, 2)), axis=0) for n in lengths])
    points, starts = overlay.thinned(drawing.points_mm, drawing.starts, 0.05)
    assert len(starts) == len(drawing.starts)
    for a, b, c, d in zip(starts, starts[1:], drawing.starts, drawing.starts[1:], strict=False):
        assert (points[a] == drawing.points_mm[c]).all()
        assert (points[b - 1] == drawing.points_mm[d - 1]).all()
        # A kept point at least every grain of way: two grains plus one old segment bound any gap.
        assert np.hypot(*np.diff(points[a:b], axis=0).T).max(initial=0.0) <= 0.05 + 0.02 * np.sqrt(2) + 1e-12


def test_two_hundred_thousand_vertices_stay_a_small_file():
    rng = np.random.default_rng(1)
    drawing = Drawing.from_strokes(np.cumsum(rng.uniform(-0.5, 0.5, (2000, 100, 2)), axis=1) + (50, 70))
    scene = preview.preview(drawing, Table(A6), pen_width_mm=0.3)
    # "12345 123456L": at most 14 characters a vertex, and 30 a stroke and its travel.
    assert len(svg_writer.to_svg(scene)) < 200_000 * 14 + 2000 * 60
    assert len(raster.to_png(scene, long_side_px=800)) > 1000


def test_contact_sheet_holds_all_pictures():
    scenes = [square_scene(ink([[(5, 5), (30, 30)]])) for _ in range(3)]
    image = Image.open(io.BytesIO(contact_sheet.contact_sheet(scenes, height_px=100)))
    gap = contact_sheet.GAP_PX
    assert image.size == (2 * 100 + 3 * gap, 2 * 100 + 3 * gap)
    # The label of the second row is below the first, with table beside it.
    pixels = np.asarray(image)
    assert np.array_equal(pixels[2 * gap + 100 :, : 100 + gap], pixels[gap + 0 : -100 - gap, : 100 + gap][: 100 + gap])
    assert (pixels[2 * gap + 100 :, 100 + 2 * gap :] == pixels[0, 0]).all()
    with pytest.raises(ValueError, match="needs a scene"):
        contact_sheet.contact_sheet([])


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.84, "0.8 s"),
        (42.4, "42 s"),
        (59.6, "1 min 00 s"),
        (185, "3 min 05 s"),
        (3599.6, "1 h 00 min"),
        (7620, "2 h 07 min"),
    ],
)
def test_durations_as_people_say_them(seconds, text):
    assert wording.duration(seconds) == text


@pytest.mark.parametrize(("mm", "text"), [(8.44, "8.4 mm"), (254, "25 cm"), (4312, "4.31 m"), (0, "0.0 mm")])
def test_lengths_as_people_say_them(mm, text):
    assert wording.length(mm) == text


def test_counts_agree_with_their_noun():
    assert wording.count(1, "stroke") == "1 stroke"
    assert wording.count(1204, "stroke") == "1\u202f204 strokes"
    assert wording.count(2, "vertex", "vertices") == "2 vertices"


# Tables


@pytest.mark.parametrize(("strokes_done", "words"), [(0, "before the first stroke"), (1, "in stroke 2 of 2")])
def test_where_a_drawing_stopped(strokes_done, words):
    rig = Rig.default()
    program = plan(Drawing.from_strokes([[[10, 10], [20, 10]], [[10, 20], [20, 20]]]), rig, sheet=Sheet.named("A4"))
    begun = int(np.flatnonzero(program.stroke_of_record == strokes_done)[0]) + strokes_done
    result = DrawResult(
        finished=False,
        first_record=0,
        played_ticks=0,
        predicted_ticks=program.predicted_ticks,
        final_steps=(0, 0),
        expected_steps=(0, 0),
        records_done=begun,
        records=len(program),
        retransmitted_frames=0,
        damaged_frames=0,
        frames_sent=1,
        bytes_sent=10,
        starved=0,
        underruns=0,
    )
    text = io.StringIO()
    Console(file=text, width=200).print(report.draw_table(program, "card.svg", result, None))
    assert words in text.getvalue()
