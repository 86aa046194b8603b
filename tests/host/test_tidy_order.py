"""Order of strokes. Outside checks: exhaustive search, tours of known optimum, another solver, ruckig."""

from __future__ import annotations

import importlib.util
import itertools
import math
from contextlib import contextmanager
from pathlib import Path

import elkai
import numpy as np
import pytest
import ruckig
from hypothesis import given

from host.zoo import SOUND, TWO_PENS, drawings
from linewright.drawing.strokes import Drawing
from linewright.motion.kinematics import Limits
from linewright.rig.rig import Rig
from linewright.tidy import BY_LENGTH, Cost, Watcher, order, tour, tour_kernel, travel, travel_mm

ON_RIG = Cost.of_rig(Rig.default())


def canonical(stroke):
    """A key that is equal for a stroke and its reverse, and for a closed stroke from any start."""
    points = [tuple(p) for p in stroke.tolist()]
    if len(points) > 2 and points[0] == points[-1]:
        ring = points[:-1]
        turns = [ring[i:] + ring[:i] for i in range(len(ring))]
        return ("o", min(turns + [t[::-1] for t in turns]))
    return ("-", min(points, points[::-1]))


def bag(drawing):
    return sorted((int(p), *canonical(s)) for p, s in zip(drawing.pen, drawing, strict=True))


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


def test_pens_draw_one_after_the_other_and_each_from_the_start():
    drawing = Drawing.from_strokes(
        [[(50, 0), (60, 0)], [(0, 0), (10, 0)], [(100, 0), (61, 0)], [(11, 0), (49, 0)]],
        pen=[1, 0, 1, 0],
        pens=TWO_PENS,
    )
    out = order(drawing)
    assert out.pen.tolist() == [0, 0, 1, 1]
    # 0 to 10, 11 to 49; then 50 to 60, 61 to 100 with the other pen.
    assert travel_mm(out) == pytest.approx(1 + 50 + 1)


def test_a_better_given_order_stays():
    # Nearest-first fails here: 0, then -1, then far over to 2.2 and beyond.
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
    assert travel_mm(drawing, end_mm=(0.0, 7.0)) == pytest.approx(5 + 5 + 0 + 7)
    assert travel_mm(Drawing.from_strokes([])) == 0


def best_of_all(strokes, start, end, cost):
    """Least cost over all orders and directions."""
    least = math.inf
    for perm in itertools.permutations(range(len(strokes))):
        for flips in itertools.product((1, -1), repeat=len(strokes)):
            tried = Drawing.from_strokes([strokes[i][::d] for i, d in zip(perm, flips, strict=True)])
            least = min(least, travel(tried, start_mm=start, end_mm=end, cost=cost))
    return least


@pytest.mark.parametrize("end", [None, (0.0, 0.0), (120.0, 30.0)])
@pytest.mark.parametrize("cost", [BY_LENGTH, ON_RIG], ids=["length", "time"])
def test_the_best_of_all_orders_is_found_where_all_can_be_tried(end, cost):
    # 5 strokes: 5! * 2^5 = 3840 ways each.
    rng = np.random.default_rng(7)
    for _ in range(3):
        strokes = rng.uniform(0, 100, (5, 2, 2))
        found = order(Drawing.from_strokes(strokes), start_mm=(3.0, 5.0), end_mm=end, cost=cost)
        best = best_of_all(strokes, (3.0, 5.0), end, cost)
        assert travel(found, start_mm=(3.0, 5.0), end_mm=end, cost=cost) == pytest.approx(best, rel=1e-12)


def test_a_grid_of_points_is_toured_at_its_known_best():
    # An even number of points in a square grid has a closed tour of as many steps as points, and no tour can be
    # shorter, for no two points are closer than a step.
    n = 14
    dots = [[(10.0 * x, 10.0 * y)] for x in range(n) for y in range(n)]
    drawing = Drawing.from_strokes([dots[i] for i in np.random.default_rng(3).permutation(len(dots)) if i])
    assert travel_mm(order(drawing, end_mm=(0.0, 0.0)), end_mm=(0.0, 0.0)) == pytest.approx(10.0 * n * n)


def test_points_on_a_circle_are_toured_around():
    # Points in convex position are best toured along their hull (no crossing can be best: Flood 1956).
    t = np.linspace(0, 2 * math.pi, 300, endpoint=False)
    circle = np.column_stack((100 + 90 * np.cos(t), 100 + 90 * np.sin(t)))
    start = (float(circle[0, 0]), float(circle[0, 1]))
    shuffled = Drawing.from_strokes(circle[1 + np.random.default_rng(4).permutation(299), None, :])
    around = 300 * 2 * 90 * math.sin(math.pi / 300)
    assert travel_mm(order(shuffled, start_mm=start, end_mm=start), start_mm=start, end_mm=start) == pytest.approx(
        around, rel=1e-9
    )


def test_travel_is_close_to_what_a_solver_of_others_finds():
    # elkai wraps the solver LKH of K. Helsgaun. Strokes are pairs of nodes whose own edge costs nothing, while every
    # other edge costs more than the longest way: so all strokes are in its tour.
    rng = np.random.default_rng(11)
    at = rng.uniform(0, 200, (150, 1, 2))
    strokes = np.concatenate((at, at + rng.normal(0, 8, at.shape)), axis=1)
    nodes = np.vstack((strokes.reshape(-1, 2), [[0, 0], [0, 0]]))
    d = np.hypot(*(nodes[:, None] - nodes[None]).transpose(2, 0, 1))
    weights = np.rint(1000 * d).astype(int) + 10_000_000
    i = np.arange(len(nodes))
    weights[i, i ^ 1] = weights[i, i] = 0
    tour = np.array(elkai.DistanceMatrix(weights.tolist()).solve_tsp(runs=2))
    between = (tour[:-1] ^ 1) != tour[1:]
    assert between.sum() == 151
    theirs = d[tour[:-1], tour[1:]][between].sum()
    ours = travel_mm(order(Drawing.from_strokes(strokes), end_mm=(0.0, 0.0)), end_mm=(0.0, 0.0))
    assert ours <= 1.01 * theirs


def test_time_on_a_rig_is_what_the_planner_takes():
    # Both against a third: ruckig, with its jerk unlimited, along the way of each move.
    rig = Rig.default().changed({"axis.x.speed_mm_s": 200.0, "axis.y.accel_mm_s2": 700.0, "motor.b.step_rate_hz": 7000})
    limits = Limits.from_rig(rig)
    cost = Cost.of_rig(rig)
    rng = np.random.default_rng(12)
    moves = rng.normal(0, 1, (60, 2)) * 10 ** rng.uniform(-1, 2.4, (60, 1))
    for move, ours_s in zip(moves, cost.of(moves), strict=True):
        length = math.hypot(*move)
        u = (move / length)[None]
        single = ruckig.Ruckig(1)
        given = ruckig.InputParameter(1)
        given.target_position = [length]
        given.max_velocity = limits.speed_along(u, np.array([False])).tolist()
        given.max_acceleration = limits.accel_along(u).tolist()
        way = ruckig.Trajectory(1)
        single.calculate(given, way)
        assert ours_s == pytest.approx(way.duration, rel=1e-9)


@contextmanager
def nothing_compiled():
    """Simulates a missing numba."""
    spec = importlib.util.spec_from_file_location("plain_kernel", Path(tour_kernel.__file__))
    plain = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("linewright.compiled.available", lambda: False)
        spec.loader.exec_module(plain)
        patch.setattr(tour, "kernel", plain)
        patch.setattr(tour, "COMPILED", False)
        yield


def test_the_compiled_and_the_plain_search_agree_to_the_last_bit():
    rng = np.random.default_rng(13)
    rings = [np.vstack((p, p[:1])) for p in rng.uniform(0, 100, (12, 6, 2))]
    drawing = Drawing.from_strokes([*rng.uniform(0, 100, (25, 2, 2)), *rings, *rng.uniform(0, 100, (9, 1, 2))])
    for cost in (BY_LENGTH, ON_RIG):
        for end in (None, (5.0, 5.0)):
            one = order(drawing, end_mm=end, cost=cost)
            with nothing_compiled():
                other = order(drawing, end_mm=end, cost=cost)
            assert one.points_mm.tobytes() == other.points_mm.tobytes()


def test_without_a_compiler_a_large_order_is_cut_down_and_says_so(monkeypatch):
    monkeypatch.setattr(tour, "PLAIN_KICKS", 10)
    notes = []
    drawing = Drawing.from_strokes(np.random.default_rng(1).uniform(0, 100, (20, 2, 2)))
    with nothing_compiled():
        order(drawing, watcher=Watcher(note=notes.append))
    assert len(notes) == 1
    assert "linewright[fast]" in notes[0]


def test_who_waits_may_end_a_search_and_that_is_said():
    notes = []
    drawing = Drawing.from_strokes(np.random.default_rng(1).uniform(0, 100, (2000, 2, 2)))
    out = order(drawing, watcher=Watcher(note=notes.append, enough=lambda: True))
    assert bag(out) == bag(drawing)
    assert "ended early" in notes[0]


def test_progress_is_told_up_to_the_end():
    shares = []
    drawing = Drawing.from_strokes(np.random.default_rng(1).uniform(0, 100, (2000, 2, 2)))
    order(drawing, watcher=Watcher(report=lambda _what, share: shares.append(share)))
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_more_effort_never_travels_further():
    drawing = Drawing.from_strokes(np.random.default_rng(2).uniform(0, 100, (300, 2, 2)))
    quick, normal, best = (travel_mm(order(drawing, effort=effort)) for effort in ("quick", "normal", "best"))
    assert best <= normal <= quick <= travel_mm(drawing)


def test_crowds_and_outliers_do_not_confuse_the_search():
    rng = np.random.default_rng(8)
    for points, least in (
        (np.zeros((50, 2)), 0.0),
        (np.vstack((rng.normal(0, 1e-9, (60, 2)), [[1e6, 1e6]])), math.hypot(1e6, 1e6)),
        (np.column_stack((np.arange(40.0), np.zeros(40))), 39.0),
        (np.repeat([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]], 30, axis=0), 20.0),
    ):
        drawing = Drawing.from_strokes(rng.permutation(points)[:, None, :])
        out = order(drawing)
        assert bag(out) == bag(drawing)
        assert travel_mm(out) == pytest.approx(least, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("name", SOUND)
def test_the_zoo(name):
    drawing = SOUND[name]
    assert bag(order(drawing)) == bag(drawing)


@given(drawings())
def test_order_is_a_permutation_with_reversals(drawing):
    """Every stroke is drawn once, whole, forwards or backwards, closed ones from any vertex, with its own pen, and no
    order travels further than the given one."""
    out = order(drawing, start_mm=(7.0, 3.0))
    assert bag(out) == bag(drawing)
    assert (np.diff(out.pen) >= 0).all()
    by_pen = drawing.select(np.argsort(drawing.pen, kind="stable"))
    assert travel_mm(out, start_mm=(7.0, 3.0)) <= travel_mm(by_pen, start_mm=(7.0, 3.0))
    again = order(drawing, start_mm=(7.0, 3.0))
    assert np.array_equal(out.points_mm, again.points_mm)


def test_a_lone_stroke_is_drawn_from_the_end_that_is_nearer_and_takes_no_search(monkeypatch):
    monkeypatch.setattr(tour, "find_tour", None)
    drawing = Drawing.from_strokes([[(9, 0), (5, 5), (1, 0)]])
    assert order(drawing, end_mm=(50.0, 0.0)).points_mm.tolist() == [[1, 0], [5, 5], [9, 0]]
    assert order(drawing).points_mm.tolist() == [[1, 0], [5, 5], [9, 0]]
    assert order(drawing, start_mm=(10.0, 0.0)).points_mm.tolist() == drawing.points_mm.tolist()


def test_the_effort_for_a_huge_order_is_bounded(monkeypatch):
    monkeypatch.setattr(tour, "_UNTIL", 100)
    drawing = Drawing.from_strokes(np.random.default_rng(1).uniform(0, 100, (400, 2, 2)))
    kicked = []
    monkeypatch.setattr(tour.kernel, "kick_and_settle", lambda kicks, *_: kicked.append(kicks))
    order(drawing)
    assert sum(kicked) == int(50 * 100 / (401 / 100) ** 1.5) == 622
    order(drawing, effort="best")
    assert sum(kicked) > 100_000
