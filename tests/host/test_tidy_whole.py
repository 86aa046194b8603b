"""The whole of tidying: the ink stays in place. Outside check: distances by shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from host.zoo import DAMAGED, SOUND, drawings
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.tidy import Tidying, tidy, travel_mm


def ink(drawing: Drawing, pen: int) -> shapely.GeometryCollection:
    return shapely.GeometryCollection(
        [
            shapely.LineString(s) if len(s) > 1 else shapely.Point(s[0])
            for p, s in zip(drawing.pen, drawing, strict=True)
            if p == pen
        ]
    )


def furthest(drawing: Drawing, pen: int, from_ink: shapely.GeometryCollection) -> float:
    """Largest distance from any of the ink, sampled in fiftieths of each segment, to the other ink."""
    samples = [np.empty((0, 2))]
    for p, s in zip(drawing.pen, drawing, strict=True):
        if p == pen:
            t = np.linspace(0, 1, 51)[:, None, None]
            samples += [s, (s[:-1] + t * (s[1:] - s[:-1])).reshape(-1, 2)]
    points = shapely.points(np.concatenate(samples))
    return float(shapely.distance(points, from_ink).max(initial=0.0)) if len(points) else 0.0


def check(drawing: Drawing, tolerance: float, hidden: float) -> Drawing:
    out = tidy(drawing, Tidying(tolerance_mm=tolerance, hidden_mm=hidden))
    x0, y0, x1, y1 = drawing.bounds_mm()
    rounding = 1e-12 * max(abs(x0), abs(y0), abs(x1), abs(y1))
    for pen in range(len(drawing.pens)):
        before, after = ink(drawing, pen), ink(out, pen)
        assert before.is_empty == after.is_empty
        assert furthest(drawing, pen, after) <= tolerance + hidden + rounding
        assert furthest(out, pen, before) <= tolerance + rounding
    assert out.pens == drawing.pens
    return out


# The library divides by squares of 5e-324, which are 0, and measures infinity: this one is checked by its extent below.
@pytest.mark.parametrize("name", [name for name in SOUND if name != "smallest numbers"])
def test_the_zoo(name):
    for tolerance in (0.0, 0.05):
        check(SOUND[name], tolerance, tolerance)


def test_the_smallest_numbers_pass():
    drawing = SOUND["smallest numbers"]
    assert tidy(drawing, Tidying(tolerance_mm=0.0)).bounds_mm() == drawing.bounds_mm()
    assert len(tidy(drawing)) > 0


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_is_refused_with_the_stroke(name):
    with pytest.raises(InputError, match=r"stroke [01] has a point at"):
        tidy(DAMAGED[name])


@given(drawings(most_strokes=8), st.sampled_from([0.0, 0.05, 3.0, 25.0]), st.sampled_from([0.0, 0.05, 2.0]))
def test_ink_is_preserved_within_the_tolerance(drawing, tolerance, hidden):
    """No ink moves, appears or goes further than the tolerance from ink of the same pen."""
    check(drawing, tolerance, hidden)


@given(drawings())
def test_the_same_input_gives_the_same_output(drawing):
    """Tidying is deterministic, bit for bit."""
    one, other = tidy(drawing), tidy(drawing)
    assert one.points_mm.tobytes() == other.points_mm.tobytes()
    assert one.starts.tobytes() == other.starts.tobytes()


def test_a_grid_drawn_in_scraps_becomes_a_few_strokes():
    # A 10 x 10 net of 5 mm cells, every side a stroke of its own and shared sides twice: 400 strokes.
    sides = [
        [(5 * x, 5 * y), (5 * x + 5 * dx, 5 * y + 5 * dy)]
        for x in range(10)
        for y in range(10)
        for dx, dy in ((1, 0), (0, 1))
    ]
    scraps = Drawing.from_strokes([s for side in sides for s in (side, side[::-1])])
    out = tidy(scraps)
    assert out.stroke_lengths_mm().sum() == pytest.approx(200 * 5)
    # 38 of its nodes are odd (three sides meet along two rims, one ends in each of 20 stubs): 19 strokes at least
    # (Euler 1736); pairing ends as they come takes some more.
    assert len(out) < 60
    assert travel_mm(out) < travel_mm(scraps)


@pytest.mark.parametrize("scattered", [4000, pytest.param(10_000, marks=pytest.mark.slow)])
def test_many_strokes_in_bounded_time_and_space(scattered):
    # At most half of them are crowded; a quadratic step would take far too long.
    rng = np.random.default_rng(10)
    at = np.concatenate((rng.uniform(0, 200, (scattered, 1, 2)), rng.normal(50, 0.01, (4000, 1, 2))))
    strokes = np.concatenate((at, at + rng.normal(0, 1, at.shape)), axis=1)
    count = len(strokes)
    drawing = Drawing(strokes.reshape(-1, 2), np.arange(0, 2 * count + 1, 2), np.zeros(count, dtype=np.int64))
    out = tidy(drawing)
    # The crowded part adds almost no travel. The best tour of n scattered points in an area A is 0.7124 sqrt(n A) long
    # (Beardwood, Halton and Hammersley 1959; constant from Johnson and McGeoch 1997), nearest-first 25 % longer, and
    # strokes are passed along, not travelled.
    assert travel_mm(out) < 1.25 * 0.7124 * np.sqrt(scattered * 200.0 * 200.0)
