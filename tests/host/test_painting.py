"""From shapes in paint order to strokes: covering, clipping, cutting and hatching at the size on the sheet."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import resvg_py
import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from scipy import ndimage

from linewright.errors import InputError, SourceError
from linewright.sources.painting import FillHatching, edges, sight
from linewright.sources.picture import Picture, TextStyle, Wish
from linewright.sources.svg import cascade, read_svg
from linewright.sources.tone.centre_lines import CentreLines

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
PAGE = 'width="100mm" height="100mm" viewBox="0 0 100 100"'
PX_PER_MM = 5.0
FONT = str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")


def svg(body: str, attributes: str = PAGE) -> bytes:
    return f"{HEAD}{attributes}>{body}</svg>".encode()


def read(body: str, attributes: str = PAGE, **options) -> Picture:
    return read_svg(svg(body, attributes), **options)


def strokes(picture: Picture, colour: str | None = None) -> list[np.ndarray]:
    drawing = picture.drawing
    return [
        stroke
        for stroke, pen in zip(drawing, drawing.pen, strict=True)
        if colour is None or drawing.pens[pen].colour == colour
    ]


def length(picture: Picture, colour: str | None = None) -> float:
    return float(sum(np.hypot(*np.diff(stroke, axis=0).T).sum() for stroke in strokes(picture, colour)))


# ---------------------------------------------------------------- against a renderer, by ink


def lone_px(
    picture: Picture, body: str, near_px: float, jump: int = 12, across_px: int | None = None, **fonts
) -> tuple[int, int]:
    """Pixels of edges of the rendering without a stroke near, and of strokes without an edge near."""
    size = across_px or round(picture.width_mm * PX_PER_MM)
    data = resvg_py.svg_to_bytes(svg_string=svg(body).decode(), dpi=96, width=size, languages=["en"], **fonts)
    seen = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGBA"), dtype=np.int32).copy()
    seen[:, :, :3] = seen[:, :, :3] * seen[:, :, 3:] // 255
    edges = np.zeros(seen.shape[:2], dtype=bool)
    edges[:, 1:-1] |= (np.abs(seen[:, 2:] - seen[:, :-2]) > jump).any(axis=2)
    edges[1:-1] |= (np.abs(seen[2:] - seen[:-2]) > jump).any(axis=2)
    canvas = Image.new("1", (size, size))
    pencil = ImageDraw.Draw(canvas)
    for stroke in picture.drawing:
        points = [tuple(p) for p in stroke * (size / picture.width_mm) - 0.5]
        pencil.line(points, fill=1) if len(points) > 1 else pencil.point(points, fill=1)
    ink = np.asarray(canvas)
    rim = np.ones_like(edges)
    rim[6:-6, 6:-6] = False
    without_stroke = (ndimage.distance_transform_edt(~ink) > near_px) & edges & ~rim
    without_edge = (ndimage.distance_transform_edt(~edges) > near_px) & ink & ~rim
    return int(without_stroke.sum()), int(without_edge.sum())


STAR = "M50 5L77 88L6 36H94L23 88Z"
LOOKS = {
    "covered": '<path d="M0 50H100M50 0V100" stroke="red"/><circle cx="40" cy="50" r="20" fill="blue"/>'
    '<rect x="50" y="30" width="30" height="60" fill="#084"/>',
    "white": '<rect x="10" y="10" width="80" height="80"/><circle cx="50" cy="50" r="25" fill="white"/>'
    '<path d="M20 20H80" stroke="white" stroke-width="4"/>',
    "white on two": '<rect y="20" x="10" width="40" height="60" fill="red"/><rect y="20" x="50" width="40" height="60" '
    'fill="blue"/><rect x="30" y="40" width="40" height="20" fill="white"/>',
    "winding": f'<path d="{STAR}"/>',
    "hourglass": '<path d="M10 50H90" stroke="red"/><path d="M20 20L80 80V20L20 80Z" fill="navy"/>',
    "even-odd": f'<path d="{STAR}" fill-rule="evenodd"/>',
    "clip": '<clipPath id="c"><circle cx="40" cy="40" r="25"/><rect x="50" y="50" width="30" height="30"/></clipPath>'
    f'<g clip-path="url(#c)"><path d="{STAR}" fill="navy"/><path d="M0 45H100" stroke="red"/></g>',
    "clip of a clip": '<clipPath id="d"><rect x="0" y="0" width="45" height="100"/></clipPath>'
    f'<clipPath id="c" clip-path="url(#d)"><path d="{STAR}" clip-rule="evenodd"/></clipPath>'
    '<rect x="10" y="10" width="80" height="80" clip-path="url(#c)"/>',
    "clip by box": '<clipPath id="c" clipPathUnits="objectBoundingBox"><circle cx=".5" cy=".5" r=".4"/></clipPath>'
    '<g clip-path="url(#c)"><rect x="20" y="30" width="60" height="20"/>'
    '<rect x="20" y="55" width="30" height="30"/></g>',
    "mask": '<mask id="m"><rect width="100" height="100" fill="white"/><circle cx="50" cy="50" r="15"/></mask>'
    '<rect x="20" y="20" width="60" height="60" mask="url(#m)"/>',
    "viewport": '<svg x="20" y="20" width="50" height="50"><circle cx="50" cy="25" r="30" fill="green"/></svg>',
    "markers": '<marker id="a" viewBox="0 0 10 10" refX="5" refY="5" markerWidth="5" markerHeight="5" orient="auto">'
    '<path d="M0 0L10 5L0 10z" fill="context-stroke"/></marker><path d="M15 80L40 20Q70 10 80 70" fill="none" '
    'stroke="red" stroke-width="2" marker-start="url(#a)" marker-mid="url(#a)" marker-end="url(#a)"/>',
    "pattern": '<pattern id="p" width="12" height="12" patternUnits="userSpaceOnUse" patternTransform="rotate(20)">'
    '<circle cx="5" cy="5" r="3" fill="teal"/></pattern><circle cx="50" cy="50" r="35" fill="url(#p)"/>',
    "opacity": '<g opacity=".5"><rect x="10" y="10" width="50" height="50"/><circle cx="60" cy="60" r="25" fill="red"/>'
    '</g><rect x="40" y="20" width="50" height="20" fill="blue" opacity=".5"/>',
    "open": '<path d="M10 10H80V80" fill="#0a0" stroke="red"/>',
    "hard stop": '<linearGradient id="g" gradientTransform="rotate(30)"><stop offset=".4" stop-color="red"/>'
    '<stop offset=".4" stop-color="blue"/></linearGradient><circle cx="50" cy="50" r="40" fill="url(#g)"/>',
    "repeated": '<linearGradient id="g" x2=".3" spreadMethod="repeat"><stop stop-color="#048"/>'
    '<stop offset="1" stop-color="#08f"/></linearGradient><rect x="10" y="10" width="80" height="80" fill="url(#g)"/>',
    "repeated rings": '<radialGradient id="g" r=".2" fx=".4" spreadMethod="repeat"><stop stop-color="#048"/><stop '
    'offset="1" stop-color="#08f"/></radialGradient><rect x="10" y="20" width="80" height="60" fill="url(#g)"/>',
    "reflected": '<linearGradient id="g" x2=".4" spreadMethod="reflect"><stop offset=".5" stop-color="#800"/><stop '
    'offset=".5" stop-color="#08f"/></linearGradient><rect x="10" y="10" width="80" height="80" fill="url(#g)"/>',
    "fading": '<linearGradient id="g"><stop stop-color="navy"/><stop offset=".5" stop-color="navy" stop-opacity="0"/>'
    '</linearGradient><rect x="10" y="10" width="80" height="80" fill="url(#g)"/>',
    "soft mask": '<linearGradient id="g"><stop offset=".3" stop-color="white"/><stop offset=".4"/></linearGradient>'
    '<mask id="m"><rect width="100" height="100" fill="url(#g)"/></mask><path d="M0 20H100" stroke="red" '
    'mask="url(#m)"/><rect x="10" y="30" width="80" height="60" mask="url(#m)"/>',
    "light on dark": '<rect x="10" y="10" width="80" height="80" fill="#024"/>'
    '<circle cx="50" cy="50" r="20" fill="white" opacity=".5"/>',
    "yellow": '<circle cx="50" cy="50" r="20" fill="yellow"/>',
    "pattern that goes on": '<pattern id="p" width="20" height="20" patternUnits="userSpaceOnUse"><rect width="20" '
    'height="20" fill="#a40"/><path d="M0 10H16V30" fill="#048"/></pattern><circle cx="50" cy="50" r="35" '
    'fill="url(#p)"/>',
    "pattern of a line": '<pattern id="p" width="10" height="10" patternUnits="userSpaceOnUse"><rect width="5" '
    'height="5" fill="#a40"/></pattern><circle cx="50" cy="50" r="30" fill="none" stroke="url(#p)" '
    'stroke-width="14"/>',
    "markers of shapes": '<marker id="a" refX="2" refY="2" markerWidth="4" markerHeight="4"><rect width="4" height="4" '
    'fill="red"/></marker><g fill="none" stroke="#048" marker-start="url(#a)" marker-mid="url(#a)"><circle cx="30" '
    'cy="30" r="20"/><rect x="60" y="10" width="30" height="40"/><ellipse cx="50" cy="75" rx="40" ry="15"/></g>',
    "markers first": '<marker id="a" refX="3" refY="3" markerWidth="6" markerHeight="6"><circle cx="3" cy="3" r="3" '
    'fill="red"/></marker><path d="M20 20H80V80H20Z" fill="#048" marker-start="url(#a)" marker-mid="url(#a)" '
    'stroke="#000" paint-order="markers"/>',
    "one colour": '<g fill="#456"><circle cx="35" cy="50" r="20"/><circle cx="60" cy="45" r="22"/><rect x="20" y="50" '
    'width="60" height="20"/></g><path d="M30 60H70M60 30V90" stroke="#456"/><rect x="80" y="50" width="10" '
    'height="10" fill="#456"/>',
    "seen through on one colour": '<rect x="20" y="40" width="60" height="20" fill="green"/><circle cx="50" cy="50" '
    'r="25" fill-opacity=".5" stroke="green"/>',
    "box of what is hidden": '<clipPath id="c" clipPathUnits="objectBoundingBox"><circle cx=".5" cy=".5" r=".4"/>'
    '</clipPath><g clip-path="url(#c)"><rect x="10" y="10" width="80" height="80" opacity="0"/><g visibility="hidden">'
    '<path d="M5 20H20"/></g><rect x="30" y="30" width="60" height="60" fill="#a40"/></g>',
    "one gradient": '<linearGradient id="g" gradientUnits="userSpaceOnUse" x2="100"><stop stop-color="#048"/>'
    '<stop offset="1" stop-color="#a40"/></linearGradient><g fill="url(#g)" stroke="url(#g)"><rect x="20" y="20" '
    'width="50" height="50"/><circle cx="60" cy="60" r="25"/></g>',
    "mask of a mask": '<mask id="m"><rect width="100" height="100" fill="#777"/></mask><mask id="n"><rect width="60" '
    'height="100" fill="white" mask="url(#m)"/></mask><rect x="20" y="20" width="60" height="60" mask="url(#n)"/>',
    "markers in per cent": '<marker id="a" refX="4%" refY="10%" markerWidth="10%" markerHeight="20%"><path '
    'd="M0 0H8V18Z" fill="red"/></marker><path d="M30 40H70" stroke="#048" marker-start="url(#a)"/>',
    "road": '<g fill="none"><path d="M-10 60Q40 10 110 40" stroke="#222" stroke-width="6"/>'
    '<path d="M-10 60Q40 10 110 40" stroke="white" stroke-width="5"/></g>',
}  # fmt: skip


@pytest.mark.parametrize("name", LOOKS)
def test_what_is_seen_is_drawn_and_nothing_else(name: str) -> None:
    body = LOOKS[name]
    # Half of the widest line drawn as one stroke, and four pixels (0.8 mm) for both rasters and their smoothing.
    widest_mm = 2.0 if name == "markers" else 1.0
    edges, lines = lone_px(read(body), body, near_px=widest_mm / 2 * PX_PER_MM + 4)
    # Fading paint has no exact end.
    most_px = 60 if name in ("fading", "soft mask") else 0
    assert max(edges, lines) <= most_px


def test_the_comparison_notices_what_is_hidden() -> None:
    body = LOOKS["covered"]
    _, lines = lone_px(read(body, wish=Wish(fit="keep", see_through=True)), body, near_px=7)
    assert lines > 100


WHOLE = (
    '<clipPath id="sky"><path d="M5 5H95V60Q50 45 5 60Z"/></clipPath><linearGradient id="g" x2="0" y2="1"><stop '
    'offset=".5" stop-color="#48a"/><stop offset=".5" stop-color="#a40"/></linearGradient><pattern id="p" width="10" '
    'height="10" patternUnits="userSpaceOnUse"><circle cx="5" cy="5" r="3" fill="teal"/></pattern><g '
    'clip-path="url(#sky)"><circle cx="75" cy="55" r="25" fill="url(#g)"/><path d="M0 30H100" stroke="navy" '
    'stroke-dasharray="12 8"/></g><path d="M10 65H90L75 90H25Z" fill="url(#p)" stroke="#000"/><rect x="20" y="10" '
    'width="25" height="70" fill="#ccc"/><path d="M32 10V75" stroke="red" stroke-width="1"/><circle cx="32" cy="40" '
    'r="8" fill="white"/><text x="52" y="30" font-size="18" font-family="DejaVu Sans">SEA</text>'
)


@pytest.mark.parametrize("side_mm", [10.0, 148.0, 420.0])
def test_a_whole_picture_looks_the_same_at_every_size(side_mm: float) -> None:
    words = TextStyle(outlines=True, fonts=(FONT,))
    picture = read(WHOLE, wish=Wish(room_mm=(side_mm, side_mm), words=words))
    fonts = {"font_files": [FONT], "skip_system_fonts": True, "font_family": "DejaVu Sans"}
    across_px = 500
    # Half of the widest line and four pixels for both rasters; what is shorter than a third of a pen is not drawn.
    near_px = 4 + 0.5 * across_px / 100 + Wish().pen_width_mm / 3 * across_px / side_mm
    assert picture.width_mm == pytest.approx(side_mm)
    assert lone_px(picture, WHOLE, near_px=near_px, across_px=across_px, **fonts) == (0, 0)


@pytest.mark.parametrize("side_mm", [10.0, 148.0, 420.0])
@pytest.mark.parametrize("size", ["24", "2000mm"])
def test_curves_are_as_round_on_the_sheet_whatever_the_file_calls_its_size(side_mm: float, size: str) -> None:
    body = '<circle cx="12" cy="12" r="10" fill="none" stroke="black"/>'
    attributes = f'width="{size}" height="{size}" viewBox="0 0 24 24"'
    picture = read(body, attributes, wish=Wish(room_mm=(side_mm, side_mm)))
    assert picture.width_mm == pytest.approx(side_mm)
    points = picture.drawing.stroke(0) - side_mm / 2
    middles = np.hypot(*((points[1:] + points[:-1]) / 2).T)
    radius = side_mm * 10 / 24
    assert radius - middles.min() <= 0.02 + 1e-9
    # The number of chords is not above what the tolerance needs: h = 4 asin(sqrt(tolerance / 2r)).
    assert len(points) - 1 <= np.ceil(2 * np.pi / (4 * np.arcsin(np.sqrt(0.02 / (2 * radius))))) + 1


# ---------------------------------------------------------------- what is covered, by properties


boxes = st.tuples(
    *[st.integers(0, 20)] * 2, *[st.integers(1, 12)] * 2, st.sampled_from(["red", "blue", "white", "none"])
)


@settings(max_examples=40, deadline=None)
@given(st.lists(boxes, min_size=1, max_size=6), st.integers(0, 5))
def test_a_line_is_drawn_where_no_later_box_covers_it(shapes: list, at: int) -> None:
    at = min(at, len(shapes))
    line = '<path d="M1 2L31 29" stroke="#123456"/>'
    drawn = [f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{f}"/>' for x, y, w, h, f in shapes]
    body = "".join([*drawn[:at], line, *drawn[at:]])
    covers = [shapely.box(x, y, x + w, y + h) for x, y, w, h, f in shapes[at:] if f != "none"]
    expected = shapely.difference(shapely.linestrings([(1, 2), (31, 29)]), shapely.union_all(covers))
    try:
        picture = read(body)
    except SourceError:
        assert expected.length < 1.0
        return
    # A third of the pen's width (0.17 mm) is not worth a lift, at each of few cuts.
    assert length(picture, "#123456") == pytest.approx(expected.length, abs=0.2 * (1 + 2 * len(covers)))
    for stroke in strokes(picture, "#123456"):
        inside = shapely.intersection(shapely.linestrings(stroke), shapely.union_all(covers))
        assert inside.length <= 0.2 * (1 + len(covers))


def test_touching_edges() -> None:
    square = '<rect x="20" y="20" width="40" height="40" fill="{}"/>'
    # The same place twice: the upper shape is visible.
    both = read(square.format("red") + square.format("blue"))
    assert [pen.colour for pen in both.drawing.pens] == ["#0000ff"]
    # Side by side: each keeps its edge except the shared part, which the later one draws.
    beside = read(square.format("red") + '<rect x="60" y="20" width="20" height="40" fill="blue"/>')
    assert length(beside, "#0000ff") == pytest.approx(120)
    assert length(beside, "#ff0000") == pytest.approx(120)
    # A line along the edge of white is half visible, and stays.
    along = read('<path d="M20 10V70" stroke="red"/>' + square.format("white"))
    assert length(along) == pytest.approx(60)


def test_an_edge_along_which_a_later_line_runs_is_not_drawn_below_it() -> None:
    square = '<rect x="20" y="20" width="40" height="40" fill="red"/>'
    sides = '<path d="M20 20H60V60" fill="none" stroke="blue" {}/>'
    two_sides = sides.format("")

    def red(line: str, filled: str = square, **options) -> float:
        return length(read(filled + line, **options), "#ff0000")

    assert red(two_sides) == pytest.approx(80)
    assert red(sides.format('stroke-dasharray="4 4"')) == pytest.approx(120, abs=2)
    # Transparent shapes, distant shapes, and shapes that only cross or were painted earlier hide nothing.
    assert red(sides.format('stroke-opacity=".4"')) == pytest.approx(160)
    assert red('<path d="M20 19.5H60" stroke="blue"/>') == pytest.approx(160)
    assert red('<path d="M40 0V90M0 30L90 40" stroke="blue"/>') == pytest.approx(160)
    assert length(read(two_sides + square), "#ff0000") == pytest.approx(160)
    assert red(two_sides, wish=Wish(fit="keep", see_through=True)) == pytest.approx(160)
    # If a clip removes the line, the edge is drawn.
    clip = '<clipPath id="c"><rect width="100" height="40"/></clipPath>'
    assert red(clip + sides.format('clip-path="url(#c)"')) == pytest.approx(100)
    # Differently flattened curves count as the same curve.
    disc = '<circle cx="50" cy="50" r="30" fill="red"/>'
    arc = '<path d="M24.02 65A30 30 0 1 1 75.98 65" fill="none" stroke="blue"/>'
    assert red(arc, disc) == pytest.approx(np.pi * 20, rel=0.02)


def test_a_cut_stroke_that_crosses_itself_stays_one() -> None:
    body = '<path d="M10 50H90V20L30 80" fill="none" stroke="red"/><rect x="40" y="10" width="5" height="20"/>'
    assert len(strokes(read(body), "#ff0000")) == 1


def test_tangles_are_bounded_and_the_rest_is_as_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    points = " ".join(f"{50 + 40 * np.cos(2.4 * i):.3f},{50 + 40 * np.sin(2.4 * i):.3f}" for i in range(60))
    square = '<rect x="2" y="2" width="4" height="4" fill="blue"/>'
    body = f'<polygon points="{points}"/><polygon points="{points}" fill="red"/>{square}'
    whole = read(body)
    assert whole.warnings == ()
    # In portions as large as one stroke the picture is the same.
    monkeypatch.setattr(sight, "_PAIRS_AT_A_TIME", 1)
    monkeypatch.setattr(edges, "_PAIRS_AT_A_TIME", 1)
    assert length(read(body)) == pytest.approx(length(whole))
    monkeypatch.setattr(edges, "_MOST_PAIRS", 100)
    monkeypatch.setattr(sight, "_MOST_PAIRS", 100)
    bounded = read(body)
    assert all(
        word in note for word, note in zip(("cross themselves", "shapes overlap"), bounded.warnings, strict=True)
    )
    outline = length(read(f'<polygon points="{points}" fill="none" stroke="red"/>'))
    assert length(bounded, "#ff0000") == pytest.approx(outline, rel=0.02)
    assert length(bounded, "#000000") == pytest.approx(outline, rel=0.02)
    assert length(bounded, "#0000ff") == pytest.approx(length(whole, "#0000ff"))


def test_see_through_keeps_all_and_white() -> None:
    body = '<path d="M0 50H100" stroke="red"/><rect x="10" y="10" width="80" height="80" fill="white"/>'
    assert length(read(body)) == pytest.approx(20)
    kept = read(body, wish=Wish(fit="keep", see_through=True))
    assert [pen.colour for pen in kept.drawing.pens] == ["#ff0000", "#ffffff"]
    assert length(kept, "#ff0000") == pytest.approx(100)
    with pytest.raises(SourceError, match="nothing to draw") as caught:
        read('<circle r="9" cx="50" cy="50" fill="white"/>')
    assert "--see-through" in caught.value.hint


def test_a_translucent_group_hides_within_itself_and_not_what_is_below() -> None:
    body = (
        '<path d="M0 50H100" stroke="red"/><g opacity=".4"><path d="M0 60H100" stroke="blue"/>'
        '<rect x="10" y="10" width="80" height="80"/></g>'
    )
    picture = read(body)
    assert length(picture, "#ff0000") == pytest.approx(100)
    assert length(picture, "#0000ff") == pytest.approx(20)


# ---------------------------------------------------------------- fillings


def inked_share(picture: Picture, box: tuple[float, float, float, float], pen_mm: float) -> float:
    """Share of a box that strokes of this width cover."""
    x0, y0, x1, y1 = box
    lines = shapely.union_all([shapely.linestrings(s) for s in picture.drawing if len(s) > 1])
    return float(
        shapely.intersection(shapely.buffer(lines, pen_mm / 2), shapely.box(*box)).area / ((x1 - x0) * (y1 - y0))
    )


def test_solid_is_solid() -> None:
    picture = read('<rect x="10" y="10" width="20" height="20"/>', hatching=FillHatching(0.5))
    assert inked_share(picture, (10, 10, 30, 30), 0.5) > 0.9999


@pytest.mark.parametrize("opacity", [0.2, 0.5, 0.7])
def test_opacity_is_tone(opacity: float) -> None:
    body = f'<rect x="10" y="10" width="60" height="60" opacity="{opacity}"/>'
    picture = read(body, hatching=FillHatching(0.5))
    assert inked_share(picture, (15, 15, 65, 65), 0.5) == pytest.approx(opacity, abs=0.03)


def test_a_gradient_is_tone_that_changes() -> None:
    body = (
        '<linearGradient id="g"><stop stop-color="white"/><stop offset="1"/></linearGradient>'
        '<rect x="0" y="0" width="100" height="60" fill="url(#g)"/>'
    )
    picture = read(body, hatching=FillHatching(0.5))
    for x in (15, 35, 55, 75):
        assert inked_share(picture, (x, 10, x + 10, 50), 0.5) == pytest.approx((x + 5) / 100, abs=0.05)


def test_two_inks_of_a_gradient_take_turns() -> None:
    body = (
        '<radialGradient id="g"><stop stop-color="red"/><stop offset="1" stop-color="blue"/></radialGradient>'
        '<circle cx="50" cy="50" r="40" fill="url(#g)"/>'
    )
    picture = read(body, hatching=FillHatching(0.5))
    reds, blues = (np.concatenate(strokes(picture, colour)) for colour in ("#ff0000", "#0000ff"))
    assert np.hypot(*(reds - 50).T).mean() < np.hypot(*(blues - 50).T).mean()


def test_a_wide_line_is_filled_at_its_width() -> None:
    body = '<path d="M20 50H80" stroke="black" stroke-width="5"/>'
    picture = read(body, hatching=FillHatching(0.5))
    assert inked_share(picture, (20, 47.5, 80, 52.5), 0.5) > 0.999
    low, high = picture.drawing.points_mm.min(axis=0), picture.drawing.points_mm.max(axis=0)
    # The edge of the ink is the edge of the line: the pen's middle stays half its width inside.
    np.testing.assert_allclose([*low, *high], [20.25, 47.75, 79.75, 52.25], atol=0.01)
    assert len(read(body).drawing) == 1


# ---------------------------------------------------------------- words, photographs, layers, pages


def test_words_stand_at_their_place_and_size() -> None:
    picture = read('<text x="20" y="50" font-size="10">HIH</text>')
    low, high = picture.drawing.points_mm.min(axis=0), picture.drawing.points_mm.max(axis=0)
    assert high[1] == pytest.approx(50, abs=0.01)
    assert high[1] - low[1] == pytest.approx(7, abs=0.01)  # a capital: 0.7 em
    assert 20 < low[0] < 21.5
    right = read('<text x="80" y="50" font-size="10" text-anchor="end">HIH</text>').drawing.points_mm.max(axis=0)
    middle = read('<text x="50" y="50" font-size="10" text-anchor="middle">HIH</text>').drawing.points_mm
    assert 78.5 < right[0] < 80
    assert (middle[:, 0].min() + middle[:, 0].max()) / 2 == pytest.approx(50, abs=0.01)


def test_spans_have_their_own_paint_and_place() -> None:
    picture = read(
        '<text x="10" y="30" font-size="8">a<tspan fill="red" dy="20">b</tspan><tspan x="60">c</tspan></text>'
    )
    red = np.concatenate(strokes(picture, "#ff0000"))
    black = np.concatenate(strokes(picture, "#000000"))
    # Round letters reach a little below the base line.
    assert red[:, 1].max() == pytest.approx(50, abs=0.1)
    assert black[:, 0].max() > 60


def test_words_run_along_a_path() -> None:
    body = (
        '<defs><path id="p" d="M50 20A30 30 0 0 1 50 80"/></defs>'
        '<text font-size="6"><textPath href="#p">oooooooo</textPath></text>'
    )
    points = read(body).drawing.points_mm - 50
    radius = np.hypot(*points.T)
    assert radius.min() > 29.9
    assert radius.max() < 36


def test_spacing_and_length() -> None:
    def width(attributes: str) -> float:
        points = read(f'<text x="10" y="50" font-size="6" {attributes}>two oxen</text>').drawing.points_mm
        return float(np.ptp(points[:, 0]))

    plain = width("")
    assert width('letter-spacing="1"') == pytest.approx(plain + 7)
    assert width('word-spacing="4"') == pytest.approx(plain + 4)
    assert width('textLength="70"') == pytest.approx(70, abs=1.5)


WRITTEN = {
    "plain": '<text x="10" y="50" font-size="20">Heron</text>',
    "anchored and spaced": '<text x="90" y="50" font-size="9" text-anchor="end" letter-spacing="2">tidal <tspan '
    'fill="red" dy="12" font-size="14">QUAY</tspan></text>',
    "leftward": '<text x="15" y="50" font-size="18">\u0645\u064a\u0646\u0627\u0621 2026</text>',
    "along a path": '<path id="p" d="M10 70Q50 10 90 70" fill="none"/><text font-size="12"><textPath href="#p" '
    'startOffset="50%" text-anchor="middle">harbour</textPath></text>',
    "spaced along a path": '<path id="p" d="M10 70Q50 10 90 70" fill="none"/><text font-size="12" letter-spacing="8">'
    '<textPath href="#p" x="30">tide</textPath></text>',
    "turned with their marks": '<text x="20" y="50" font-size="20" rotate="20 -10">a\u0323o\u0323</text>',
    "downward within a line": '<text x="10" y="50" font-size="14"><tspan writing-mode="tb">Ferry</tspan></text>',
    "length of one of two": '<text textLength="300" font-size="12"><tspan x="10" y="30" textLength="70">ebb</tspan>'
    '<tspan x="10" y="60">flow</tspan></text>',
    "downward, two ways": '<text x="50" y="10" font-size="12" writing-mode="tb">Tar \u0645\u0631\u062d</text>',
    "downward": '<text x="50" y="10" font-size="14" writing-mode="tb">Ferry</text>',
    "underlined": '<text x="10" y="50" font-size="16" text-decoration="underline" stroke="red" fill="none">Tar</text>',
}


@pytest.mark.parametrize("name", WRITTEN)
def test_outlines_of_a_font_lie_where_a_renderer_puts_them(name: str) -> None:
    body = f'<g font-family="DejaVu Sans">{WRITTEN[name]}</g>'
    picture = read(body, wish=Wish(fit="keep", words=TextStyle(outlines=True, fonts=(FONT,))))
    fonts = {"font_files": [FONT], "skip_system_fonts": True, "font_family": "DejaVu Sans"}
    # Three pixels (0.6 mm) for both rasters, whose edges are two pixels wide; for the last one also half the width of
    # its line at a mitred corner of 90 degrees.
    near_px = 3 + (0.5 * PX_PER_MM * 2**0.5 if name == "underlined" else 0)
    assert lone_px(picture, body, near_px=near_px, **fonts) == (0, 0)


@pytest.mark.parametrize("outlines", [False, True])
def test_words_as_a_clip_show_what_is_clipped_and_nothing_else(outlines: bool) -> None:
    words = '<text x="10" y="60" font-size="40" font-family="DejaVu Sans">HUL</text>'
    inside = '<rect width="60" height="100" fill="#c00"/><rect x="60" width="40" height="100" fill="#c00"/>'
    whole = f'<clipPath id="c" clip-path="url(#d)">{words}</clipPath><clipPath id="d"><rect width="100" height="50"/>'
    body = f'{whole}</clipPath><g clip-path="url(#c)">{inside}</g>'
    picture = read(body, wish=Wish(fit="keep", words=TextStyle(outlines=outlines, fonts=(FONT,))))
    assert {pen.colour for pen in picture.drawing.pens} == {"#cc0000"}
    fonts = {"font_files": [FONT], "skip_system_fonts": True, "font_family": "DejaVu Sans"}
    assert lone_px(picture, body, near_px=3, **fonts) == (0, 0)


@pytest.mark.parametrize("kind", ["clip", "mask"])
def test_words_of_a_clip_or_a_mask_are_no_part_of_the_box_around(kind: str) -> None:
    name = {"clip": "clipPath", "mask": "mask"}[kind]
    effect = {"clip": "clip-path", "mask": "mask"}[kind]
    whole = f'<{name} id="c"><text x="0" y="95" font-size="90" fill="white">HULL</text></{name}>'
    half = '<clipPath id="h" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
    body = f'<g clip-path="url(#h)"><rect x="10" y="40" width="40" height="40" fill="red" {effect}="url(#c)"/></g>'
    wish = Wish(fit="keep", words=TextStyle(outlines=True, fonts=(FONT,)))
    # The box is the rectangle's, 10 to 50 mm, and half of it ends at 30 mm.
    assert read(whole + half + body, wish=wish).drawing.points_mm[:, 0].max() <= 30.001


def test_words_of_another_font_lie_around_the_middle_of_their_own_letters() -> None:
    """CSS Writing Modes 4, section 4.2: letters of all fonts share the central base line, each by its own heights."""
    other = str(Path(FONT).with_name("STIXGeneral.ttf"))  # has no Arabic, and different heights
    wish = Wish(fit="keep", words=TextStyle(outlines=True, fonts=(other, FONT)))
    arabic = "\u0645\u0631\u062d"
    ends = []
    for family, text in (("DejaVu Sans", arabic), ("STIXGeneral", f"T{arabic}")):
        body = f'<text x="50" y="10" font-size="14" font-family="{family}" writing-mode="tb">{text}</text>'
        strokes = [points_mm[:, 0] for points_mm in read(body, wish=wish).drawing]
        letters = strokes if text == arabic else strokes[1:]
        ends.append((min(x.min() for x in letters), max(x.max() for x in letters)))
    assert ends[0] == pytest.approx(ends[1], abs=0.02)


def test_overridden_letters_go_one_way() -> None:
    body = '<text x="90" y="50" font-size="20" direction="rtl" unicode-bidi="bidi-override">Il</text>'
    plain = '<text x="90" y="50" font-size="20" text-anchor="end">lI</text>'
    wish = Wish(fit="keep", words=TextStyle(outlines=True, fonts=(FONT,)))
    one, other = read(body, wish=wish), read(plain, wish=wish)
    assert one.drawing.points_mm == pytest.approx(other.drawing.points_mm, abs=0.01)


def test_a_family_that_is_missing_is_named_once_and_one_that_is_there_is_not() -> None:
    wish = Wish(words=TextStyle(outlines=True, fonts=(FONT,)))
    body = '<text y="20" font-family="Quay, Pier">Heron</text><text y="40" font-family="Quay, Pier">Tern</text>'
    (note,) = read(body, wish=wish).warnings
    assert "no font 'Quay, Pier'" in note
    assert read('<text y="20" font-family="Quay, DejaVu Sans">Heron</text>', wish=wish).warnings == ()


def test_colours_of_a_font_are_named(tmp_path: Path) -> None:
    builder = FontBuilder(1000)
    builder.setupGlyphOrder([".notdef", "H", "I"])
    builder.setupCharacterMap({ord("H"): "H", ord("I"): "I"})
    pen = TTGlyphPen(None)
    for point, move in (((100, 0), pen.moveTo), ((500, 0), pen.lineTo), ((300, 700), pen.lineTo)):
        move(point)
    pen.closePath()
    builder.setupGlyf(dict.fromkeys((".notdef", "H", "I"), pen.glyph()))
    builder.setupHorizontalMetrics(dict.fromkeys((".notdef", "H", "I"), (600, 100)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Buoy", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    builder.setupCOLR({"H": [("I", 0)]})
    builder.setupCPAL([[(1.0, 0.0, 0.0, 1.0)]])
    builder.save(tmp_path / "buoy.ttf")
    wish = Wish(words=TextStyle(outlines=True, fonts=(str(tmp_path / "buoy.ttf"),)))
    (note,) = read('<text y="20" font-family="Buoy">H</text>', wish=wish).warnings
    assert "colour font" in note
    assert read('<text y="20" font-family="Buoy">I</text>', wish=wish).warnings == ()


def test_a_font_that_is_none_is_refused(tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.ttf"
    damaged.write_bytes(Path(FONT).read_bytes()[:3000])
    for place in (str(damaged), str(tmp_path / "missing.ttf")):
        with pytest.raises(InputError, match="font"):
            read(WRITTEN["plain"], wish=Wish(words=TextStyle(outlines=True, fonts=(place,))))


def test_a_hull_becomes_its_centre_line_and_dots_stay_solid(tmp_path: Path) -> None:
    path = tmp_path / "face.svg"
    ring = "M50 10a40 40 0 1 0 0 80 40 40 0 0 0 0-80zm0 5a35 35 0 1 1 0 70 35 35 0 0 1 0-70z"
    path.write_bytes(svg(f'<path d="{ring}"/><circle cx="40" cy="45" r="3"/>'))
    picture = CentreLines().read(str(path), Wish(fit="keep"))
    longest = max(picture.drawing, key=len)
    radius = np.hypot(*(longest - 50).T)
    assert 37.2 < radius.min() <= radius.max() < 37.8
    assert (longest[0] == longest[-1]).all()
    assert inked_share(picture, (38.5, 43.5, 41.5, 46.5), 0.5) > 0.999
    assert any("centre-lines" in warning for warning in read_svg(path).warnings)


def test_centre_lines_have_the_corners_dashes_and_short_legs_of_the_hulls(tmp_path: Path) -> None:
    path = tmp_path / "hulls.svg"

    def lines(body: str) -> list[np.ndarray]:
        path.write_bytes(svg(body))
        return list(CentreLines().read(str(path), Wish(fit="keep")).drawing)

    # Corners at the bar are sharp; round outer corners stay round.
    (corner,) = lines('<path d="M10 10h4v36h26v4h-30z"/>')
    assert np.hypot(*(corner - (12, 48)).T).min() < 0.2
    (ring,) = lines('<path fill-rule="evenodd" d="M20 20h40v60h-40zM23 23v54h34v-54z"/>')
    for at in ((21.5, 21.5), (58.5, 21.5), (58.5, 78.5), (21.5, 78.5)):
        assert np.hypot(*(ring - at).T).min() < 0.2
    (bend,) = lines('<path d="M10 10h20a15 15 0 0 1 15 15v30h-4v-30a11 11 0 0 0-11-11h-20z"/>')
    away = shapely.distance(
        shapely.linestrings(bend), shapely.points(30 + 13 * np.sin(np.pi / 4), 25 - 13 * np.sin(np.pi / 4))
    )
    assert away < 0.15
    # A dash as wide as the lines beside it is a line; a dot is not, nor is a dash alone.
    beside = '<rect x="10" y="10" width="80" height="4" rx="2"/>'
    dash, dot = '<rect x="40" y="40" width="8" height="4" rx="2"/>', '<circle cx="60" cy="60" r="2"/>'
    assert [np.ptp(stroke[:, 1]) < 0.4 for stroke in lines(beside + dash)] == [True, True]
    assert sum(map(len, lines(beside + dot))) > 20
    assert sum(map(len, lines(dash))) > 10
    # A short leg counts by the width of the lines, and not by where they meet.
    leg = '<path d="M10 10h60v4h-28v4a2 2 0 0 1-4 0v-4h-28z"/>'
    assert max(stroke[:, 1].max() for stroke in lines(leg)) > 17


def test_rules_cost_what_elements_alike_cost_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    matches = cascade._matches
    monkeypatch.setattr(cascade, "_matches", lambda *given: calls.append(1) or matches(*given))
    body = "<style>" + "path{stroke:red}" * 300 + ".a{stroke:blue}</style>" + '<path d="M0 5h9" class="a"/>' * 400
    assert read(body).drawing.pens[0].colour == "#0000ff"
    # The svg, the style and the paths, twice each: for usual and for important declarations.
    assert len(calls) <= 6


def test_what_nothing_has_a_letter_for_is_named() -> None:
    picture = read('<text x="10" y="50" font-size="9">a\U0001f99a\u0e01</text>')
    assert len(picture.drawing) >= 1
    assert all("there is no letter for" in warning for warning in picture.warnings)


def test_hidden_layers_stay_hidden_and_layers_are_picked() -> None:
    body = (
        '<g id="sea"><path d="M0 10H50" stroke="blue"/></g><g id="masts" style="display:none">'
        '<path d="M0 20H50" stroke="red"/></g><path d="M0 30H50" stroke="green"/>'
    )
    assert [pen.name for pen in read(body).drawing.pens] == ["blue", "green"]
    for wanted in (("masts",), ("2",)):
        picked = read(body, wish=Wish(fit="keep", layers=wanted))
        assert [pen.name for pen in picked.drawing.pens] == ["red"]
    with pytest.raises(SourceError, match="no layer 'keel'") as caught:
        read(body, wish=Wish(layers=("keel",)))
    assert "1 sea, 2 masts" in caught.value.hint


def test_pages_by_number() -> None:
    body = '<view id="b" viewBox="100 0 50 50"/><path d="M0 10H50" stroke="blue"/><path d="M100 20h50" stroke="red"/>'
    attributes = 'width="200mm" height="100mm" viewBox="0 0 200 100"'
    first = read(body, attributes)
    assert any("--page 2" in warning for warning in first.warnings)
    second = read(body, attributes, wish=Wish(fit="keep", page=2))
    assert (second.width_mm, second.height_mm) == pytest.approx((50, 50))
    assert [pen.name for pen in second.drawing.pens] == ["red"]
    with pytest.raises(SourceError, match="no page 3"):
        read(body, attributes, wish=Wish(page=3))


def test_an_embedded_photograph_lies_in_its_place() -> None:
    grey = Image.fromarray((np.linspace(0, 255, 120 * 80).reshape(80, 120) % 256).astype(np.uint8))
    kept = io.BytesIO()
    grey.save(kept, "PNG")
    data = base64.b64encode(kept.getvalue()).decode()
    body = f'<image x="30" y="20" width="60" height="40" href="data:image/png;base64,{data}"/>'
    low, high = (f(read(body).drawing.points_mm, axis=0) for f in (np.min, np.max))
    assert (low >= [29.7, 19.7]).all()
    assert (high <= [90.3, 60.3]).all()
    assert (high - low > [50, 30]).all()
    damaged = read(body.replace(data, "AAAA") + '<path d="M0 0h5" stroke="red"/>')
    assert "no picture" in damaged.warnings[0]


# ---------------------------------------------------------------- style sheets and entities


def test_an_image_in_a_mask_lets_through_where_it_is_light() -> None:
    y, x = np.mgrid[:40, :40]
    disc = np.where(np.hypot(x - 19.5, y - 19.5) < 12, 255, 0).astype(np.uint8)
    data = io.BytesIO()
    Image.fromarray(disc).save(data, "PNG")
    link = "data:image/png;base64," + base64.b64encode(data.getvalue()).decode()
    body = (
        f'<mask id="m" maskUnits="userSpaceOnUse" width="100" height="100"><image x="20" y="40" width="40" height="40" '
        f'href="{link}"/></mask><rect width="100" height="100" mask="url(#m)"/>'
    )
    picture = read(body)
    radius = np.hypot(*(picture.drawing.points_mm - (40, 60)).T)
    assert radius == pytest.approx(12, abs=1.0)  # a pixel is 1 mm
    assert length(picture) == pytest.approx(2 * np.pi * 12, rel=0.1)
    assert "image in a mask" in picture.warnings[0]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ('<radialGradient id="g" fx="2"><stop/><stop offset="1" stop-color="red"/></radialGradient>', "focus"),
        ('<radialGradient id="g" fr="-1"><stop/><stop offset="1" stop-color="red"/></radialGradient>', "negative"),
        ('<pattern id="g" width="1" height="1" patternTransform="scale(0)"><path d="M0 0H5"/></pattern>', "squeezed"),
    ],
)
def test_paint_that_is_not_drawn_is_named(body: str, word: str) -> None:
    picture = read(f'{body}<rect width="50" height="50" fill="url(#g)" stroke="#000"/>')
    assert any(word in note for note in picture.warnings)


def test_an_invalid_declaration_does_not_undo_the_valid_one_before() -> None:
    for later in ("stroke:lab(1 2", "stroke:color(nonsense 1 0 0)", "stroke:12", "stroke-width:-; stroke:"):
        picture = read(f'<path d="M0 5h9" style="stroke:red;{later}"/>')
        assert picture.drawing.pens[0].colour == "#ff0000"
    sheet = "<style>path{stroke:#00f;stroke:oklch(nope)}</style>"
    assert read(sheet + '<path d="M0 5h9"/>').drawing.pens[0].colour == "#0000ff"


@pytest.mark.parametrize("sheet", [False, True])
@pytest.mark.parametrize(
    ("valid", "later"),
    [
        ("display:none", "display:bogus"),
        ("transform:translate(9px,9px)", "transform:bogus(1)"),
        ("transform:translate(9px,9px)", "transform:translate("),
        ("stroke-dasharray:4 2", "stroke-dasharray:4 -1"),
        ("stroke-dasharray:4 2", "stroke-dasharray:much"),
        ("clip-path:url(#c)", "clip-path:bogus"),
    ],
)
def test_what_a_valid_declaration_does_survives_an_invalid_one(valid: str, later: str, sheet: bool) -> None:
    def drawn(style: str) -> tuple[Picture, list[list[list[float]]]]:
        clip = '<clipPath id="c"><path d="M0 0H20V20H0Z"/></clipPath><path d="M60 60h9" stroke="red"/>'
        shape = clip + '<path d="M5 5h40" stroke="red" {}/>'
        ruled = f"<style>#s{{{style}}}</style>" + shape.format('id="s"')
        picture = read(ruled if sheet else shape.format(f'style="{style}"'))
        return picture, [points.tolist() for points in picture.drawing]

    picture, strokes = drawn(f"{valid};{later}")
    assert strokes == drawn(valid)[1] != drawn("")[1]
    assert any("is not valid; it is ignored" in note for note in picture.warnings)


def test_entities_that_shorten_are_expanded_and_others_refused() -> None:
    def file(declaration: str, use: str) -> bytes:
        start = f'<!DOCTYPE svg [{declaration}]><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">'
        return f"{start}{use}</svg>".encode()

    picture = read_svg(file('<!ENTITY ink "stroke:red">', '<path d="M0 5h9" style="&ink;"/>'))
    assert picture.drawing.pens[0].colour == "#ff0000"
    for declaration in (
        '<!ENTITY a SYSTEM "file:///etc/hostname">',
        '<!ENTITY a "&b;&b;"><!ENTITY b "x">',
        f'<!ENTITY a "{"x" * 5000}">',
        '<!ENTITY % a "x">',
    ):
        with pytest.raises(SourceError, match="entity"):
            read_svg(file(declaration, '<path d="M0 5h9" stroke="red"/>'))
