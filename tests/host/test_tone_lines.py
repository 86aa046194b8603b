"""Outlines, contours, centre lines and directions, against known pictures and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy import ndimage
from skimage.feature import structure_tensor
from skimage.morphology import skeletonize

from host.photographs import disc, layer
from linewright.sources.tone.centre_lines import CentreLines
from linewright.sources.tone.contours import Contours
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.form import directions
from linewright.sources.tone.outline import Outline
from linewright.sources.tone.trace import chains, smooth


def length_mm(stroke: np.ndarray) -> float:
    return float(np.hypot(*np.diff(stroke, axis=0).T).sum())


# Outlines

OUTLINE = Outline(weight=0.0)
SHIFT_MM = 0.4 * 0.5 * np.sqrt(2 * np.log(1.6) / (1 - 1.6**-2))
"""Offset of an edge's line into the dark: where two Gaussians of 0.4 pens and 1.6 times that differ most in their
shares, both densities are equal; solved for the position.
"""


@pytest.mark.parametrize("slant", [0.0, 0.13, 0.4, 1.0])
def test_a_straight_edge_is_one_line_half_a_pen_in_the_dark(slant):
    """Pixels cut by the edge have the mean of both sides by area."""
    y, x = np.mgrid[:900, :1200] / 15
    edge = 30 + slant * (y - 30)
    cover = (x + 1 / 30 > edge).reshape(300, 3, 400, 3).mean(axis=(1, 3))
    strokes = OUTLINE.strokes(layer(cover, 80.0, 60.0, 0.5))
    assert len(strokes) == 1
    inside = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(strokes[0]), 0.5))
    inside = inside[(inside[:, 1] > 6) & (inside[:, 1] < 54)]
    away = (inside[:, 0] - (30 + slant * (inside[:, 1] - 30))) / np.hypot(1, slant)
    # Pixels of 0.2 mm with linear interpolation blur slightly more.
    assert away.mean() == pytest.approx(SHIFT_MM, abs=0.09)
    assert np.ptp(away) < 0.1


def test_the_outline_of_a_disc_is_its_circle_closed():
    strokes = OUTLINE.strokes(layer(disc(300, 400, 100, oversize=4), 80.0, 60.0, 0.5))
    assert len(strokes) == 1
    assert (strokes[0][0] == strokes[0][-1]).all()
    radius = np.hypot(*(strokes[0] - [40.0, 30.0]).T)
    assert radius == pytest.approx(20.0 - SHIFT_MM, abs=0.1)
    assert length_mm(strokes[0]) == pytest.approx(2 * np.pi * 20, rel=0.02)


def on_paper(strokes, pen_mm=0.5) -> np.ndarray:
    return inked([np.asarray(s, dtype=float) for s in strokes], (80.0, 60.0), pen_mm=pen_mm, pixel_mm=0.2)


def test_a_dark_line_is_drawn_once_and_its_breaks_are_closed():
    bow = [[x, 30 + 4 * np.sin(x / 12)] for x in np.linspace(5, 75, 200)]
    broken = [bow[:60], bow[70:120], bow[130:]]  # breaks of 4 mm, less two ends of half a pen
    strokes = Outline(weight=0.0, gap=10.0).strokes(layer(on_paper(broken), 80.0, 60.0, 0.5))
    assert len(strokes) == 1
    assert shapely.hausdorff_distance(shapely.linestrings(strokes[0]), shapely.linestrings(bow)) < 0.5
    assert len(Outline(weight=0.0, gap=0.0).strokes(layer(on_paper(broken), 80.0, 60.0, 0.5))) == 3


def test_lines_that_cross_go_on_and_a_line_that_meets_another_ends_on_it():
    crossing = OUTLINE.strokes(layer(on_paper([[[10, 10], [70, 50]], [[10, 50], [70, 10]]]), 80.0, 60.0, 0.5))
    assert sorted(length_mm(stroke) for stroke in crossing) == pytest.approx([72.1, 72.1], abs=1.5)
    meeting = OUTLINE.strokes(layer(on_paper([[[10, 30], [70, 30]], [[40, 30], [40, 55]]]), 80.0, 60.0, 0.5))
    lengths = sorted(length_mm(stroke) for stroke in meeting)
    assert lengths == pytest.approx([25, 60], abs=1.5)
    foot = min(meeting, key=length_mm)
    assert np.abs(foot[:, 1] - 30).min() < 0.4


def test_only_broad_lines_get_a_second_pass():
    thin = layer(on_paper([[[10, 20], [70, 20]]]), 80.0, 60.0, 0.5)
    broad = layer(on_paper([[[10, 20], [70, 20]]], pen_mm=6.0), 80.0, 60.0, 0.5)
    assert len(Outline().strokes(thin)) == 1
    first, both = OUTLINE.strokes(broad), Outline().strokes(broad)
    assert len(both) > len(first)
    band = shapely.linestrings([[10, 20], [70, 20]]).buffer(3.0)
    assert all(band.contains(shapely.linestrings(stroke)) for stroke in both)


@pytest.mark.parametrize("seed", range(3))
def test_the_grain_of_even_paper_has_no_outlines(seed):
    grain = np.random.default_rng(seed).normal(0.3, 0.05, (300, 400))
    assert len(Outline(detail=1.0).strokes(layer(np.clip(grain, 0, 1), 80.0, 60.0, 0.5))) <= 1


# Contours


@pytest.mark.parametrize("radius", [8.0, 15.0, 25.0])
def test_the_contour_of_a_disc_has_its_circumference_and_area(radius):
    strokes = Contours(levels=1, blur=0.0, spread="even", least=0).strokes(layer(disc(60, 80, radius), 80.0, 60.0))
    assert len(strokes) == 1
    x, y = strokes[0].T
    area = 0.5 * abs(np.sum(x[:-1] * np.diff(y) - y[:-1] * np.diff(x)))
    assert area == pytest.approx(np.pi * radius**2, rel=0.01)
    assert length_mm(strokes[0]) == pytest.approx(2 * np.pi * radius, rel=0.02)


def test_contours_of_an_even_slope_are_straight_and_evenly_spaced():
    cover = np.tile((np.arange(80) + 0.5) / 80, (60, 1))
    strokes = Contours(levels=8, blur=0.0, spread="even").strokes(layer(cover, 80.0, 60.0))
    places = sorted(stroke[:, 0].mean() for stroke in strokes)
    assert len(places) == 8
    assert max(np.ptp(stroke[:, 0]) for stroke in strokes) < 0.01
    assert np.diff(places) == pytest.approx(79 / 8, abs=0.01)  # between the middles of the first and the last pixel


# Centre lines


def drawn(strokes, width: int = 160, height: int = 120, pen: float = 5.0) -> np.ndarray:
    """Line art: strokes of ``pen`` pixels on a page where a pixel is a millimetre."""
    return inked([np.asarray(s, dtype=float) for s in strokes], (width, height), pen_mm=pen, pixel_mm=1.0)


@pytest.mark.parametrize("angle", [0, 20, 45, 70, 90])
def test_a_thick_line_becomes_one_line_along_its_middle(angle):
    along = 45 * np.array([np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))])
    ends = np.array([80.0, 60.0]) + [-along, along]
    strokes = CentreLines().strokes(layer(drawn([ends]), 160.0, 120.0, 1.0))
    assert len(strokes) == 1
    normal = np.array([-along[1], along[0]]) / 45
    assert np.abs((strokes[0] - [80.0, 60.0]) @ normal).max() < 0.8
    assert length_mm(strokes[0]) == pytest.approx(90, abs=6)


@pytest.mark.parametrize("angle", [40, 60, 90])
def test_lines_that_cross_stay_two_lines(angle):
    """Thinning alone leaves four arms, and where lines cross at a slant a bridge between two junctions."""
    half = np.deg2rad(angle / 2)
    middle = np.array([80.0, 60.0])
    ways = [50 * np.array([np.cos(half), np.sin(half)]), 50 * np.array([np.cos(half), -np.sin(half)])]
    strokes = CentreLines().strokes(layer(drawn([[middle - w, middle + w] for w in ways]), 160.0, 120.0, 1.0))
    assert len(strokes) == 2
    for stroke in strokes:
        ends = stroke[[0, -1]] - middle
        along = ways[0] if abs(ends[0] @ ways[0]) > abs(ends[0] @ ways[1]) else ways[1]
        normal = np.array([-along[1], along[0]]) / 50
        assert np.abs((stroke - middle) @ normal).max() < 2.0
        assert length_mm(stroke) == pytest.approx(100, abs=8)


def test_a_ring_becomes_one_closed_line():
    t = np.linspace(0, 2 * np.pi, 100)
    ring = np.column_stack((80 + 35 * np.cos(t), 60 + 35 * np.sin(t)))
    strokes = CentreLines().strokes(layer(drawn([ring]), 160.0, 120.0, 1.0))
    assert len(strokes) == 1
    assert np.hypot(*(strokes[0] - [80.0, 60.0]).T) == pytest.approx(35.0, abs=0.6)
    assert length_mm(strokes[0]) == pytest.approx(2 * np.pi * 35, rel=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_tracing_visits_the_pixels_of_a_skeleton_of_scikit_image_and_no_others(seed):
    rng = np.random.default_rng(seed)
    thin = skeletonize(drawn(rng.uniform(10, 110, (6, 4, 2)) * [1.3, 1.0]) > 0.5, method="zhang")
    traced = np.zeros_like(thin)
    for line in chains(thin):
        column, row = np.round(line).astype(int).T
        traced[row, column] = True
    # If several junction pixels are merged, the line runs through their middle.
    assert (ndimage.distance_transform_edt(~traced)[thin] <= 3.0).all()
    assert (ndimage.distance_transform_edt(~thin)[traced] <= 3.0).all()
    assert (traced & thin).sum() > 0.93 * thin.sum()


def test_smoothing_keeps_ends_and_rings_closed():
    line = np.column_stack((np.arange(30.0), np.arange(30) // 3))
    smoothed = smooth(line, 2.0)
    assert smoothed[[0, -1]] == pytest.approx(line[[0, -1]], abs=1e-9)
    ring = np.vstack((line, line[:1]))
    assert (smooth(ring, 2.0)[0] == smooth(ring, 2.0)[-1]).all()


# Directions


def test_directions_follow_stripes_and_agree_with_scikit_image():
    y, x = np.mgrid[:120, :160] + 0.5
    for angle in (0, 30, 65, 90, 140):
        turn = np.deg2rad(angle)
        # Stripes along (cos, -sin): y points down, and 30 degrees rises to the right.
        across = x * np.sin(turn) + y * np.cos(turn)
        field = Field((0.5 + 0.5 * np.sin(across / 3)).astype(np.float32), 160.0, 120.0, 0.5)
        cosine, sine = directions(field, 10.0, 1.0, 8.0)
        middle = (slice(20, -20), slice(20, -20))
        assert cosine[middle] == pytest.approx(np.cos(2 * turn), abs=0.12)
        assert sine[middle] == pytest.approx(-np.sin(2 * turn), abs=0.12)
        yy, xy, xx = structure_tensor(ndimage.gaussian_filter(field.coverage, 1.0), sigma=8.0, order="rc")
        theirs = np.arctan2(-2 * xy, yy - xx)
        assert np.cos(np.arctan2(sine, cosine) - theirs)[middle].min() > 0.99


def test_without_form_directions_are_those_asked_for():
    field = Field(np.full((60, 80), 0.5, dtype=np.float32), 80.0, 60.0, 0.5)
    cosine, sine = directions(field, 30.0, 1.0, 8.0)
    assert cosine == pytest.approx(np.cos(np.deg2rad(60)), abs=1e-6)
    assert sine == pytest.approx(-np.sin(np.deg2rad(60)), abs=1e-6)
