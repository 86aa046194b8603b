"""Tones: each tonal method gives the desired coverage, on a grey wedge and photographs of scikit-image."""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pytest
import skimage
from scipy.spatial import cKDTree

from host.photographs import layer, silent, wedge
from linewright.sources import methods, photograph
from linewright.sources.picture import Wish
from linewright.sources.tone import meter, stippling
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.one_line import OneLine
from linewright.sources.tone.streamlines import TEST_SHARE, Streamlines
from linewright.sources.tone.wave import Wave

TONAL = ["hatching", "hatching:form=0.7", "cross-hatching", "cross-hatching:form=1", "streamlines", "waves", "spiral",
         "stippling:rounds=10", "one-line", "scribbles", "strokes"]  # fmt: skip
PICTURES = Path(skimage.__file__).parent / "data"


def way(words: str) -> ToneMethod:
    found = methods.chosen(words)
    assert isinstance(found, ToneMethod)
    return found


@pytest.mark.parametrize("words", TONAL)
def test_a_grey_wedge_comes_out_as_a_wedge(words):
    given = layer(wedge(60, 120), 120.0, 60.0, 0.4)
    ink = inked(way(words).strokes(given), (120.0, 60.0), pen_mm=0.4, pixel_mm=0.1)
    steps = ink.reshape(600, 8, 150).mean(axis=(0, 2))
    # Streamlines at an angle to an even slope all end, or begin, at the same tone, which is their worst case.
    slack = 0.08 if "form" in words or words == "streamlines" else 0.045
    assert steps == pytest.approx((np.arange(8) + 0.5) / 8, abs=slack)
    # Intermediate tones are distinct: coverage increases from step to step.
    assert (np.diff(steps) > 0.05).all()


@pytest.mark.parametrize("words", TONAL)
@pytest.mark.parametrize("name", ["camera"])
def test_photographs_of_scikit_image_keep_their_tones(words, name):
    """On a small card with a fine pen, viewed from across a room; bench/README.md has the figures for A4."""
    taken = photograph.load(str(PICTURES / f"{name}.png"))
    method = way(words + ("," if ":" in words else ":") + "contrast=none")
    wish = Wish(room_mm=(74.0, 105.0), pen_width_mm=0.3)
    picture = method.drawn(taken, wish)
    reading = meter.read(list(picture.drawing), method.wanted(taken, wish))
    assert reading.error < 0.06
    assert abs(reading.bias) < 0.03


def test_the_meter_knows_the_photograph_itself_and_white_paper():
    """Solid black and blank paper as references: their errors follow from the wedge's mean."""
    field = Field(wedge().astype(np.float32), 80.0, 60.0, 0.5)
    nothing = meter.read([], field)
    assert nothing.error == pytest.approx(0.5, abs=0.01)
    assert nothing.bias == pytest.approx(-0.5, abs=0.01)
    solid = [np.array([[0.0, y], [80.0, y]]) for y in np.arange(0.25, 60, 0.5)]
    assert meter.read(solid, field).bias == pytest.approx(0.5, abs=0.01)
    assert nothing.likeness < 0.3


# Stippling


def test_dots_cover_nearly_what_perfect_triangles_would():
    """Discs at distance h cover their area less three lenses each (Weisstein, "Circle-circle intersection", MathWorld);
    nothing covers more with as many (Fejes Toth 1953), and settled dots cover some 5 % less where they overlap."""
    h = np.linspace(np.sqrt(3) / 2, 1.0, 40)
    lens = np.arccos(h) / 2 - h / 2 * np.sqrt(1 - h**2)
    dense = 2 / (np.sqrt(3) * h**2)
    perfect = np.interp(stippling.COVERS[0], (dense * np.pi / 4)[::-1], (dense * (np.pi / 4 - 3 * lens))[::-1])
    perfect = np.where(np.array(stippling.COVERS[0]) < np.pi / np.sqrt(12), stippling.COVERS[0], perfect)
    found = np.array(stippling.COVERS[1])
    assert (found <= perfect + 0.002).all()
    assert (found >= perfect - 0.06).all()


def test_stipples_are_spread_as_points_in_the_centres_of_their_cells_are():
    """Of the largest distance that so many points can have, the mean to the nearest is 0.85 to 0.95 after Lloyd's
    iteration (Lagae and Dutre 2008 find 0.7 to 0.85 for the least); random points have 0.47."""
    even = Field(np.full((60, 60), 0.5, dtype=np.float32), 60.0, 60.0, 0.5)
    places = stippling.settled(even, 1500, 40, 1, silent, "")
    nearest = cKDTree(places).query(places, k=2)[0][:, 1]
    most = np.sqrt(2 / (np.sqrt(3) * 1500 / 3600))
    assert 0.85 < nearest.mean() / most < 0.96


def test_the_tree_and_the_compiled_search_find_the_same_centres():
    rng = np.random.default_rng(4)
    weight = rng.random((80, 90)) ** 3
    weight[:30, :40] = 0.0
    x, y = rng.random(300) * 90, rng.random(300) * 80
    one, other = stippling._centres(weight, x, y), stippling._centres_by_tree(weight, x, y)
    assert np.allclose(one, other, atol=1e-6)


def test_few_dots_become_large_ones_that_cover_as_much():
    given = layer(np.full((60, 80), 0.4))
    for points in (200, 800, 4000):
        strokes = stippling.Stippling(points=points).strokes(given)
        assert len(strokes) == pytest.approx(points, abs=1)
        assert meter.read(strokes, given.field).ink == pytest.approx(0.4, abs=0.03)


def test_dots_are_as_many_as_the_tones_need_and_many_are_said():
    told: list[str] = []
    given = Layer(Field(np.full((120, 160), 0.5, np.float32), 80.0, 60.0, 0.3), 0, silent, told.append)
    strokes = stippling.Stippling(rounds=1).strokes(given)
    assert len(strokes) == pytest.approx(80 * 60 * 0.5 / (np.pi * 0.3**2 / 4), rel=0.01)  # none covers another
    assert all(len(stroke) == 1 for stroke in strokes)
    assert f"{len(strokes)} dots" in told[0]


def test_stippling_works_without_a_compiler(monkeypatch):
    monkeypatch.setattr(stippling, "available", lambda: False)
    given = layer(np.full((60, 80), 0.3))
    strokes = stippling.Stippling(points=500, rounds=5).strokes(given)
    assert meter.read(strokes, given.field).ink == pytest.approx(0.3, abs=0.03)


# One line


def test_one_line_goes_once_through_every_bend_and_is_nearly_the_shortest():
    """Against elkai, a Lin-Kernighan-type solver: a way without kicks is some 5 % longer (Johnson and McGeoch 1997)."""
    import elkai

    given = layer(np.full((60, 80), 0.25))
    (line,) = OneLine(points=250).strokes(given)
    assert len(line) == len(np.unique(line, axis=0)) == 250
    apart = np.hypot(*(line[:, None] - line[None]).transpose(2, 0, 1))
    best = elkai.DistanceMatrix(np.round(apart * 1000).astype(int).tolist()).solve_tsp()
    shortest = sum(apart[a, b] for a, b in itertools.pairwise(best))
    closed = np.hypot(*np.diff(np.vstack((line, line[:1])), axis=0).T).sum()
    assert shortest * 0.999 <= closed < 1.08 * shortest


def test_too_few_bends_are_said():
    notes: list[str] = []
    given = layer(np.full((60, 80), 0.5))
    OneLine(points=100).strokes(type(given)(given.field, 0, silent, notes.append))
    assert "with 100 bends" in notes[0]


# Waves


def test_a_gentle_wave_covers_its_length():
    """Length of a sine by the complete elliptic integral of the second kind (Abramowitz and Stegun 17.3)."""
    from scipy.special import ellipe

    wave = Wave(pitch_mm=6.0, pen_mm=0.3)
    stations = np.full(8000, 0.4)
    swing = wave.swing_mm(stations)
    measured = np.hypot(wave.step_mm, np.diff(swing)).sum() / (wave.step_mm * (len(swing) - 1))
    length = 9.0 * (0.39 / 9.0) ** 0.4
    steep = np.ptp(swing) / 2 * 2 * np.pi / length
    exact = 2 / np.pi * np.sqrt(1 + steep**2) * ellipe(steep**2 / (1 + steep**2))
    assert measured == pytest.approx(exact, rel=0.01)
    wanted = np.array([exact * 0.3 / 6.0])
    assert wave.modulation(wanted)[0] == pytest.approx(0.4, abs=0.06)


# Streamlines


def test_streamlines_keep_their_distance():
    """No line comes nearer to another than the share of the distance wanted that Jobard and Lefer call d_test."""
    given = layer(np.full((60, 80), 0.25), pen_mm=0.5)
    strokes = list(Streamlines(form=0.0, angle_deg=20).strokes(given))
    assert len(strokes) > 10
    import shapely

    lines = shapely.segmentize(
        shapely.linestrings(np.concatenate(strokes), indices=np.repeat(range(len(strokes)), [len(s) for s in strokes])),
        0.2,
    )
    points, owner = shapely.get_coordinates(lines, return_index=True)
    tree = cKDTree(points)
    near = tree.query_ball_point(points, 0.9 * TEST_SHARE * 0.5 / 0.25)
    assert all(owner[j] == owner[i] for i, close in enumerate(near) for j in close)


@pytest.mark.skipif("numba" not in sys.modules, reason="nothing is compiled here")
def test_compiled_streamlines_are_those_of_plain_python():
    from linewright.sources import streamlines

    given = layer(np.full((30, 40), 0.2), 20.0, 15.0)
    fast = Streamlines().strokes(given)
    kernels = {name: getattr(streamlines, name) for name in ("heading", "_near", "_grow")}
    try:
        for name, kernel in kernels.items():
            setattr(streamlines, name, kernel.py_func)
        slow = Streamlines().strokes(given)
    finally:
        for name, kernel in kernels.items():
            setattr(streamlines, name, kernel)
    assert len(fast) == len(slow)
    assert all(np.allclose(a, b, atol=1e-6) for a, b in zip(fast, slow, strict=True))
