"""Deviation of the drawn path from planned strokes: small when correct, large for wrong paths."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.drawing.strokes import Drawing
from linewright.simulation.deviation import PenRun, StrokeComparer
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from tape_maker import TapeMaker

STEP_MM = 1 / 80
# Vertices on whole steps are off by up to half a step in x and in y, the staircase between them by half a step more.
ROUNDING_MM = (math.sqrt(0.5) + 0.5) * STEP_MM


class Artist:
    """Records strokes on a tape as an ideal board."""

    def __init__(self, path, machine=None, faults=None):
        self.maker = TapeMaker(path, machine, faults)
        self.to_steps = self.maker.machine.to_steps
        self.at = np.array([0, 0])
        self.maker.zero(0, 0)

    def steps(self, points):
        return np.rint(np.asarray(points, dtype=float).reshape(-1, 2) @ self.to_steps.T).astype(int)

    def go(self, points, steps_s=2000):
        for target in self.steps(points):
            da, db = (int(v) for v in target - self.at)
            if da or db:
                self.maker.line(da, db, steps_s)
            self.at = target

    def draw(self, points):
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        self.go(points[:1])
        self.maker.pen(True)
        self.go(points[1:])
        self.maker.pen(False)

    def close(self):
        return self.maker.close()


def circle(x, y, r, n=200):
    turn = np.linspace(0, 2 * np.pi, n)
    return np.column_stack((x + r * np.cos(turn), y + r * np.sin(turn)))


STROKES = [
    circle(60, 60, 20),
    [[10, 10], [50, 10.3], [50, 40], [10, 10]],
    [[33, 44]],
    np.column_stack((np.linspace(20, 90, 900), 80 + np.sin(np.linspace(0, 60, 900)) * 8)),
]


@pytest.mark.parametrize("crossed", [False, True])
def test_a_flawless_drawing_is_within_rounding(tmp_path, crossed):
    artist = Artist(tmp_path / "x.tape", Machine(crossed=crossed))
    for stroke in STROKES:
        artist.draw(stroke)
    trace = read_trace(artist.close(), Drawing.from_strokes(STROKES), keep_drawn=True)
    found = trace.deviation
    assert 0 < found.max_mm <= ROUNDING_MM
    assert found.rms_mm < STEP_MM / 2
    assert (found.strokes_planned, found.strokes_drawn, found.strokes_cut, found.stray_runs) == (4, 4, 0, 0)
    assert trace.end_steps == tuple(artist.at)
    assert trace.check("pen at rest").broken == 0
    # The thinned path compared with the plan by GEOS: half a step more.
    for drawn, planned in zip(trace.drawn, STROKES, strict=True):
        if len(planned) > 1:
            line = shapely.LineString(drawn)
            assert shapely.hausdorff_distance(line, shapely.LineString(planned), 0.1) < ROUNDING_MM + STEP_MM / 2


def test_played_ticks_count_from_the_last_zero(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.go([[1, 1]])
    artist.maker.zero(80, 80)
    start = artist.maker.tick
    artist.go([[3, 3]])
    artist.maker.tick += 12_345  # the player stood still
    artist.go([[4, 3]])
    trace = read_trace(artist.close())
    assert trace.played_ticks == artist.maker.tick - 12_345 - start
    assert trace.longest_ticks == 160 * round(2500 * math.sqrt(2))  # 160 steps both ways at 2000 steps/s of path


def test_the_zero_is_where_the_board_says(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.at = np.array([800, 1600])  # the board's count: it stands at (10, 20) mm
    artist.maker.zero(800, 1600)
    artist.draw(STROKES[0])
    assert read_trace(artist.close(), Drawing.from_strokes(STROKES[:1])).deviation.max_mm <= ROUNDING_MM


def test_a_left_out_vertex_is_seen_by_the_planned_side(tmp_path):
    """A spike of 3 mm that the pen did not draw: every drawn point is on the plan, but the plan is not drawn."""
    artist = Artist(tmp_path / "x.tape")
    artist.draw([[10, 10], [50, 10]])
    planned = Drawing.from_strokes([[[10, 10], [30, 10], [30, 10.3], [30, 10], [50, 10]]])
    assert read_trace(artist.close(), planned).deviation.max_mm == pytest.approx(0.3, abs=STEP_MM)


def test_an_added_detour_is_seen_by_the_drawn_side(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.draw([[10, 10], [30, 10], [30, 10.3], [30, 10], [50, 10]])
    found = read_trace(artist.close(), Drawing.from_strokes([[[10, 10], [50, 10]]])).deviation
    assert found.max_mm == pytest.approx(0.3, abs=STEP_MM)
    assert found.worst_at_mm == pytest.approx((30, 10.3), abs=2 * STEP_MM)


def test_a_stroke_drawn_backward_is_not_taken_for_the_same(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.draw([[10, 10], [30, 10], [50, 30], [70, 10]])
    backward = Drawing.from_strokes([[[70, 10], [50, 30], [30, 10], [10, 10]]])
    assert read_trace(artist.close(), backward).deviation.max_mm > 5


def test_a_shortcut_to_a_neighbouring_line_is_not_taken_for_the_plan(tmp_path):
    """Two lines 0.5 mm apart: drawing the first twice is off by the distance, though it lies on the plan."""
    artist = Artist(tmp_path / "x.tape")
    artist.draw([[10, 10], [50, 10]])
    artist.draw([[10, 10], [50, 10]])
    planned = Drawing.from_strokes([[[10, 10], [50, 10]], [[10, 10.5], [50, 10.5]]])
    found = read_trace(artist.close(), planned).deviation
    assert found.max_mm == pytest.approx(0.5, abs=1e-9)
    assert found.worst_stroke == 1


def test_a_pen_lifted_and_put_back_in_mid_stroke_makes_one_stroke(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    stroke = np.asarray(STROKES[0])
    artist.go(stroke[:1])
    artist.maker.pen(True)
    artist.maker.pen(False)  # held before the first step
    artist.maker.pen(True)
    artist.go(stroke[1:90])
    artist.maker.pen(False)
    artist.maker.pen(True)
    artist.go(stroke[90:])
    artist.maker.pen(False)
    found = read_trace(artist.close(), Drawing.from_strokes([stroke])).deviation
    assert found.max_mm <= ROUNDING_MM
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (1, 0, 0)


@pytest.mark.parametrize("steps", [32, 2])
def test_a_pen_lifted_and_put_back_just_before_the_end_makes_one_stroke(tmp_path, steps):
    """32 of 8000 steps are less than the tolerance for a bent machine, 2 are within rounding; both match the stroke."""
    artist = Artist(tmp_path / "x.tape")
    strokes = [np.array([[10.0, 10.0], [110.0, 10.0]]), np.array([[50.0, 60.0], [90.0, 60.0]])]
    for pieces in ([strokes[0][:1], [[110.0 - steps / 80, 10.0]], strokes[0][1:]], [strokes[1][:1], strokes[1][1:]]):
        artist.go(np.asarray(pieces[0]))
        for piece in pieces[1:]:
            artist.maker.pen(True)
            artist.go(np.asarray(piece))
            artist.maker.pen(False)
    found = read_trace(artist.close(), Drawing.from_strokes(strokes)).deviation
    assert found.max_mm <= ROUNDING_MM
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (2, 0, 0)


def test_a_pen_held_at_the_very_end_of_a_stroke_touches_it_once_more(tmp_path):
    """Also after the last stroke. Elsewhere the same touch is not at a planned stroke."""
    artist = Artist(tmp_path / "x.tape")
    strokes = [np.array([[10.0, 10.0], [20.0, 10.0]]), np.array([[50.0, 60.0], [60.0, 60.0]])]
    for stroke in strokes:
        artist.draw(stroke)
        artist.maker.pen(True)
        artist.maker.pen(False)
    artist.go(np.array([[30.0, 30.0]]))
    artist.maker.pen(True)
    artist.maker.pen(False)
    found = read_trace(artist.close(), Drawing.from_strokes(strokes)).deviation
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (2, 0, 1)


def test_a_tremble_that_rounding_swallows_is_not_taken_for_an_unfinished_stroke(tmp_path):
    """Half a step back and forth, 300 times, on the way: the plan has many more steps than a smooth line."""
    rng = np.random.default_rng(2)
    way = np.linspace([10, 10], [20, 10], 300) + rng.normal(size=(300, 2)) * 0.4 * STEP_MM
    artist = Artist(tmp_path / "x.tape")
    artist.draw([way[0], way[-1]])
    artist.draw([way[-1], way[0]])  # begins where the first one ended
    found = read_trace(artist.close(), Drawing.from_strokes([way, way[::-1]])).deviation
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (2, 0, 0)
    assert found.max_mm < 3 * STEP_MM


def test_an_abandoned_drawing_is_compared_as_far_as_it_went(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.draw(STROKES[0])
    artist.draw(STROKES[3][:300])
    found = read_trace(artist.close(), Drawing.from_strokes([STROKES[0], STROKES[3], STROKES[1]])).deviation
    assert found.max_mm <= ROUNDING_MM
    assert (found.strokes_planned, found.strokes_drawn, found.strokes_cut) == (3, 2, 1)


def test_a_dot_in_the_wrong_place_and_a_stroke_too_many_are_strays(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    artist.draw([[90, 90]])
    artist.draw(STROKES[0])
    artist.draw(STROKES[1])
    found = read_trace(artist.close(), Drawing.from_strokes([STROKES[0]])).deviation
    assert (found.strokes_drawn, found.stray_runs) == (1, 2)
    assert found.max_mm <= ROUNDING_MM


def test_nothing_drawn_and_nothing_planned(tmp_path):
    artist = Artist(tmp_path / "x.tape")
    path = artist.close()
    assert read_trace(path, Drawing.from_strokes([])).deviation.max_mm == 0
    found = read_trace(path, Drawing.from_strokes(STROKES), keep_drawn=True)
    assert found.deviation.strokes_drawn == 0
    assert len(found.drawn) == 0


@pytest.mark.parametrize(
    ("faults", "expected_mm"),
    [
        (Faults(skew_deg=0.5), math.tan(math.radians(0.5)) * 80),  # at y = 80 mm
        (Faults(scale_x=0.01), 0.8),
        (Faults(backlash_x_mm=0.3), 0.3),
        (Faults(ringing_x_hz=20.0, ringing_damping=0.05), None),
    ],
)
def test_faults_show_as_deviation_of_their_size(tmp_path, faults, expected_mm):
    artist = Artist(tmp_path / "x.tape", faults=faults)
    artist.go([[0.5, 0.5], [0, 0]])  # takes up the backlash towards the zero
    artist.maker.zero(0, 0)
    artist.draw([[0, 0], [80, 0], [80, 80], [0, 80], [0, 0]])
    trace = read_trace(artist.close(), Drawing.from_strokes([[[0, 0], [80, 0], [80, 80], [0, 80], [0, 0]]]))
    if expected_mm is None:
        # The line's speed of 25 mm/s stops dead at the corner: amplitude v / w, here 0.2 mm.
        assert 0.8 < trace.deviation.max_mm / (25 / (2 * math.pi * 20)) < 1
    else:
        assert trace.deviation.max_mm == pytest.approx(expected_mm, abs=0.03)
    assert trace.end_steps == (0, 0)


def test_lost_steps_shift_everything_after_them(tmp_path):
    artist = Artist(tmp_path / "x.tape", faults=Faults(pull_out_a_hz=5000.0))
    artist.draw(STROKES[0])
    artist.go([[100, 60]], steps_s=8000)
    artist.draw(STROKES[0])
    trace = read_trace(artist.close(), Drawing.from_strokes([STROKES[0], STROKES[0]]))
    assert trace.lost_steps[0] > 1000
    assert trace.deviation.max_mm > 10
    assert trace.deviation.worst_stroke == 1


coordinate = st.floats(1, 30).map(lambda v: round(v, 3))


@settings(max_examples=30)
@given(
    st.lists(st.lists(st.tuples(coordinate, coordinate), min_size=1, max_size=8), min_size=1, max_size=6), st.booleans()
)
def test_any_drawing_on_whole_steps_is_within_rounding(tmp_path_factory, strokes, crossed):
    """For any strokes (crossing, retracing, empty) an ideal board causes no finding."""
    artist = Artist(tmp_path_factory.mktemp("tapes") / "x.tape", Machine(crossed=crossed))
    for stroke in strokes:
        artist.draw(stroke)
    found = read_trace(artist.close(), Drawing.from_strokes(strokes)).deviation
    assert found.max_mm <= ROUNDING_MM
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (len(strokes), 0, 0)


@given(
    st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=6),
    st.floats(-3, 3),
    st.floats(-3, 3),
)
def test_the_deviation_is_never_below_the_true_distance(points, dx, dy):
    """For any path, the matched deviation is at least what an unordered nearest-point search finds (GEOS)."""
    machine = Machine()
    planned = Drawing.from_strokes([points])
    steps = np.rint(planned.points_mm * 80).astype(int)
    path = [steps[:1]]
    for a, b in itertools.pairwise(steps):
        n = int(np.abs(b - a).max())
        if n:
            path.append(a + np.rint(np.arange(1, n + 1)[:, None] * (b - a) / n).astype(int))
    drawn = np.concatenate(path) / 80 + [dx, dy]
    comparer = StrokeComparer(planned, machine)
    comparer.add(PenRun(drawn, np.arange(len(drawn)), tuple(steps[0]), tuple(steps[-1])))
    line = shapely.LineString(points)
    truth = shapely.distance(shapely.points(drawn[:: max(1, len(drawn) // 500)]), line).max()
    # Only some of the far points are searched, so one step of tolerance.
    assert comparer.result().max_mm >= truth - STEP_MM
