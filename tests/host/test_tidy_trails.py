"""Networks in few strokes. Outside checks: Euler's count and a best matching, both by networkx."""

from __future__ import annotations

import math

import networkx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.zoo import SOUND, drawings
from linewright.drawing.strokes import Drawing
from linewright.tidy import Tidiness, Tidying, tidy
from linewright.tidy.dedupe import drop_repeats
from linewright.tidy.postman import pairing
from linewright.tidy.touches import cut_at_touches
from linewright.tidy.trails import trails


def net(sides, step_mm=5.0):
    """A drawing of one stroke for each side, a pair of whole-numbered places."""
    return Drawing.from_strokes([np.array(side) * step_mm for side in sides])


def grid(columns, rows):
    level = [((x, y), (x + 1, y)) for x in range(columns) for y in range(rows + 1)]
    upright = [((x, y), (x, y + 1)) for x in range(columns + 1) for y in range(rows)]
    return net(level + upright)


def graph_of(drawing):
    graph = networkx.MultiGraph()
    for pen, stroke in zip(drawing.pen, drawing, strict=True):
        if len(stroke) > 1:
            one, other = ((int(pen), *(p + 0.0)) for p in (stroke[0], stroke[-1]))
            graph.add_edge(one, other, length=float(np.hypot(*np.diff(stroke, axis=0).T).sum()))
    return graph


def least_trails(graph):
    """Euler: half the odd vertices of each connected part, one at least."""
    parts = networkx.connected_components(graph)
    return sum(max(1, sum(graph.degree(v) % 2 for v in part) // 2) for part in parts)


def segments(drawing):
    """Every segment whichever way it is drawn, with its pen."""
    out = []
    for pen, stroke in zip(drawing.pen, drawing, strict=True):
        for a, b in zip(stroke[:-1].tolist(), stroke[1:].tolist(), strict=True):
            out.append((int(pen), *sorted((tuple(a), tuple(b)))))
    return sorted(out)


def test_the_house_of_saint_nicholas_is_one_trail():
    # The classic: square, both diagonals, roof; two odd corners.
    sides = [((0, 2), (4, 2)), ((4, 2), (4, 6)), ((4, 6), (0, 6)), ((0, 6), (0, 2))]
    sides += [((0, 2), (4, 6)), ((4, 2), (0, 6)), ((0, 2), (2, 0)), ((2, 0), (4, 2))]
    house = net(sides)
    (one,) = trails(house)
    assert len(one) == len(sides) + 1
    assert segments(Drawing.from_strokes([one])) == segments(house)


@pytest.mark.parametrize("shape", [(1, 1), (2, 1), (3, 2), (5, 4), (12, 9)])
def test_a_grid_takes_as_few_trails_as_euler_says(shape):
    drawing = grid(*shape)
    out = trails(drawing)
    assert len(out) == least_trails(graph_of(drawing))
    assert segments(out) == segments(drawing)


@pytest.mark.parametrize("shape", [(2, 1), (3, 2), (5, 4), (12, 9)])
def test_with_redrawing_a_grid_is_one_trail_and_no_side_is_drawn_three_times(shape):
    drawing = grid(*shape)
    out = trails(drawing, redraw_mm=1000.0)
    assert len(out) == 1
    drawn, wanted = segments(out), segments(drawing)
    assert set(drawn) == set(wanted)
    assert max(drawn.count(side) for side in wanted) <= 2


@pytest.mark.parametrize("shape", [(2, 2), (3, 2), (4, 1)])
def test_what_is_drawn_twice_is_the_least_there_is(shape):
    # The open postman problem: the shortest of all pairings of the odd vertices except two; networkx' blossom
    # algorithm finds it for every choice of those two.
    drawing = grid(*shape)
    graph = graph_of(drawing)
    odd = [v for v in graph if graph.degree(v) % 2]
    far = {a: networkx.single_source_dijkstra_path_length(graph, a, weight="length") for a in odd}
    least = math.inf
    for i, a in enumerate(odd):
        for b in odd[i + 1 :]:
            rest = networkx.Graph()
            left = [v for v in odd if v not in (a, b)]
            rest.add_weighted_edges_from((u, v, far[u][v]) for u in left for v in left if u < v)
            found = networkx.min_weight_matching(rest)
            least = min(least, sum(far[u][v] for u, v in found))
    out = trails(drawing, redraw_mm=1000.0)
    assert out.stroke_lengths_mm().sum() - drawing.stroke_lengths_mm().sum() == pytest.approx(least)


def test_large_pairings_come_close_to_the_best():
    # Forty places, paired within a reach; networkx' blossom algorithm gives the largest number of pairs, and their
    # least length.
    rng = np.random.default_rng(5)
    for _ in range(5):
        at = rng.uniform(0, 100, (40, 2))
        d = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
        ways = {i: {j: (float(d[i, j]), ()) for j in range(40) if j != i and d[i, j] < 30} for i in range(40)}
        graph = networkx.Graph()
        graph.add_weighted_edges_from((i, j, -way[0]) for i, out in ways.items() for j, way in out.items() if i < j)
        best = networkx.max_weight_matching(graph, maxcardinality=True)
        ours = pairing(list(range(40)), ways, 20)
        assert len({v for pair in ours for v in pair}) == 2 * len(ours)
        assert len(ours) == len(best)
        assert sum(d[i, j] for i, j in ours) <= 1.15 * sum(d[i, j] for i, j in best)


def test_no_way_longer_than_allowed_is_drawn_twice():
    # Three combs with teeth of different pitch: 2 mm may be drawn twice, 4 and 8 may not.
    out_mm = {}
    for pitch in (2.0, 4.0, 8.0):
        spine = [[(i * pitch, 0.0), ((i + 1) * pitch, 0.0)] for i in range(9)]
        teeth = [[(i * pitch, 0.0), (i * pitch, 5.0)] for i in range(10)]
        comb = Drawing.from_strokes(spine + teeth)
        out = trails(comb, redraw_mm=3.0)
        out_mm[pitch] = out.stroke_lengths_mm().sum() - comb.stroke_lengths_mm().sum()
        assert len(out) < len(trails(comb)) if pitch == 2.0 else len(out) == len(trails(comb))
    assert out_mm[2.0] > 0
    assert out_mm[4.0] == out_mm[8.0] == pytest.approx(0.0)


def test_a_vertex_that_is_near_to_many_need_not_be_near_to_all_of_theirs():
    """Forty spokes of a hub and a spur on each: the hub's nearest leave out some to which the hub is nearest."""
    spokes = np.exp(2j * np.pi * np.arange(41) / 41)
    lengths = 1.0 + 0.01 * np.arange(41)
    star = [[(0, 0), (r * s.real, r * s.imag)] for s, r in zip(spokes, lengths, strict=True)]
    spurs = [[stroke[1], (2 * stroke[1][0], 2 * stroke[1][1] + d)] for stroke in star for d in (-0.2, 0.2)]
    out = trails(Drawing.from_strokes(star + spurs), redraw_mm=4.0)
    assert len(out) < len(trails(Drawing.from_strokes(star + spurs)))


def test_the_pen_goes_straight_on_where_lines_cross():
    # A crossing of four halves is two straight lines, not two hooks.
    cross = net([((0, 5), (5, 5)), ((5, 5), (10, 5)), ((5, 0), (5, 5)), ((5, 5), (5, 10))])
    for line in trails(cross):
        assert len(line) == 3
        assert (line[0] == line[-1]).any()


def test_rings_that_touch_become_one_stroke():
    t = np.linspace(0, 2 * math.pi, 60)
    ring = np.column_stack((np.cos(t), np.sin(t)))
    ring[-1] = ring[0]
    chain = Drawing.from_strokes([10 * ring + [20 * i, 0] for i in range(2)] + [[(10, 0), (10, 40)]])
    # The second ring begins at (30, 0), where nothing touches it; the first at (10, 0), where the line begins.
    assert len(trails(chain)) == 2


def test_a_hatching_and_its_outline_are_drawn_in_one_go():
    frame = [(10, 10), (60, 10), (60, 50), (10, 50), (10, 10)]
    hatch = [[(10.0, y), (60.0, y)] for y in np.arange(11.0, 50.0)]
    drawing = Drawing.from_strokes([frame, *hatch])
    assert len(tidy(drawing)) == 40
    one = tidy(drawing, Tidying(wanted=Tidiness(redraw_mm=1.5)))
    assert len(one) == 1
    # A millimetre of frame for each of 38 turns, plus or minus one.
    again_mm = one.stroke_lengths_mm().sum() - drawing.stroke_lengths_mm().sum()
    assert 30 <= again_mm <= 39


def test_hatching_that_ends_on_a_curve_ends_on_its_chords():
    # A circle as pictures bring it: chords within 0.04 mm, and lines that end on the true circle.
    t = np.linspace(0, 2 * math.pi, 81)
    ring = np.column_stack((50 + 50 * np.cos(t), 50 + 50 * np.sin(t)))
    ring[-1] = ring[0]
    hatch = [
        [(50 - w, 50 + h), (50 + w, 50 + h)] for h in np.arange(-45.0, 46.0, 3.0) for w in [math.sqrt(2500 - h * h)]
    ]
    drawing = Drawing.from_strokes([ring, *hatch])
    assert len(tidy(drawing, Tidying(wanted=Tidiness(redraw_mm=8.0)))) <= 2


def test_a_line_is_cut_where_another_ends_on_it_and_nowhere_else():
    base = [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)]
    drawing = Drawing.from_strokes(
        [base, [(4, 0.001), (4, 9)], [(10, 0), (10, -9)], [(0, 0), (-5, 5)], [(15, 1), (15, 9)]]
    )
    out = cut_at_touches(drawing, tolerance_mm=0.01)
    assert [s.tolist() for s in out][:3] == [[[0, 0], [4, 0]], [[4, 0], [10, 0]], [[10, 0], [20, 0]]]
    assert len(out) == 7
    assert out.stroke(3).tolist() == [[4, 0], [4, 9]]


@pytest.mark.parametrize("name", SOUND)
@pytest.mark.parametrize("redraw_mm", [0.0, 50.0])
def test_the_zoo(name, redraw_mm):
    drawing = drop_repeats(SOUND[name])
    out = trails(drawing, redraw_mm=redraw_mm)
    assert set(segments(out)) == set(segments(drawing))
    trails(drawing, tolerance_mm=0.05, redraw_mm=redraw_mm)
    cut_at_touches(drawing, tolerance_mm=0.01)


@given(drawings())
def test_every_segment_is_drawn_once_in_the_least_number_of_trails(drawing):
    """Trails draw every segment as often as before, with its pen, and are as few as Euler says."""
    drawing = drop_repeats(drawing)
    out = trails(drawing)
    assert segments(out) == segments(drawing)
    dots = sum(len(stroke) == 1 for stroke in drawing)
    assert len(out) == least_trails(graph_of(drawing)) + dots


@given(drawings(), st.sampled_from([10.0, 60.0, 1000.0]))
def test_redrawing_never_takes_more_trails_and_draws_nothing_new(drawing, redraw_mm):
    """With redrawing there are no more trails, of the same segments, and none is drawn more than once again."""
    drawing = drop_repeats(drawing)
    few, once = trails(drawing, redraw_mm=redraw_mm), trails(drawing)
    assert len(few) <= len(once)
    drawn, wanted = segments(few), segments(drawing)
    assert set(drawn) == set(wanted)
    assert all(wanted.count(s) <= drawn.count(s) <= 2 * wanted.count(s) for s in set(wanted))
