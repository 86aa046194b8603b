"""The order of strokes. Outside check: a plain quadratic search, an exact best order by trying all."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings

from host.zoo import SOUND, TWO_PENS, drawings
from linewright.drawing import Drawing
from linewright.tidy import order, travel_mm


def canonical(stroke):
    """The same for a stroke and its reverse, and for a closed one from wherever it begins."""
    points = [tuple(p) for p in stroke.tolist()]
    if len(points) > 2 and points[0] == points[-1]:
        ring = points[:-1]
        turns = [ring[i:] + ring[:i] for i in range(len(ring))]
        return ("o", min(turns + [t[::-1] for t in turns]))
    return ("-", min(points, points[::-1]))


def bag(drawing):
    return sorted((int(p), *canonical(s)) for p, s in zip(drawing.pen, drawing, strict=True))


def quadratic(drawing, start):
    """The same rule, searched plainly: travel in mm."""
    rest, here, total = [np.asarray(s) for s in drawing], np.array(start, dtype=float), 0.0
    while rest:
        best = None
        for i, s in enumerate(rest):
            closed = len(s) > 2 and np.array_equal(s[0], s[-1])
            for j in range(len(s) - 1) if closed else {0, len(s) - 1}:
                d = math.hypot(*(s[j] - here))
                if best is None or d < best[0]:
                    best = (d, i, s[j] if closed else s[len(s) - 1 - j])
        total += best[0]
        here = best[2]
        rest.pop(best[1])
    return total


def test_the_nearest_comes_next_from_its_nearer_end():
    drawing = Drawing.from_strokes([[(90, 0), (60, 0)], [(30, 0), (10, 0)], [(35, 0), (55, 0)]])
    assert [s.tolist() for s in order(drawing)] == [
        [[10, 0], [30, 0]],
        [[35, 0], [55, 0]],
        [[60, 0], [90, 0]],
    ]


def test_a_closed_stroke_is_entered_at_its_nearest_vertex():
    square = [(90, 90), (90, 10), (10, 10), (10, 90), (90, 90)]
    (one,) = order(Drawing.from_strokes([square]))
    assert one.tolist() == [[10, 10], [10, 90], [90, 90], [90, 10], [10, 10]]


def test_a_long_closed_stroke_is_entered_at_the_nearest_of_all_its_vertices():
    t = np.linspace(0, 2 * math.pi, 1001)
    circle = np.column_stack((100 + 50 * np.cos(t), 100 + 50 * np.sin(t)))
    circle[-1] = circle[0]
    drawing = Drawing.from_strokes([circle])
    (one,) = order(drawing, start_mm=(3.0, 40.0))
    away = np.hypot(*(circle - [3.0, 40.0]).T)
    assert math.hypot(*(one[0] - [3.0, 40.0])) == away.min()
    assert np.array_equal(one[0], one[-1])
    assert bag(order(drawing)) == bag(drawing)


def test_pens_draw_one_after_the_other_from_where_the_last_one_stopped():
    drawing = Drawing.from_strokes(
        [[(50, 0), (60, 0)], [(0, 0), (10, 0)], [(100, 0), (61, 0)], [(11, 0), (49, 0)]],
        pen=[1, 0, 1, 0],
        pens=TWO_PENS,
    )
    out = order(drawing)
    assert out.pen.tolist() == [0, 0, 1, 1]
    assert travel_mm(out) == pytest.approx(1 + 1 + 1)


def test_a_better_given_order_stays():
    # Nearest first is led astray here: 0, then -1, then all the way over to 2.2 and beyond.
    dots = [[(-1.0, 0)], [(1.2, 0)], [(2.2, 0)]]
    drawing = Drawing.from_strokes([dots[0], dots[1], dots[2]])
    assert travel_mm(order(drawing)) <= travel_mm(drawing)
    rng = np.random.default_rng(6)
    spiral = [[(t * math.cos(t), t * math.sin(t))] for t in np.sqrt(np.arange(1, 300)) * 3]
    drawing = Drawing.from_strokes(spiral)
    assert travel_mm(order(drawing)) <= travel_mm(drawing)
    assert travel_mm(order(drawing.select(rng.permutation(len(drawing))))) > 0


def test_travel_counts_every_move_once():
    drawing = Drawing.from_strokes([[(3, 4), (10, 4)], [(10, 9)], [(10, 9), (0, 0)]])
    assert travel_mm(drawing) == pytest.approx(5 + 5 + 0)
    assert travel_mm(Drawing.from_strokes([])) == 0


def test_within_reach_of_the_best_order():
    # The best of all orders and directions, by trying: 5 strokes, 5! * 2^5 ways. Nearest-neighbour tours are some 25 %
    # above the best on average (Johnson and McGeoch 1997); no single one here is twice as long.
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(15):
        strokes = rng.uniform(0, 100, (5, 2, 2))
        best = min(
            travel_mm(Drawing.from_strokes([strokes[i][::d] for i, d in zip(perm, flips, strict=True)]))
            for perm in itertools.permutations(range(5))
            for flips in itertools.product((1, -1), repeat=5)
        )
        ratios.append(travel_mm(order(Drawing.from_strokes(strokes))) / best)
    assert min(ratios) >= 1 - 1e-12
    assert max(ratios) < 2
    assert np.mean(ratios) < 1.3


def test_crowds_and_outliers_do_not_confuse_the_search():
    rng = np.random.default_rng(8)
    for points in (
        np.zeros((50, 2)),
        np.vstack((rng.normal(0, 1e-9, (60, 2)), [[1e6, 1e6]])),
        np.repeat(rng.uniform(0, 10, (7, 2)), 9, axis=0),
        np.column_stack((np.arange(40.0), np.zeros(40))),
    ):
        drawing = Drawing.from_strokes(points[:, None, :])
        assert bag(order(drawing)) == bag(drawing)
        assert travel_mm(order(drawing)) <= quadratic(drawing, (0, 0)) * (1 + 1e-9) + 1e-300


def test_the_tree_finds_what_a_plain_search_finds():
    rng = np.random.default_rng(9)
    for _ in range(20):
        strokes = rng.uniform(0, 100, (int(rng.integers(30, 80)), 2, 2))
        shuffled = Drawing.from_strokes(strokes)
        # A given order of random strokes is never the better one, and there are no ties.
        assert travel_mm(order(shuffled)) == pytest.approx(quadratic(shuffled, (0, 0)), rel=1e-12)


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    drawing = SOUND[name]
    assert bag(order(drawing)) == bag(drawing)


@settings(max_examples=150)
@given(drawings())
def test_order_is_a_permutation_with_reversals(drawing):
    """Every stroke is drawn once, whole, forwards or backwards, closed ones from any vertex, with its own pen."""
    out = order(drawing, start_mm=(7.0, 3.0))
    assert bag(out) == bag(drawing)
    assert (np.diff(out.pen) >= 0).all()
    again = order(drawing, start_mm=(7.0, 3.0))
    assert np.array_equal(out.points_mm, again.points_mm)
