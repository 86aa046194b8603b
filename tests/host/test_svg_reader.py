"""`read_svg`: geometry computed by hand, pens, and unsupported features that only cause warnings."""

from __future__ import annotations

import gzip
import math
from pathlib import Path

import numpy as np
import pytest

from linewright.errors import SourceError
from linewright.pictures.strokes_svg import write_svg_strokes
from linewright.sources import Picture
from linewright.sources.svg import read_svg
from linewright.sources.svg.lengths import length_px

MM = 25.4 / 96.0  # a CSS px (CSS Values and Units 3, section 6.2)


def read(body: str, attributes: str = 'width="100mm" height="100mm" viewBox="0 0 100 100"', **options) -> Picture:
    text = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {attributes}>{body}</svg>'
    )
    return read_svg(text.encode(), **options)


def strokes(body: str, *args, **options) -> list[list[list[float]]]:
    return [s.tolist() for s in read(body, *args, **options).drawing]


def only(body: str, *args, **options) -> np.ndarray:
    drawing = read(body, *args, **options).drawing
    assert len(drawing) == 1
    return drawing.stroke(0)


LINE = '<path d="M0 0h10" stroke="black"/>'


# ---------------------------------------------------------------- size and units


@pytest.mark.parametrize(
    ("attributes", "size"),
    [
        ('width="100mm" height="50mm"', (100, 50)),
        ('width="10cm" height="2in"', (100, 50.8)),
        ('width="72pt" height="6pc"', (25.4, 25.4)),
        ('width="96" height="48px"', (25.4, 12.7)),
        ('width="40Q" height="1em"', (10, 16 * MM)),
        ('width="2ex" height="2rem"', (16 * MM, 32 * MM)),
        ('viewBox="0 0 96 192"', (25.4, 50.8)),
        ('width="100%" height="100%" viewBox="0 0 96 192"', (25.4, 50.8)),
        ('width="10mm" viewBox="0 0 96 192"', (10, 20)),
        ('height="10mm" viewBox="0 0 96 192"', (5, 10)),
        ('style="width:10mm;height:20mm" width="1" height="1"', (10, 20)),
    ],
)
def test_size_of_the_picture(attributes: str, size: tuple[float, float]) -> None:
    picture = read(LINE, attributes)
    assert (picture.width_mm, picture.height_mm) == pytest.approx(size)


def test_without_any_size_the_strokes_decide_and_nothing_is_cut() -> None:
    picture = read('<path d="M-5 0H960V480" stroke="red"/>', "")
    assert (picture.width_mm, picture.height_mm) == pytest.approx((254, 127))
    assert picture.drawing.stroke(0)[0].tolist() == pytest.approx([-5 * MM, 0])
    assert "states no size" in picture.warnings[0]


def test_lengths() -> None:
    assert length_px("25.4mm", "x", (0, 0)) == pytest.approx(96)
    assert length_px("50%", "x", (200, 100)) == 100
    assert length_px("50%", "y", (200, 100)) == 50
    assert length_px("10%", "other", (30, 40)) == pytest.approx(0.1 * math.sqrt((900 + 1600) / 2))
    assert length_px("2em", "x", (0, 0), 10) == 20
    assert length_px("1e1px", "x", (0, 0)) == 10
    assert length_px("1.5e1em", "x", (0, 0), 2) == 30
    for bad in ("", "mm", "1 2", "3vw", "calc(1px)", "1,5mm", "1m"):
        assert length_px(bad, "x", (0, 0)) is None


# ---------------------------------------------------------------- geometry by hand


def test_view_box_centres_and_fits() -> None:
    # 100 x 100 mm around a viewBox of 20 x 10: scale 5, 25 mm of air above and below.
    points = only('<path d="M0 0H20V10" stroke="red" fill="none"/>', 'width="100mm" height="100mm" viewBox="0 0 20 10"')
    np.testing.assert_allclose(points, [[0, 25], [100, 25], [100, 75]], atol=1e-12)


def test_nested_transforms_multiply_left_to_right() -> None:
    body = '<g transform="translate(10 20) rotate(90)"><path transform="scale(2 3)" d="M1 1L2 1" stroke="red"/></g>'
    np.testing.assert_allclose(only(body), [[10 - 3, 20 + 2], [10 - 3, 20 + 4]], atol=1e-12)
    same = '<g transform="matrix(0 1 -1 0 10 20)"><path style="transform:scale(2,3)" d="M1 1L2 1" stroke="red"/></g>'
    np.testing.assert_allclose(only(same), only(body), atol=1e-12)


def test_skews_and_turns_around_a_point() -> None:
    np.testing.assert_allclose(
        only('<path transform="skewX(45)" d="M0 0L0 10" stroke="red"/>'), [[0, 0], [10, 10]], atol=1e-12
    )
    turned = [[10, 5], [10, 10]]
    for transform in ('transform="rotate(90 10 5)"', 'transform="rotate(.25turn)" transform-origin="10 5"'):
        points = only(f'<path {transform} d="M10 5h5" stroke="red"/>')
        np.testing.assert_allclose(points, turned, atol=1e-12)


def test_an_ellipse_under_a_skew_lies_on_its_exact_image() -> None:
    # Image of the unit circle under [[3, 2], [0, 1]]: the quadratic form with matrix inverse(M M^T) is 1 on it.
    points = only('<circle r="1" transform="matrix(3 0 2 1 50 50)" fill="none" stroke="red"/>', tolerance_mm=1e-4) - 50
    shape = np.array([[3.0, 2.0], [0.0, 1.0]])
    form = np.linalg.inv(shape @ shape.T)
    np.testing.assert_allclose(np.einsum("ni,ij,nj->n", points, form, points), 1.0, atol=1e-12)


@pytest.mark.parametrize("scale", [0.1, 1.0, 30.0])
def test_the_tolerance_holds_at_the_size_of_the_picture(scale: float) -> None:
    body = f'<g transform="scale({scale})"><circle cx="1.5" cy="1.5" r="1" fill="none" stroke="red"/></g>'
    points = only(body) - 1.5 * scale
    middles = np.hypot(*((points[1:] + points[:-1]) / 2.0).T)
    assert scale - middles.min() <= 0.02 + 1e-12
    assert np.hypot(*points.T) == pytest.approx(scale)


def test_a_rounded_rectangle_starts_where_the_specification_says() -> None:
    points = only('<rect x="10" y="20" width="30" height="20" rx="5" fill="none" stroke="red"/>')
    assert points[0].tolist() == pytest.approx([15, 20])
    assert points[1].tolist() == pytest.approx([35, 20])
    assert points[-1].tolist() == points[0].tolist()
    assert points.min(axis=0).tolist() == pytest.approx([10, 20])
    assert points.max(axis=0).tolist() == pytest.approx([40, 40])
    length = np.hypot(*np.diff(points, axis=0).T).sum()
    assert length == pytest.approx(2 * (20 + 10) + 2 * math.pi * 5, abs=0.05)


def test_negative_corner_radii_count_as_absent() -> None:
    square = strokes('<rect width="9" height="5" fill="none" stroke="red"/>')
    assert strokes('<rect width="9" height="5" rx="-3" fill="none" stroke="red"/>') == square
    both = strokes('<rect width="9" height="5" rx="-3" ry="1" fill="none" stroke="red"/>')
    assert both == strokes('<rect width="9" height="5" ry="1" fill="none" stroke="red"/>')
    circle = strokes('<circle cx="9" cy="9" r="4" fill="none" stroke="red"/>')
    assert strokes('<ellipse cx="9" cy="9" rx="4" ry="-1" fill="none" stroke="red"/>') == circle


def test_use_and_symbol_by_hand() -> None:
    body = """<defs><symbol id="s" viewBox="0 0 10 10"><path d="M0 0L10 10" stroke="red"/></symbol></defs>
    <use xlink:href="#s" x="20" y="30" width="50" height="40"/>"""
    # 40 high is the tighter side: scale 4, 5 mm of air left and right.
    np.testing.assert_allclose(only(body), [[25, 30], [65, 70]], atol=1e-12)


def test_viewports_cut_what_hangs_over() -> None:
    body = '<svg x="10" y="10" width="20" height="20"><path d="M-5 5H50M3 3h4" stroke="red"/></svg>'
    picture = read(body)
    np.testing.assert_allclose(
        [s.tolist() for s in picture.drawing], [[[10, 15], [30, 15]], [[13, 13], [17, 13]]], atol=2e-3
    )
    assert "1 line reaches over the edge" in picture.warnings[0]
    whole = strokes(body.replace("<svg", '<svg overflow="visible"'))
    np.testing.assert_allclose(whole[0], [[5, 15], [60, 15]])


def test_a_cut_keeps_order_direction_and_pieces() -> None:
    found = strokes('<path d="M90 10H110V20H90M50 50h1M120 0h1M-10 40L10 60" stroke="red" fill="none"/>')
    expected = [[[90, 10], [100, 10]], [[100, 20], [90, 20]], [[50, 50], [51, 50]], [[0, 50], [10, 60]]]
    assert len(found) == 4
    for got, want in zip(found, expected, strict=True):
        np.testing.assert_allclose(got, want, atol=3e-3)


def test_a_line_on_the_frame_is_inside() -> None:
    assert read('<rect width="100" height="100" fill="none" stroke="red"/>').warnings == ()


# ---------------------------------------------------------------- what is drawn


def test_fillings_give_their_outlines_closed() -> None:
    assert strokes('<path d="M0 0H10V10"/>') == [[[0, 0], [10, 0], [10, 10], [0, 0]]]
    assert strokes('<path d="M0 0H10V10" fill="none" stroke="red"/>') == [[[0, 0], [10, 0], [10, 10]]]
    both = read('<path d="M0 0H10V10" fill="blue" stroke="red"/>').drawing
    assert [stroke.tolist() for stroke in both] == [[[0, 0], [10, 0], [10, 10]], [[10, 10], [0, 0]]]
    assert [pen.colour for pen in both.pens] == ["#ff0000", "#0000ff"]


def test_neither_fill_nor_stroke_is_hidden() -> None:
    with pytest.raises(SourceError, match="nothing to draw"):
        read('<path d="M0 0H10V10" fill="none"/>')


def test_pens_by_colour_in_order_of_use() -> None:
    body = """<g fill="none"><path d="M0 0h1" stroke="#F00"/><path d="M0 1h1" stroke="rgb(0,0,255)"/>
    <path d="M0 2h1" stroke="red"/><path d="M0 3h1" style="stroke:hsl(240,100%,50%)"/>
    <path d="M0 4h1" stroke="#123456"/>
    </g><rect width="5" height="5" fill="rgb(0 0 255 / 50%)"/>"""
    drawing = read(body).drawing
    assert [p.colour for p in drawing.pens] == ["#ff0000", "#0000ff", "#123456"]
    assert [p.name for p in drawing.pens] == ["red", "blue", "#123456"]
    assert drawing.pen.tolist() == [0, 1, 0, 1, 2, 1]


def test_pens_by_layer() -> None:
    body = """<g xmlns:i="http://example.org/i" i:label="sea &amp; sky" stroke="blue">
    <g id="deep"><path d="M0 0h1"/></g></g>
    <g id="masts" stroke="red"><path d="M0 1h1"/></g><g stroke="red"><title> rigging
     fine </title><path d="M0 2h1"/></g>
    <g><path d="M0 3h1" stroke="green"/></g><path d="M0 4h1" stroke="green"/>
    <g id="masts"><path d="M0 5h1" stroke="red"/></g>
    <g id="empty"/>"""
    drawing = read(body, pen_by="layer").drawing
    assert [p.name for p in drawing.pens] == ["sea & sky", "masts", "rigging fine", "layer 4", "unlayered"]
    assert [p.colour for p in drawing.pens] == ["#0000ff", "#ff0000", "#ff0000", "#008000", "#008000"]
    assert drawing.pen.tolist() == [0, 1, 2, 3, 4, 1]


def test_gradients_give_their_darkest_colour() -> None:
    body = """<defs><linearGradient id="a"><stop stop-color="#00ff00"/></linearGradient>
    <linearGradient id="c"><stop stop-color="white"/><stop offset="1" stop-color="navy"/></linearGradient>
    <radialGradient id="b" xlink:href="#a"/></defs>
    <rect width="5" height="5" fill="url(#b)"/><rect y="9" width="6" height="5" fill="url('#c')"/>
    <path d="M0 20h5" stroke="url(#missing) red"/>"""
    picture = read(body)
    assert [p.colour for p in picture.drawing.pens] == ["#00ff00", "#000080", "#ff0000"]


def test_invalid_colours_are_ignored_and_named() -> None:
    picture = read('<g stroke="red" fill="none"><path d="M0 0h5" stroke="bogus"/></g>')
    assert picture.drawing.pens[0].colour == "#ff0000"
    assert "stroke 'bogus' is not valid" in picture.warnings[0]


def test_geometry_may_come_from_css() -> None:
    # SVG 2, section 7.1: geometry properties. resvg does not read them, cairosvg and browsers do.
    points = only('<style>circle{r:3px;cx:50px;cy:50px}</style><circle r="1" fill="none" stroke="red"/>')
    assert points.max(axis=0).tolist() == pytest.approx([53, 53], abs=0.02)


def test_dots() -> None:
    picture = read('<path d="M1 1zM5 5h0M9 9l0 0" stroke="red" stroke-linecap="round"/><path d="M7 7z" stroke="red"/>')
    assert [s.tolist() for s in picture.drawing] == [[[1, 1]], [[5, 5]], [[9, 9]]]
    assert "without length" in picture.warnings[0]


def test_dashes_by_hand() -> None:
    assert strokes('<path d="M0 5h10" stroke="red" stroke-dasharray="3 1"/>') == [
        [[0, 5], [3, 5]], [[4, 5], [7, 5]], [[8, 5], [10, 5]]]  # fmt: skip
    # Offset 2: one unit of the first dash is left. Around the corner a dash stays one stroke.
    found = strokes('<path d="M0 0h5v5" stroke="red" fill="none" stroke-dasharray="3 1" stroke-dashoffset="2"/>')
    np.testing.assert_allclose(found[0], [[0, 0], [1, 0]])
    np.testing.assert_allclose(found[1], [[2, 0], [5, 0]])
    np.testing.assert_allclose(found[2], [[5, 1], [5, 4]])
    # Measured before the transform: a line stretched tenfold has dashes stretched tenfold.
    found = strokes('<path transform="scale(10 1)" d="M0 5h10" stroke="red" stroke-dasharray="3 1"/>')
    np.testing.assert_allclose(found, [[[0, 5], [30, 5]], [[40, 5], [70, 5]], [[80, 5], [100, 5]]])
    dotted = strokes('<path d="M0 5h10" stroke="red" stroke-linecap="round" stroke-dasharray="0 5"/>')
    np.testing.assert_allclose(dotted, [[[0, 5]], [[5, 5]], [[10, 5]]])
    fine = read('<path d="M0 5h10" stroke="red" stroke-dasharray=".001"/>')
    assert len(fine.drawing) == 1
    assert "finer than the tolerance" in fine.warnings[0]


def test_what_cannot_be_drawn_is_named_with_its_line() -> None:
    body = """
    <path d="M0 0h5" stroke="red" clip-path="url(#c)" marker-end="url(#m)"/>
    <text>hello</text>
    <image href="http://example.org/x.png"/><g mask="url(#m)" filter="url(#f)"/>
    <script>alert(1)</script><foreignObject/>
    <path d="M0 0h5" stroke="red"><animate/></path>
    <use href="http://example.org/a.svg#b"/><use href="#nowhere"/>
    <g display="none"><foreignObject/></g>"""
    warnings = "\n".join(read(body).warnings)
    for expected in (
        "line 2: clip-path '#c' is not in the file", "line 4: <image> is not drawn: it lies outside the file",
        "mask '#m' is not in the file",
        "filter", "<script> is never run", "<foreignObject>", "never fetched", "'#nowhere' is not in the file",
    ):  # fmt: skip
        assert expected in warnings


def test_path_errors_draw_up_to_there() -> None:
    picture = read('<path d="M0 0h5v5 oops h9" stroke="red" fill="none"/>')
    assert [s.tolist() for s in picture.drawing] == [[[0, 0], [5, 0], [5, 5]]]
    assert "<path>: path data is wrong at character 10" in picture.warnings[0]
    assert "'oops h9'" in picture.warnings[0]


def test_shapes_with_bad_attributes_are_left_out_and_named() -> None:
    picture = read(LINE + '<rect width="-5" height="3"/><circle r="wide"/><line x1="0" x2="5" stroke="red" y1="x"/>')
    assert len(picture.drawing) == 1
    assert 'width="-5" is negative' in picture.warnings[0]
    assert 'r="wide" is not a length' in picture.warnings[1]


def test_bad_transforms_are_left_out_and_named() -> None:
    picture = read(
        '<path transform="turn(4)" d="M0 0h5" stroke="red"/><path transform="scale(0)" d="M0 0h5" stroke="red"/>'
    )
    assert len(picture.drawing) == 1
    assert "transform 'turn(4)' is not valid" in picture.warnings[0]
    assert "squeezed to nothing" in picture.warnings[1]


# ---------------------------------------------------------------- files


def test_packed_files_and_paths(tmp_path: Path) -> None:
    text = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h5" stroke="red"/></svg>'
    packed = tmp_path / "p.svgz"
    packed.write_bytes(gzip.compress(text))
    for found in (read_svg(packed), read_svg(str(packed)), read_svg(text)):
        assert found.width_mm == pytest.approx(9 * 25.4 / 96)  # CSS: 96 px to the inch
        (stroke,) = found.drawing
        np.testing.assert_allclose(stroke, [[0.0, 0.0], [5 * 25.4 / 96, 0.0]])


def test_encodings_doctype_and_missing_namespace() -> None:
    group = '<g id="größe"><path d="M0 0h5" stroke="red"/></g>'
    body = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{group}</svg>'
    doctype = '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    for encoding in ("utf-8", "utf-16", "iso-8859-1"):
        data = f'<?xml version="1.0" encoding="{encoding}"?>{doctype}{body}'.encode(encoding)
        assert read_svg(data, pen_by="layer").drawing.pens[0].name == "größe"
    bare = read_svg(body.replace(' xmlns="http://www.w3.org/2000/svg"', "").encode())
    assert "lacks the SVG namespace" in bare.warnings[0]


@pytest.mark.parametrize("tolerance_mm", [0.0, -1.0, math.nan, math.inf])
def test_tolerance_must_be_positive(tolerance_mm: float) -> None:
    with pytest.raises(ValueError, match="tolerance_mm"):
        read(LINE, tolerance_mm=tolerance_mm)


def test_lines_along_the_edge_of_a_picture_without_a_size_leave_it_a_page(tmp_path):
    picture = read('<path d="M0 0H96" stroke="black"/>', "")
    assert (picture.width_mm, picture.height_mm) == pytest.approx((25.4, 1.0))
    write_svg_strokes(picture.drawing, picture.width_mm, picture.height_mm, tmp_path / "strokes.svg", pen_width_mm=0.3)
