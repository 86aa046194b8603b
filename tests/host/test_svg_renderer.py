"""Extracted strokes against two independent renderers: resvg (Rust) and cairosvg (Python over cairo).

Each file of ``svg_cases`` is read and its strokes are drawn with Pillow, one pixel wide; the same file is rendered
as it stands. Every pixel of one picture must lie close to a pixel of the other, both ways round: nothing extra,
nothing missing, nothing displaced.
"""

from __future__ import annotations

import io
from pathlib import Path

import cairosvg
import numpy as np
import pytest
import resvg_py
from PIL import Image, ImageDraw
from scipy import ndimage

from linewright.sources import Picture
from linewright.sources.svg import read_svg

CASES = Path(__file__).parent / "svg_cases"
STROKE_CASES = sorted((CASES / "strokes").glob("*.svg"))
FILL_CASES = sorted((CASES / "fills").glob("*.svg"))

# Known gaps of cairosvg 2.9, where resvg agrees with the specification.
CAIROSVG_LACKS = {
    "dashes": "ignores stroke-dasharray=none below a dashed group, and 0 0",
    "hidden": "fails on an opacity in per cent",
    "path_commands": "misreads exponents without a space after them",
    "path_errors": "does not stop at an error",
    "shapes": "knows neither rx=auto nor an ellipse with one radius",
    "switch": "does not choose by language",
    "transform_origin": "ignores transform-origin",
    "units": "takes a font size in per cent for px",
    "width_only": "places a picture without a height differently",
}

ZOOM = 4.0
PX_PER_MM = ZOOM * 96.0 / 25.4
# Half of the widest line of the cases (about 4 px after zoom and the strongest stretch), half a pixel of
# rasterisation on either side, and half a pixel of anti-aliasing: 0.23 mm.
NEAR_PX = 3.5
# A sixth of full coverage; lighter pixels are the fringe of an anti-aliased line about one pixel wide.
SEEN_ALPHA = 40


def render(path: Path, renderer: str) -> np.ndarray:
    """(h, w) bool: where the renderer puts ink."""
    if renderer == "resvg":
        data = resvg_py.svg_to_bytes(svg_string=path.read_text(), dpi=96, zoom=ZOOM, languages=["en"])
    else:
        data = cairosvg.svg2png(bytestring=path.read_bytes(), dpi=96, scale=ZOOM)
    picture = Image.open(io.BytesIO(bytes(data))).convert("RGBA")
    return np.asarray(picture)[:, :, 3] > SEEN_ALPHA


def draw(picture: Picture, shape: tuple[int, int]) -> np.ndarray:
    """(h, w) bool: the strokes, one pixel wide, on a canvas of this shape."""
    canvas = Image.new("1", (shape[1], shape[0]))
    pencil = ImageDraw.Draw(canvas)
    for stroke in picture.drawing:
        points = [tuple(p) for p in stroke * PX_PER_MM - 0.5]
        if len(points) == 1:
            pencil.point(points, fill=1)
        else:
            pencil.line(points, fill=1)
    return np.asarray(canvas)


def farthest_px(these: np.ndarray, those: np.ndarray) -> float:
    """Largest distance from a pixel of ``these`` to the nearest of ``those``."""
    if not these.any():
        return 0.0
    return float(ndimage.distance_transform_edt(~those)[these].max()) if those.any() else float("inf")


@pytest.mark.parametrize("path", STROKE_CASES, ids=lambda p: p.stem)
def test_strokes_lie_where_resvg_draws_them(path: Path) -> None:
    picture = read_svg(path)
    expected = render(path, "resvg")
    drawn = draw(picture, expected.shape)
    assert expected.shape == pytest.approx(
        (picture.height_mm * PX_PER_MM, picture.width_mm * PX_PER_MM), abs=ZOOM
    )  # resvg rounds the size to whole px before it zooms
    assert farthest_px(drawn, expected) <= NEAR_PX
    assert farthest_px(expected, drawn) <= NEAR_PX


@pytest.mark.parametrize("path", [p for p in STROKE_CASES if p.stem not in CAIROSVG_LACKS], ids=lambda p: p.stem)
def test_strokes_lie_where_cairosvg_draws_them(path: Path) -> None:
    expected = render(path, "cairosvg")
    drawn = draw(read_svg(path), expected.shape)
    assert farthest_px(drawn, expected) <= NEAR_PX
    assert farthest_px(expected, drawn) <= NEAR_PX


@pytest.mark.parametrize("path", FILL_CASES, ids=lambda p: p.stem)
def test_outlines_of_fillings_lie_on_their_edges(path: Path) -> None:
    filled = render(path, "resvg")
    edges = filled & ~ndimage.binary_erosion(filled)
    drawn = draw(read_svg(path), filled.shape)
    assert farthest_px(drawn, edges) <= NEAR_PX
    assert farthest_px(edges, drawn) <= NEAR_PX


def test_the_comparison_notices_a_displacement() -> None:
    path = CASES / "strokes" / "shapes.svg"
    expected = render(path, "resvg")
    drawn = draw(read_svg(path), expected.shape)
    assert farthest_px(np.roll(drawn, 8, axis=1), expected) > NEAR_PX
    missing = drawn.copy()
    missing[: missing.shape[0] // 2] = False
    assert farthest_px(expected, missing) > NEAR_PX
