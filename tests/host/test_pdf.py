"""PDFs by three independent writers are drawn correctly."""

import contextlib
import io
import math
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
import shapely

from linewright.errors import InputError, SourceError
from linewright.planning import pipeline
from linewright.planning.pipeline import Lines
from linewright.sources.drawing_files import read_drawing
from linewright.sources.picture import Wish
from linewright.units import inches_to_mm

KEEP = Wish(fit="keep")
POINT_MM = inches_to_mm(1 / 72)

# PDF numbers are read as 32-bit floats: on a sheet of 300 mm that is 2e-5 mm.
FLOAT_MM = 1e-4
TOLERANCE_MM = KEEP.tolerance_mm + FLOAT_MM


def ink(picture, colour=None):
    """All strokes as one geometry, those of one colour if one is named."""
    drawing = picture.drawing
    strokes = [
        np.concatenate((stroke, stroke[-1:]))
        for stroke, pen in zip(drawing, drawing.pen, strict=True)
        if colour is None or drawing.pens[int(pen)].colour == colour
    ]
    return shapely.MultiLineString(strokes)


def apart(one, other):
    return shapely.hausdorff_distance(one, other, densify=0.01)


def by_reportlab(path, draw, size_mm=(100, 60), **how):
    canvas = pytest.importorskip("reportlab.pdfgen.canvas")
    page = canvas.Canvas(str(path), pagesize=tuple(side / POINT_MM for side in size_mm), **how)
    page.scale(1 / POINT_MM, 1 / POINT_MM)
    draw(page)
    page.showPage()
    page.save()
    return str(path)


def by_cairo(path, draw, size_mm=(100, 60)):
    cairocffi = pytest.importorskip("cairocffi")
    surface = cairocffi.PDFSurface(str(path), *(side / POINT_MM for side in size_mm))
    context = cairocffi.Context(surface)
    context.scale(1 / POINT_MM, 1 / POINT_MM)
    draw(context)
    surface.finish()
    return str(path)


# Two shapes, in mm from the top left corner: input of each writer, and expected result.
ZIGZAG = [(10.0, 50.0), (25.0, 12.0), (40.0, 50.0), (41.0, 8.0)]
CIRCLE = shapely.Point(70, 30).buffer(20, quad_segs=2000).exterior


def reportlab_shapes(page):
    page.setLineWidth(0.2)
    outline = page.beginPath()
    outline.moveTo(ZIGZAG[0][0], 60 - ZIGZAG[0][1])
    for x, y in ZIGZAG[1:]:
        outline.lineTo(x, 60 - y)
    page.drawPath(outline)
    page.setStrokeColorRGB(1, 0, 0)
    page.circle(70, 30, 20)


def cairo_shapes(context):
    context.set_line_width(0.2)
    context.move_to(*ZIGZAG[0])
    for point in ZIGZAG[1:]:
        context.line_to(*point)
    context.stroke()
    context.set_source_rgb(1, 0, 0)
    context.arc(70, 30, 20, 0, math.tau)
    context.close_path()
    context.stroke()


def by_matplotlib(path):
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle

    figure = Figure(figsize=(100 / 25.4, 60 / 25.4))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, 100)
    axes.set_ylim(60, 0)
    axes.set_axis_off()
    axes.plot(*zip(*ZIGZAG, strict=True), color="black", lw=0.5)
    axes.add_patch(Circle((70, 30), 20, fill=False, edgecolor="red", lw=0.5))
    figure.savefig(str(path))
    return str(path)


@pytest.mark.parametrize("writer", ["reportlab", "cairo", "matplotlib"])
def test_lines_and_curves_come_back_where_they_were_drawn(tmp_path, writer):
    path = tmp_path / "shapes.pdf"
    if writer == "reportlab":
        by_reportlab(path, reportlab_shapes)
    elif writer == "cairo":
        by_cairo(path, cairo_shapes)
    else:
        by_matplotlib(path)
    picture = read_drawing(str(path), KEEP)
    assert (picture.width_mm, picture.height_mm) == pytest.approx((100, 60), abs=1e-3)
    # A circle of four or eight cubics strays from the true one by 2.7e-4 of its radius at most.
    assert apart(ink(picture, "#ff0000"), CIRCLE) < TOLERANCE_MM + 2.8e-4 * 20
    # matplotlib writes six digits of points.
    assert apart(ink(picture, "#000000"), shapely.LineString(ZIGZAG)) < TOLERANCE_MM


def test_at_three_sizes_it_is_the_same_picture_within_the_tolerance(tmp_path):
    path = by_reportlab(tmp_path / "shapes.pdf", reportlab_shapes)
    for width in (10.0, 210.0, 594.0):
        picture = read_drawing(path, Wish(room_mm=(width, math.inf), turn_deg=0))
        scale = width / 100
        circle = shapely.affinity.scale(CIRCLE, scale, scale, origin=(0, 0))
        assert apart(ink(picture, "#ff0000"), circle) < KEEP.tolerance_mm + FLOAT_MM + 2.8e-4 * 20 * scale


def test_fillings_hide_clips_cut_and_forms_are_walked(tmp_path):
    def draw(page):
        page.setFillColorRGB(0, 0, 1)
        page.line(0, 30, 100, 30)
        page.rect(20, 20, 10, 20, fill=1, stroke=0)
        page.saveState()
        outline = page.beginPath()
        outline.rect(50, 0, 10, 60)
        page.clipPath(outline, stroke=0)
        page.line(0, 10, 100, 10)
        page.restoreState()
        page.beginForm("stamp")
        page.line(70, 5, 75, 5)
        page.endForm()
        page.translate(0, 40)
        page.doForm("stamp")

    picture = read_drawing(by_reportlab(tmp_path / "p.pdf", draw), KEEP)
    black = ink(picture, "#000000")
    wanted = shapely.MultiLineString(
        [[(0, 30), (20, 30)], [(30, 30), (100, 30)], [(50, 50), (60, 50)], [(70, 15), (75, 15)]]
    )
    assert apart(black, wanted) < TOLERANCE_MM
    assert apart(ink(picture, "#0000ff"), shapely.box(20, 20, 30, 40).exterior) < TOLERANCE_MM


def test_areas_are_hatched_at_the_spacing_of_the_pen(tmp_path):
    def draw(page):
        page.rect(20, 20, 10, 20, fill=1, stroke=0)

    picture = pipeline.read_picture(by_reportlab(tmp_path / "p.pdf", draw), Lines("areas"), KEEP)
    # 200 mm^2 under lines of 0.5 mm: some 400 mm of ink when solid, whatever the method adds for its edge.
    assert 300 < picture.drawing.stroke_lengths_mm().sum() < 700


def test_dashes_are_cut_where_the_file_says(tmp_path):
    def draw(page):
        page.setDash([4, 2], 1)
        page.line(10, 30, 30, 30)

    picture = read_drawing(by_reportlab(tmp_path / "p.pdf", draw), KEEP)
    ends = sorted((round(float(s[0, 0]), 3), round(float(s[-1, 0]), 3)) for s in picture.drawing)
    assert ends == [(10.0, 13.0), (15.0, 19.0), (21.0, 25.0), (27.0, 30.0)]


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
def test_a_turned_page_is_drawn_as_a_reader_shows_it(tmp_path, rotation):
    # 300 x 200 points, with a line 30 points below the upper edge of the page as it is written.
    data = raw_pdf(b"30 170 m 120 170 l S").replace(b"/MediaBox", b"/Rotate %d/MediaBox" % rotation)
    picture = read_drawing(written(tmp_path, data), KEEP)
    # /Rotate is clockwise (ISO 32000-1, table 30). By hand, in points from the upper left corner as shown:
    line = {
        0: [(30, 30), (120, 30)],
        90: [(170, 30), (170, 120)],
        180: [(270, 170), (180, 170)],
        270: [(30, 270), (30, 180)],
    }[rotation]
    size = (200, 300) if rotation % 180 else (300, 200)
    assert (picture.width_mm, picture.height_mm) == pytest.approx(tuple(side * POINT_MM for side in size), abs=1e-3)
    assert apart(ink(picture), shapely.LineString(np.array(line) * POINT_MM)) < TOLERANCE_MM


def test_words_stand_where_the_file_puts_them(tmp_path):
    def draw(page):
        page.setFont("Helvetica", 10)  # mm, because of the scale
        page.drawString(12, 30, "Marrow Quay")
        page.rotate(90)
        page.drawString(5, -90, "HHH")

    picture = read_drawing(by_reportlab(tmp_path / "p.pdf", draw), KEEP)
    strokes = list(picture.drawing)
    level = np.concatenate([stroke for stroke in strokes if stroke[:, 0].max() < 80])
    upright = np.concatenate([stroke for stroke in strokes if stroke[:, 0].min() > 80])
    # Widths of Helvetica (its published metrics): M 833, a 556, r 333, r 333, o 556, w 722, space 278, Q 778, u 556,
    # a 556, y 500 thousandths; its capitals are 718 high.
    width = (833 + 556 + 333 + 333 + 556 + 722 + 278 + 778 + 556 + 556 + 500) / 100
    assert level[:, 0].min() == pytest.approx(12, abs=1.6)  # a letter has some air at its left
    assert level[:, 0].max() == pytest.approx(12 + width, abs=1.5)
    assert level[:, 1].min() == pytest.approx(30 - 7.18, abs=0.5)
    # Read from the bottom up, its foot line at x = 90.
    assert upright[:, 0].max() == pytest.approx(90, abs=0.1)
    assert upright[:, 0].min() == pytest.approx(90 - 7.18, abs=0.5)
    assert 55 - 3 * 7.22 - 1 < upright[:, 1].min() < upright[:, 1].max() < 55


def test_embedded_photographs_are_drawn_in_place(tmp_path):
    from PIL import Image
    from reportlab.lib.utils import ImageReader

    pixels = np.full((60, 40, 3), 255, np.uint8)
    pixels[:30] = 0  # dark above
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")

    def draw(page):
        page.drawImage(ImageReader(stream), 30, 10, 20, 30)

    pytest.importorskip("skimage")
    picture = read_drawing(by_reportlab(tmp_path / "p.pdf", draw), KEEP)
    x0, y0, x1, y1 = picture.drawing.bounds_mm()
    assert x0 == pytest.approx(30, abs=1)
    assert x1 == pytest.approx(50, abs=1)
    assert y0 == pytest.approx(20, abs=1)
    assert y1 < 36


def test_pages_go_by_number(tmp_path):
    def draw(page):
        page.line(0, 0, 10, 0)
        page.showPage()
        page.line(0, 5, 20, 5)

    path = by_reportlab(tmp_path / "p.pdf", draw)
    assert read_drawing(path, KEEP).warnings == ("page 1 of 2 is drawn",)
    second = read_drawing(path, Wish(fit="keep", page=2))
    assert second.drawing.stroke_lengths_mm().sum() == pytest.approx(20 * POINT_MM, abs=1e-3)
    with pytest.raises(SourceError, match="there is no page 3") as caught:
        read_drawing(path, Wish(page=3))
    assert caught.value.hint == "it has 2 pages"


# Invalid files


def written(tmp_path, data):
    path = tmp_path / "bad.pdf"
    path.write_bytes(data)
    return str(path)


def read_or_refused(path):
    """The picture, or None if the file is refused with a hint; other exceptions fail."""
    with contextlib.suppress(SourceError):
        return read_drawing(path, KEEP)
    return None


def test_a_locked_file_says_so(tmp_path):
    path = by_reportlab(tmp_path / "p.pdf", reportlab_shapes, encrypt="herring")
    with pytest.raises(SourceError, match="it is locked with a password"):
        read_drawing(path, KEEP)


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7\n", b"no pdf", b"%PDF-" + bytes(range(256)) * 20])
def test_what_is_no_pdf_is_refused(tmp_path, data):
    with pytest.raises(SourceError, match=r"bad\.pdf"):
        read_drawing(written(tmp_path, data), KEEP)


@pytest.mark.parametrize("share", [0.2, 0.6, 0.95])
def test_a_file_cut_short_is_read_or_refused(tmp_path, share):
    data = Path(by_reportlab(tmp_path / "p.pdf", reportlab_shapes)).read_bytes()
    picture = read_or_refused(written(tmp_path, data[: int(len(data) * share)]))
    assert picture is None or len(picture.drawing)


def test_without_the_extra_the_word_is_clear(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pypdfium2", None)
    with pytest.raises(InputError, match="PDFs need the package pypdfium2"):
        read_drawing(written(tmp_path, raw_pdf(b"")), KEEP)


def test_a_huge_file_is_refused_unread(tmp_path):
    path = tmp_path / "huge.pdf"
    with path.open("wb") as stream:
        stream.write(b"%PDF-1.7\n")
        stream.truncate(100_000_000)
    with pytest.raises(SourceError, match="the file is too large"):
        read_drawing(str(path), KEEP)


def raw_pdf(content, objects=()):
    """A PDF of one page by hand: its content stream, and further objects from number 5 on."""
    packed = zlib.compress(content)
    forms = " ".join(f"/F{number} {number} 0 R" for number in range(5, 5 + len(objects)))
    bodies = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 300 200]/Contents 4 0 R/Resources<</XObject<<"
        + forms.encode()
        + b">>>>>>",
        b"<</Length %d/Filter/FlateDecode>>stream\n" % len(packed) + packed + b"\nendstream",
        *objects,
    ]
    data = b"%PDF-1.7\n"
    for number, body in enumerate(bodies, 1):
        data += b"%d 0 obj\n" % number + body + b"\nendobj\n"
    return data + b"trailer<</Root 1 0 R/Size %d>>\n%%%%EOF\n" % (len(bodies) + 1)


@pytest.mark.parametrize("number", ["1e30", "99999999999", "-5000000000"])
def test_coordinates_that_are_none_or_too_far_out_are_refused_or_left_out(tmp_path, number):
    picture = read_or_refused(written(tmp_path, raw_pdf(f"0 0 m {number} 10 l S 5 5 m 10 10 l S".encode())))
    assert picture is None or np.isfinite(picture.drawing.points_mm).all()


def test_a_page_that_is_no_size_is_refused(tmp_path):
    data = raw_pdf(b"0 0 m 10 10 l S").replace(b"[0 0 300 200]", b"[0 0 1e9 1e9]")
    picture = read_or_refused(written(tmp_path, data))
    assert picture is None or picture.width_mm < 1e6


@pytest.mark.slow
@pytest.mark.parametrize(("name", "value"), [("MEMORY_BYTES", 2**28), ("CPU_S", 1)])
def test_a_small_file_of_very_many_lines_is_refused_by_its_limits(tmp_path, monkeypatch, name, value):
    """60 kB that unpack to 20 MB and become more than a million objects."""
    from linewright.sources.pdf import probe

    monkeypatch.setattr(probe, name, value)
    with pytest.raises(SourceError, match="cannot be loaded within"):
        probe.first_look(str(written(tmp_path, raw_pdf(b"1 1 m 9 9 l S " * 1_400_000))), 1)
    probe.first_look(str(written(tmp_path, raw_pdf(b"1 1 m 9 9 l S"))), 1)


@pytest.mark.slow
def test_forms_that_show_each_other_end(tmp_path, monkeypatch):
    from linewright.sources.pdf import probe

    monkeypatch.setattr(probe, "SECONDS", 5)
    form = b"<</Type/XObject/Subtype/Form/BBox[0 0 300 200]/Resources<</XObject<</A %d 0 R/B %d 0 R>>>>/Length 10>>"
    stream = b"stream\n/A Do /B Do\nendstream"
    deep = [form % (number + 1, number + 1) + stream for number in range(5, 35)]
    last = b"<</Type/XObject/Subtype/Form/BBox[0 0 300 200]/Length 18>>stream\n0 0 m 100 100 l S \nendstream"
    picture = read_or_refused(written(tmp_path, raw_pdf(b"/F5 Do", [*deep, last])))
    assert picture is None or picture.drawing.vertices < 10**6
