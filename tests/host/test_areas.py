"""Flat areas: fillings of SVGs and of pictures of few colours, and classification of pictures."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from skimage import data

from host.photographs import hills, photograph
from linewright.planning import pipeline
from linewright.sources import choice, methods
from linewright.sources.fill import hatched
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Wish
from linewright.sources.svg import FillHatching, read_svg

SQUARE = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]])


def total_mm(lines: np.ndarray) -> float:
    return float(np.hypot(*(lines[:, 1] - lines[:, 0]).T).sum())


@pytest.mark.parametrize("angle", [0, 17, 45, 90, 133])
@pytest.mark.parametrize("pitch", [0.3, 1.1])
def test_hatching_is_as_long_as_the_area_by_the_pitch(angle, pitch):
    """Cavalieri: lengths of parallel chords times their distance give the area."""
    lines = hatched(SQUARE, np.array([0, 4]), pitch_mm=pitch, angle_deg=angle, even_odd=False)
    assert total_mm(lines) * pitch == pytest.approx(600, rel=0.05)
    direction = (lines[:, 1] - lines[:, 0]) / np.hypot(*(lines[:, 1] - lines[:, 0]).T)[:, None]
    assert np.abs(direction @ [np.cos(np.deg2rad(angle)), -np.sin(np.deg2rad(angle))]) == pytest.approx(1, abs=1e-9)
    assert (lines >= -1e-9).all()
    assert (lines <= [30 + 1e-9, 20 + 1e-9]).all()


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("even_odd", [True, False])
def test_chords_are_those_of_shapely(seed, even_odd):
    """Star-shaped outlines around two centres, some inside each other."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 2 * np.pi, (3, 24)), axis=1)
    radius = rng.uniform(4, 14, (3, 24))
    rings = [np.column_stack((20 + r * np.cos(a), 20 + r * np.sin(a))) for a, r in zip(t, radius, strict=True)]
    polygons = [shapely.Polygon(ring) for ring in rings]
    shape = polygons[0]
    for polygon in polygons[1:]:
        shape = shape.symmetric_difference(polygon) if even_odd else shape.union(polygon)
    lines = hatched(np.concatenate(rings), np.arange(0, 73, 24), pitch_mm=0.5, angle_deg=0.0, even_odd=even_odd)
    for y in np.unique(np.round(lines[:, 0, 1], 6))[::5]:
        ours = lines[np.abs(lines[:, 0, 1] - y) < 1e-6]
        theirs = shapely.intersection(shape, shapely.LineString([(-50, y), (90, y)])).length
        assert total_mm(ours) == pytest.approx(theirs, abs=1e-6)


SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">'
    '<rect x="10" y="10" width="40" height="30" fill="#000000"/>'
    '<path fill="#808080" fill-rule="{}" stroke="#ff0000" stroke-width=".4" d="M60 10H90V40H60Z M70 20H80V30H70Z"/>'
    '<circle cx="75" cy="50" r="5" fill="white"/>'
    '<rect x="1" y="1" width="5" height="5" fill="none" stroke="blue" stroke-width=".4"/>'
    "</svg>"
)


@pytest.mark.parametrize(("rule", "area"), [("evenodd", 800), ("nonzero", 900)])
def test_fillings_of_an_svg_are_hatched_as_dark_as_they_are(tmp_path, rule, area):
    path = tmp_path / "filled.svg"
    path.write_text(SVG.format(rule), encoding="utf-8")
    plain = read_svg(path)
    full = read_svg(path, hatching=FillHatching(pen_mm=0.4))
    lengths = {}
    for picture in (plain, full):
        for i, pen in enumerate(picture.drawing.pens):
            mm = float(picture.drawing.stroke_lengths_mm()[picture.drawing.pen == i].sum())
            lengths.setdefault(pen.name, []).append(mm)
    black = lengths["black"][1] - lengths["black"][0]
    # Black is solid: lines overlap by a tenth of their width.
    assert black * 0.4 == pytest.approx(1200 / 0.9, rel=0.03)
    assert lengths["grey"][0] * 0.4 == pytest.approx((1 - 128 / 255) * area, rel=0.04)
    assert lengths["red"][0] == lengths["red"][1]
    assert lengths["blue"][0] == lengths["blue"][1]


def test_lines_of_one_colour_of_a_picture_are_evenly_apart(tmp_path):
    """A dark area shows no stripes: black is nine tenths covered, so lines lie a pen's width by 0.9 apart."""
    picture = Image.new("RGB", (120, 90), "white")
    ImageDraw.Draw(picture).rectangle((20, 20, 100, 70), fill="black")
    picture.save(tmp_path / "flat.png")
    wish = Wish(room_mm=(120.0, 90.0), pen_width_mm=0.5)
    drawing = pipeline.read_picture(str(tmp_path / "flat.png"), pipeline.Lines("areas:angle_deg=0"), wish).drawing
    black = [stroke for stroke, pen in zip(drawing, drawing.pen, strict=True) if drawing.pens[pen].colour == "#000000"]
    pieces = np.concatenate([np.stack((one[:-1], one[1:]), axis=1) for one in black])
    level = np.abs(np.diff(pieces, axis=1)[:, 0] @ [0.0, 1.0]) < 1e-6
    inside = level & (pieces[:, :, 1].mean(axis=1) > 23) & (pieces[:, :, 1].mean(axis=1) < 67)
    heights = np.unique(np.round(pieces[inside, 0, 1], 6))
    assert len(heights) > 70
    assert np.diff(heights) == pytest.approx(0.5 / 0.9, rel=1e-3)


@pytest.mark.parametrize("wish", [Wish(fit="keep"), Wish(room_mm=(50.0, 50.0))], ids=["keep", "fit"])
def test_areas_of_an_svg_through_the_pipeline_have_the_size_on_the_sheet(tmp_path, wish):
    path = tmp_path / "filled.svg"
    path.write_text(SVG.format("evenodd"), encoding="utf-8")
    picture = pipeline.read_picture(str(path), pipeline.Lines("areas"), wish)
    expected = (100.0, 60.0) if wish.fit == "keep" else (50.0, 30.0)
    assert (picture.width_mm, picture.height_mm) == pytest.approx(expected)
    black = picture.drawing.stroke_lengths_mm()[picture.drawing.pen == 0].sum()
    share = expected[0] / 100.0
    outline = 2 * (40 + 30) * share
    # The same share of the paper at either size: the spacing is that of the pen on the sheet.
    assert (black - outline) * wish.pen_width_mm * 0.9 == pytest.approx(1200 * share**2, rel=0.05)


def poster() -> np.ndarray:
    image = Image.new("RGB", (240, 180), "white")
    draw = ImageDraw.Draw(image)
    draw.ellipse((30, 30, 130, 130), fill="#c03020")
    draw.rectangle((120, 70, 220, 160), fill="#204080")
    return np.asarray(image, dtype=np.float32) / 255


def test_a_poster_becomes_its_colours():
    picture = methods.chosen("areas:contrast=none").drawn(Photograph(poster()), Wish(room_mm=(120.0, 90.0)))
    assert sorted(pen.name for pen in picture.drawing.pens) == ["#204080", "#c03020"]
    blue = next(i for i, pen in enumerate(picture.drawing.pens) if pen.name == "#204080")
    mm = picture.drawing.stroke_lengths_mm()
    outline_mm, area_mm2 = 2 * (50 + 45), 50 * 45.0
    darkness = 1 - np.array([0x20, 0x40, 0x80]) / 255 @ [0.2126, 0.7152, 0.0722]
    expected = outline_mm + area_mm2 * darkness / 0.5
    assert float(mm[picture.drawing.pen == blue].sum()) == pytest.approx(expected, rel=0.06)


def test_a_poster_takes_the_nearest_of_the_pens_there_are():
    from linewright.sources.pens import read_pens

    wish = Wish(room_mm=(120.0, 90.0), pens=read_pens("green, navy, firebrick"))
    picture = methods.chosen("areas:contrast=none").drawn(Photograph(poster()), wish)
    used = {picture.drawing.pens[i].name for i in np.unique(picture.drawing.pen)}
    assert used == {"navy", "firebrick"}


# Classification of pictures


def test_line_art_flat_colour_and_photographs_are_told_apart():
    from linewright.sources.tone.coverage import inked

    strokes = [np.random.default_rng(i).uniform(20, 380, (3, 2)) for i in range(9)]
    art = photograph(1 - inked(strokes, (400.0, 400.0), pen_mm=4.0, pixel_mm=1.0))
    assert choice.choose(art, Wish()).method.startswith("centre-lines")
    assert choice.choose(Photograph(poster()), Wish()).method == "areas"
    assert choice.choose(photograph(hills(1, 200, 300)), Wish()).method == "strokes"
    for real in (data.coins(), data.moon()):
        assert choice.choose(photograph(real / 255), Wish()).method == "strokes"
    assert choice.choose(photograph(data.camera() / 255), Wish()).method == "portrait"  # a person is behind it
    assert choice.choose(photograph(data.horse().astype(float)), Wish()).method == "areas"


def test_every_choice_is_a_method_and_gives_a_reason():
    for taken in (Photograph(poster()), photograph(hills(2)), photograph(np.full((9, 9), 0.5))):
        found = choice.choose(taken, Wish())
        methods.chosen(found.method)
        assert found.why
