"""Patterns: within their area, suitable density, reproducible; and known properties of each curve."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import spatial

from linewright.errors import InputError, SourceError
from linewright.sources import methods
from linewright.sources.patterns import folds, growth, heads, ribbon, rosettes, surprise, wheels
from linewright.sources.patterns.cells import voronoi
from linewright.sources.patterns.currents import Flow, streamlines
from linewright.sources.patterns.density import overfull
from linewright.sources.patterns.dunes import Dunes
from linewright.sources.patterns.finish import finished, joined
from linewright.sources.patterns.noise import Noise
from linewright.sources.patterns.pendulums import Pendulums
from linewright.sources.patterns.rewriting import Rules, turtle
from linewright.sources.picture import Wish
from linewright.sources.streamlines import heading

NAMES = [name for name, method in methods.METHODS.items() if method.takes == "seed"]
POSTCARD = Wish((138.0, 95.0), pen_width_mm=0.5)


@functools.lru_cache(maxsize=64)
def drawn(name: str, wish: Wish = POSTCARD, settings_text: str = "seed=1"):
    return methods.chosen(f"{name}:{settings_text}").read("", wish)


def length(line) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def test_there_are_a_dozen_and_more():
    assert len(NAMES) >= 13


# Of every pattern


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_pattern_fills_its_room_and_stays_in_it(name, seed):
    picture = drawn(name, settings_text=f"seed={seed}")
    x0, y0, x1, y1 = picture.drawing.bounds_mm()
    assert (picture.width_mm, picture.height_mm) == POSTCARD.room_mm
    assert x0 >= 0
    assert y0 >= 0
    assert x1 <= 138.0
    assert y1 <= 95.0
    assert np.isfinite(picture.drawing.points_mm).all()
    # All patterns except figures of unusual proportions use most of the shorter side.
    assert max((x1 - x0) / 138.0, (y1 - y0) / 95.0) > 0.9


@pytest.mark.parametrize("name", NAMES)
def test_no_stroke_is_shorter_than_the_pen_is_wide(name):
    assert drawn(name).drawing.stroke_lengths_mm().min() > 0.5


@pytest.mark.parametrize("name", NAMES)
def test_the_same_seed_gives_the_same_strokes_and_another_seed_others(name):
    a = drawn(name).drawing
    b, other = (methods.chosen(f"{name}:seed={seed}").read("", POSTCARD).drawing for seed in (1, 2))
    assert np.array_equal(a.points_mm, b.points_mm)
    assert np.array_equal(a.starts, b.starts)
    if name not in ("folds", "heads"):  # for these the seed only selects the kind
        assert a.points_mm.shape != other.points_mm.shape or not np.allclose(a.points_mm, other.points_mm)


@pytest.mark.parametrize("name", NAMES)
def test_a_pattern_leaves_paper_white(name):
    # Ink by length, crossings counted twice: at most half of the sheet, common practice.
    drawing = drawn(name).drawing
    assert drawing.stroke_lengths_mm().sum() * 0.5 < 0.5 * 138.0 * 95.0


FIELDS = ["cells", "currents", "dunes", "folds", "heads", "islands", "ribbon", "scales", "tiles"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", [1, 2])
def test_lines_leave_white_between_them(name, seed):
    # Coverage by length of ink in squares of four pen widths: at most 85 %.  Figures whose lines cross have their
    # knots; there it may be the smaller half of the ink.
    lines = [surprise._stepped(line, 0.5) for line in drawn(name, settings_text=f"seed={seed}").drawing]
    assert overfull(lines, 0.5) <= (0.01 if name in FIELDS else 0.45)


def test_fullness_is_that_of_lines_at_a_known_distance():
    # Parallel lines one pen apart cover everything, two pens apart half of it.
    def hatched(gap: float) -> list[np.ndarray]:
        x = np.linspace(0.0, 40.0, 401)
        return [np.column_stack((x, np.full(len(x), y))) for y in np.arange(0.0, 40.0, gap)]

    assert overfull(hatched(0.5), 0.5) > 0.95
    assert overfull(hatched(1.0), 0.5) == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_the_pen_is_lifted_seldom(name):
    # 20 mm of ink for each lift in the mean, except where a pattern is made of seeds or leaves.
    lengths = drawn(name).drawing.stroke_lengths_mm()
    assert lengths.mean() > (5.0 if name in ("heads", "growth") else 20.0)


@pytest.mark.parametrize("name", NAMES)
def test_a_room_too_small_is_refused_or_filled(name):
    for room in ((8.0, 8.0), (1.0, 300.0)):
        try:
            picture = drawn(name, Wish(room, pen_width_mm=0.7))
        except SourceError:
            continue
        x0, y0, x1, y1 = picture.drawing.bounds_mm()
        assert x0 >= 0
        assert y0 >= 0
        assert x1 <= room[0]
        assert y1 <= room[1]


@settings(max_examples=25)
@given(
    st.sampled_from(NAMES), st.integers(0, 2**31), st.floats(40.0, 160.0), st.floats(40.0, 160.0), st.floats(0.3, 1.5)
)
def test_any_seed_room_and_pen_give_strokes_in_the_room(name, seed, width, height, pen):
    picture = drawn(name, Wish((width, height), pen_width_mm=pen), f"seed={seed}")
    x0, y0, x1, y1 = picture.drawing.bounds_mm()
    assert x0 >= 0
    assert y0 >= 0
    assert x1 <= width
    assert y1 <= height
    assert picture.drawing.stroke_lengths_mm().min() > pen


@pytest.mark.parametrize(
    "words", ["wheels:seed=-1", "wheels:seed=x", "wheels:colour=red", "tiles:bridges=nan", "whels"]
)
def test_settings_that_are_none_are_refused(words):
    with pytest.raises(InputError):
        methods.chosen(words)


@pytest.mark.parametrize("name", ["currents", "folds", "ribbon"])
def test_lines_closer_than_the_pen_is_wide_are_refused(name):
    with pytest.raises(SourceError, match=r"lines 0\.2 mm apart are closer than the pen of 0\.5 mm is wide"):
        methods.chosen(f"{name}:spacing_mm=0.2").read("", POSTCARD)
    assert len(methods.chosen(f"{name}:spacing_mm=4").read("", POSTCARD).drawing)


@pytest.mark.parametrize(
    "words",
    ["cells:cells=1", "dunes:ridges=1", "tiles:across=60", "wheels:ring=1", "wheels:wheel=999", "scales:across=80",
     "islands:sea=0", "islands:levels=1,shore_lines=0", "heads:seeds=1", "rosettes:wreaths=12", "ferns:fronds=1"],
)  # fmt: skip
def test_settings_at_their_ends_give_strokes_or_a_reason(words):
    try:
        drawing = methods.chosen(words).read("", POSTCARD).drawing
    except SourceError as refused:
        assert refused.hint  # noqa: PT017  # both outcomes are valid
    else:
        assert drawing.stroke_lengths_mm().min() > 0.5


# Wheels


@given(st.integers(3, 240), st.integers(1, 239), st.floats(0.1, 1.5))
def test_a_wheel_comes_back_to_its_begin_after_the_turns_that_the_teeth_say_and_not_before(ring, wheel, hole):
    # Closed after n / gcd(N, n) turns (Lockwood 1961).  Before that the point differs, as N / gcd petals are spread.
    wheel = min(wheel, ring - 1)
    turns = wheel // math.gcd(ring, wheel)
    petals = ring // math.gcd(ring, wheel)
    line = wheels.hypotrochoid(ring, wheel, hole, turns)
    assert line[0] == pytest.approx(line[-1], abs=1e-9)
    outer = 1 - wheel / ring + hole * wheel / ring
    far = np.hypot(*line[:-1].T) > outer - 1e-9
    assert far.sum() == petals


def test_a_hypocycloid_is_as_long_as_its_formula():
    # The pen on the rim and k = N / n whole: the length is 8 (k - 1) r (Lockwood 1961: deltoid 16 r, astroid 24 r).
    for k in (3, 4, 7):
        line = wheels.hypotrochoid(k * 10, 10, 1.0, 1)
        assert length(line) == pytest.approx(8 * (k - 1) / k, rel=1e-3)


def test_the_ellipse_of_the_half_wheel():
    # A wheel of half the ring draws an ellipse with the semi-axes r + d and r - d (Tusi's couple).
    line = wheels.hypotrochoid(20, 10, 0.5, 1)
    assert (line[:, 0] / 0.75) ** 2 + (line[:, 1] / 0.25) ** 2 == pytest.approx(1.0)


# Folds


def hilbert_place(index: int, order: int) -> tuple[int, int]:
    """Cell of an index, by the bits of the index (the usual iterative conversion, written from its definition)."""
    x = y = 0
    side = 1
    while side < 2**order:
        rx = 1 & (index // 2)
        ry = 1 & (index ^ rx)
        if ry == 0:
            if rx == 1:
                x, y = side - 1 - x, side - 1 - y
            x, y = y, x
        x, y = x + side * rx, y + side * ry
        index //= 4
        side *= 2
    return x, y


@pytest.mark.parametrize("order", range(1, 7))
def test_hilberts_curve_visits_every_cell_once_in_steps_of_one(order):
    line = folds.hilbert(order)
    side = 2**order
    assert len({tuple(p) for p in line.tolist()}) == side * side
    assert line.min() == 0
    assert line.max() == side - 1
    assert np.abs(np.diff(line, axis=0)).sum(axis=1).tolist() == [1.0] * (side * side - 1)


@pytest.mark.parametrize("order", range(1, 6))
def test_hilberts_curve_is_that_of_the_bits_of_its_index(order):
    # Another construction altogether: up to a reflection of the square at its diagonal.
    expected = np.array([hilbert_place(i, order) for i in range(4**order)], dtype=float)
    line = folds.hilbert(order)
    assert np.array_equal(line, expected) or np.array_equal(line, expected[:, ::-1])


@pytest.mark.parametrize(("kind", "cells"), [("hilbert", "2^n"), ("peano", "3^n")])
def test_a_field_of_squares_is_one_line_through_all_of_its_cells(kind, cells):
    field = {"hilbert": folds._hilbert_field, "peano": folds._peano_field}[kind](Wish((190.0, 277.0)), 4.0)
    del cells
    steps = np.abs(np.diff(field, axis=0)).sum(axis=1)
    assert steps.max() == 1.0
    assert len({tuple(p) for p in field.tolist()}) == len(field)
    extent = np.ptp(field, axis=0) + 1
    assert len(field) == extent.prod()


def test_the_flowsnake_has_seven_times_as_many_steps_each_round():
    for order in range(4):
        line = turtle(folds.GOSPER.rewritten(order), folds.GOSPER)[0]
        assert len(line) - 1 == 7**order
        # And its ends are sqrt(7)^n apart (Gardner 1976: each step becomes a chain that spans sqrt 7 of it).
        assert np.hypot(*(line[-1] - line[0])) == pytest.approx(7 ** (order / 2))


def test_the_flowsnake_does_not_touch_itself():
    line = turtle(folds.GOSPER.rewritten(3), folds.GOSPER)[0]
    assert len({tuple(p) for p in line.round(6).tolist()}) == len(line)


def test_a_rewritten_word_has_the_letters_that_its_matrix_predicts():
    # Lindenmayer's algae (1968): A -> AB, B -> A; lengths are Fibonacci's numbers.
    algae = Rules("A", {"A": "AB", "B": "A"})
    assert [len(algae.rewritten(n)) for n in range(8)] == [1, 2, 3, 5, 8, 13, 21, 34]
    # Koch's curve: 4^n segments, (4/3)^n long once each step is a third.
    koch = Rules("F", {"F": "F+F--F+F"}, 60.0)
    for n in range(5):
        line = turtle(koch.rewritten(n), koch)[0]
        assert len(line) - 1 == 4**n
        assert line[-1, 0] == pytest.approx(3.0**n)


def test_a_word_that_grows_beyond_bounds_is_refused():
    with pytest.raises(InputError, match="order 40"):
        Rules("F", {"F": "FF"}).rewritten(40)


# Ribbon


@settings(max_examples=20)
@given(st.integers(2, 9), st.integers(2, 9), st.integers(0, 2**31))
def test_the_ribbon_is_a_closed_tour_of_all_cells(width, height, seed):
    line = ribbon.tour(width, height, np.random.default_rng(seed))
    assert len({tuple(p) for p in line.tolist()}) == 4 * width * height
    around = np.vstack((line, line[:1]))
    assert (np.abs(np.diff(around, axis=0)).sum(axis=1) == 1).all()


def test_the_tree_has_one_door_less_than_cells_and_holds_together():
    doors = ribbon.tree(12, 9, np.random.default_rng(3))
    assert len(doors) == 12 * 9 - 1
    found, edge = {(0, 0)}, [(0, 0)]
    while edge:
        x, y = edge.pop()
        for other, door in (
            ((x + 1, y), (x, y, 0)),
            ((x - 1, y), (x - 1, y, 0)),
            ((x, y + 1), (x, y, 1)),
            ((x, y - 1), (x, y - 1, 1)),
        ):
            if door in doors and other not in found:
                found.add(other)
                edge.append(other)
    assert len(found) == 12 * 9


def test_trees_of_the_two_by_two_grid_are_equally_likely():
    # Kirchhoff's matrix-tree theorem: a square has 4 spanning trees.  400 draws: chi-square with 3 degrees of freedom,
    # 16.27 at the 0.1 % level.
    rng = np.random.default_rng(5)
    counts: dict[frozenset, int] = {}
    for _ in range(400):
        doors = frozenset(ribbon.tree(2, 2, rng))
        counts[doors] = counts.get(doors, 0) + 1
    assert len(counts) == 4
    assert sum((n - 100) ** 2 / 100 for n in counts.values()) < 16.27


# Cells


def test_regions_are_those_of_scipy():
    rng = np.random.default_rng(11)
    seeds = rng.uniform(0, 1, (60, 2)) * (190.0, 277.0)
    ours = voronoi(seeds, (190.0, 277.0))
    # Mirrored at all four sides, every region of the middle is bounded and cut by the room exactly.
    mirrored = [seeds]
    for axis, far in ((0, 190.0), (1, 277.0)):
        for at in (0.0, far):
            image = seeds.copy()
            image[:, axis] = 2 * at - image[:, axis]
            mirrored.append(image)
    theirs = spatial.Voronoi(np.concatenate(mirrored))
    for i in range(len(seeds)):
        corners = theirs.vertices[theirs.regions[theirs.point_region[i]]]
        expected = shapely.Polygon(corners)
        assert ours[i].symmetric_difference(expected).area < 1e-6 * expected.area


def test_regions_tile_the_room():
    seeds = np.random.default_rng(2).uniform(0, 1, (40, 2)) * (100.0, 80.0)
    assert sum(region.area for region in voronoi(seeds, (100.0, 80.0))) == pytest.approx(8000.0)


# Currents


def test_lines_keep_their_distance():
    # Jobard and Lefer 1997: no two lines come closer than d_test, here 0.72 of the distance wanted.
    spacing = 3.0
    wish = Wish((90.0, 70.0))
    lines = streamlines(Flow(np.random.default_rng(4), wish.room_mm, 2), wish, spacing)
    points = np.concatenate(lines)
    owner = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    tree = spatial.cKDTree(points)
    pairs = tree.query_pairs(0.72 * spacing * 0.98, output_type="ndarray")
    assert (owner[pairs[:, 0]] == owner[pairs[:, 1]]).all()
    # There are no gaps: hardly a place is further from a line than the distance.
    grid = np.stack(np.meshgrid(np.linspace(3, 87, 60), np.linspace(3, 67, 60)), axis=-1).reshape(-1, 2)
    assert (tree.query(grid)[0] < 1.1 * spacing).mean() > 0.97


def test_lines_follow_the_flow():
    wish = Wish((90.0, 70.0))
    flow = Flow(np.random.default_rng(4), wish.room_mm, 2)
    for line in streamlines(flow, wish, 4.0)[:10]:
        step = np.diff(line, axis=0)
        middle = (line[1:] + line[:-1]) / 2
        along = np.array([heading(x, y, flow.directions(4.0), 1.0, 0.0) for x, y in middle.tolist()])
        cosine = np.abs((step * along).sum(axis=1)) / np.hypot(*step.T)
        assert np.median(cosine) > 0.999


# Heads


def test_seeds_stand_where_vogel_says():
    # Vogel 1979: r = c sqrt(n), theta = n * 137.508 degrees; so every seed has the same area, pi c^2.
    places = heads.vogel(500, 2.0)
    n = np.arange(1, 501)
    assert np.hypot(*places.T) == pytest.approx(2.0 * np.sqrt(n))
    turn = np.degrees(np.diff(np.unwrap(np.arctan2(places[:, 1], places[:, 0])))) % 360
    assert turn == pytest.approx(137.50776, abs=1e-4)


# Growth


@pytest.mark.parametrize("kind", growth.KINDS)
def test_a_plant_has_a_leaf_for_every_bud_that_is_left(kind):
    plant = growth.KINDS[kind]
    word = growth.word(plant, np.random.default_rng(1))
    assert word.count("[") == word.count("]")
    assert "B" not in word
    lines = growth.grown(plant, np.random.default_rng(1))
    # Each pair of brackets with a step in it is a stem, and each L a leaf; the trunk is one more.
    leaves = word.count("L")
    assert leaves < len(lines) <= leaves + word.count("[") + 1


# Rosettes


def test_a_wreath_lies_between_its_circles_and_closes():
    for seed in range(5):
        lines = rosettes.wreath(30.0, 50.0, 8, np.random.default_rng(seed), 0.5, 0)
        for line in lines:
            reach = np.hypot(*line.T)
            assert reach.min() >= 30.0 - 1e-9
            assert reach.max() <= 50.0 + 1e-9
            assert (line[0] == line[-1]).all()


# Pendulums and dunes


def test_pendulums_of_one_ratio_and_no_detuning_shrink_by_their_decay():
    picture = Pendulums(seed=3, ratio="1:1", decay=0.05).read("", POSTCARD)
    line = picture.drawing.stroke(0)
    reach = np.hypot(*(line - np.array(POSTCARD.room_mm) / 2).T)
    assert reach[: len(reach) // 4].max() > 1.3 * reach[-len(reach) // 4 :].max()


def test_a_ridge_is_never_drawn_across_a_nearer_one():
    drawing = Dunes(seed=2).read("", POSTCARD).drawing
    lines = [shapely.LineString(line) for line in drawing]
    tree = shapely.STRtree(lines)
    crossing = 0
    for a, b in tree.query(lines, predicate="crosses").T.tolist():
        crossing += a < b
    assert crossing == 0


# Noise


def test_noise_has_the_mean_the_variance_and_the_slope_that_it_says():
    noise = Noise.of(np.random.default_rng(1), 20.0)
    places = np.random.default_rng(2).uniform(0, 2000, (40000, 2))
    values = noise.at(places)
    assert values.mean() == pytest.approx(0.0, abs=0.05)
    assert values.std() == pytest.approx(1.0, abs=0.05)
    step = 1e-5
    across = (noise.at(places[:50] + (step, 0)) - noise.at(places[:50] - (step, 0))) / (2 * step)
    assert noise.slope_at(places[:50])[:, 0] == pytest.approx(across, abs=1e-6)


# The last step of all patterns


def test_strokes_are_joined_where_they_meet_straight_on_first():
    cross = [
        np.array(line, dtype=float)
        for line in ([(0, 0), (1, 0)], [(1, 0), (2, 0)], [(1, -1), (1, 0)], [(1, 0), (1, 1)])
    ]
    found = joined(cross)
    assert len(found) == 2
    assert sorted(tuple(np.ptp(line, axis=0)) for line in found) == [(0.0, 2.0), (2.0, 0.0)]


def test_a_ring_of_pieces_becomes_one_closed_stroke():
    square = [
        np.array(line, dtype=float) for line in ([(0, 0), (9, 0)], [(9, 9), (9, 0)], [(9, 9), (0, 9)], [(0, 0), (0, 9)])
    ]
    (ring,) = joined(square)
    assert (ring[0] == ring[-1]).all()
    assert length(ring) == 36.0


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(0, 4), st.integers(0, 4)), max_size=30))
def test_joining_loses_no_ink_and_adds_none(pieces):
    lines = [np.array([(a, b), (c, d)], dtype=float) for a, b, c, d in pieces if (a, b) != (c, d)]
    found = joined(lines)
    assert sum(map(length, found)) == pytest.approx(sum(map(length, lines)))
    assert len(found) <= len(lines)


def test_nothing_left_is_refused():
    with pytest.raises(SourceError, match="has no line"):
        finished([np.array([(0.0, 0.0), (0.1, 0.0)])], POSTCARD, name="crumbs")


# Surprise


def test_a_surprise_is_framed_and_numbered():
    picture = drawn("surprise", settings_text="seed=4711")
    foot = [stroke for stroke in picture.drawing if stroke[:, 1].min() > 95.0 - 3.2 * 2.6]
    assert len(foot) >= 5  # the letters of its number


def test_cutting_to_a_circle_keeps_what_is_inside_to_the_edge():
    line = np.array([(0.0, 50.0), (100.0, 50.0)])
    (part,) = surprise.cut([line], lambda p: np.hypot(p[:, 0] - 50, p[:, 1] - 50) - 30)
    assert part[0] == pytest.approx((20.0, 50.0), abs=1e-6)
    assert part[-1] == pytest.approx((80.0, 50.0), abs=1e-6)
