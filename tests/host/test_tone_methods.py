"""Properties of all methods from photographs to strokes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.photographs import hills, photograph, silent
from linewright.errors import SourceError
from linewright.sources import methods
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Picture, Wish
from linewright.sources.tone.method import ToneMethod

NAMES = [
    name
    for name, entry in methods.METHODS.items()
    if entry.where.startswith("linewright.sources.tone.") and issubclass(entry.kind(), ToneMethod)
]
ROOM = (40.0, 30.0)
SIZES = {
    "one-line": "points=300,rounds=4",
    "stippling": "points=200,rounds=4",
    "scribbles": "rounds=4",
    "labyrinth": "rounds=10,darkest=0.4",
}


def drawn(name: str, taken: Photograph, more: str = "", **wish) -> Picture:
    words = ",".join(filter(None, (SIZES.get(name, ""), more)))
    return methods.chosen(f"{name}:{words}").drawn(taken, Wish(**{"room_mm": ROOM, "pen_width_mm": 0.5, **wish}))


def assert_sound(picture: Picture) -> None:
    points = picture.drawing.points_mm
    assert np.isfinite(points).all()
    assert (points >= 0).all()
    assert (points <= [picture.width_mm, picture.height_mm]).all()
    lengths = np.diff(picture.drawing.starts)
    assert (lengths >= 1).all()
    # One point is an intended dot; strokes of more points must have a length.
    assert (picture.drawing.stroke_lengths_mm()[lengths > 1] > 1e-9).all()


def test_every_method_for_photographs_is_tried_here():
    assert len(NAMES) >= 11


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=6)
@given(seed=st.integers(0, 1000), rows=st.integers(2, 70), columns=st.integers(2, 70))
def test_strokes_lie_within_the_picture_and_lead_somewhere(name, seed, rows, columns):
    try:
        picture = drawn(name, photograph(hills(seed, rows, columns)))
    except SourceError as error:
        # A few pixels may have no lines or edges; larger pictures have some.
        assert "nothing to draw" in str(error)  # noqa: PT017  both outcomes are valid
        assert min(rows, columns) < 24
        return
    assert_sound(picture)
    assert min(ROOM[0] / picture.width_mm, ROOM[1] / picture.height_mm) == pytest.approx(1.0) or (
        # Rotated on the sheet if it is then larger.
        min(ROOM[1] / picture.width_mm, ROOM[0] / picture.height_mm) == pytest.approx(1.0)
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_same_seed_gives_the_same_strokes(name):
    one, two = (drawn(name, photograph(hills(3))) for _ in range(2))
    assert np.array_equal(one.drawing.points_mm, two.drawing.points_mm)
    assert np.array_equal(one.drawing.starts, two.drawing.starts)


@pytest.mark.parametrize("name", ["stippling", "one-line", "scribbles", "labyrinth"])
def test_another_seed_gives_other_strokes(name):
    one, two = (drawn(name, photograph(hills(3)), f"seed={seed}") for seed in (1, 2))
    assert not np.array_equal(one.drawing.points_mm, two.drawing.points_mm)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("grey", [0.0, 1.0, 0.5])
@pytest.mark.parametrize("size", [(1, 1), (40, 50), (1, 60), (60, 1)])
def test_a_picture_of_one_tone_is_drawn_or_refused_in_words(name, grey, size):
    try:
        picture = drawn(name, photograph(np.full(size, grey)))
    except SourceError as error:
        assert "nothing to draw" in str(error)  # noqa: PT017  both outcomes are valid
        return
    assert grey < 1.0, "white paper needs no ink"
    assert_sound(picture)


@pytest.mark.parametrize("name", NAMES)
def test_a_white_picture_is_refused(name):
    with pytest.raises(SourceError, match="nothing to draw"):
        drawn(name, photograph(np.ones((30, 40))))


@pytest.mark.parametrize("name", NAMES)
def test_progress_never_leaves_its_range_and_may_end_the_work(name):
    told: list[float] = []
    drawn(name, photograph(hills(5)), report=lambda state, done: told.append(done))
    assert told
    assert all(0.0 <= done <= 1.0 for done in told)

    def stop(state: str, done: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        drawn(name, photograph(hills(5)), report=stop)


@pytest.mark.parametrize("name", NAMES)
def test_a_finer_pen_gives_more_strokes_or_longer_ones(name):
    if name in ("outline", "contours", "centre-lines", "stippling", "one-line", "wash"):
        pytest.skip("their number of lines does not follow the pen")
    fine, broad = (drawn(name, photograph(hills(2)), pen_width_mm=pen) for pen in (0.3, 0.9))
    assert fine.drawing.stroke_lengths_mm().sum() > 1.5 * broad.drawing.stroke_lengths_mm().sum()


def test_nobody_listens_by_default():
    assert silent("", 0.0) is None
    assert len(drawn("hatching", photograph(hills(1))).drawing) > 10
