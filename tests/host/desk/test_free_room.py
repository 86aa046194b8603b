"""New items are placed in free areas of the sheet."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.desk import edits
from linewright.planning.arrangement import Arrangement, Item

ROOM = (10.0, 10.0, 200.0, 287.0)
HEAD = [10.0, 10.0, 200.0, 200.0]

edge = st.integers(0, 30).map(lambda n: 10.0 * n)
box = st.tuples(edge, edge, st.integers(1, 20), st.integers(1, 20)).map(
    lambda one: [one[0], one[1], one[0] + 10.0 * one[2], one[1] + 10.0 * one[3]]
)


@given(boxes=st.lists(box, max_size=5), aspect=st.sampled_from([1.0, 5.0]))
def test_the_free_room_is_free_within_the_room_and_no_square_of_a_grid_says_otherwise(boxes, aspect):
    room = (0.0, 0.0, 200.0, 280.0)
    found = edits.free_room(room, boxes, aspect)

    def free(x0, y0, x1, y1):
        return all(x1 <= left or right <= x0 or y1 <= top or foot <= y0 for left, top, right, foot in boxes)

    def holds(x0, y0, x1, y1):
        return min(x1 - x0, aspect * (y1 - y0))

    # Some of all possible boxes, on every second line of the grid of all edges.
    best = max(
        (
            holds(x0, y0, x1, y1)
            for y0 in range(0, 280, 20)
            for y1 in range(y0 + 20, 281, 20)
            for x0 in range(0, 200, 20)
            for x1 in range(x0 + 20, 201, 20)
            if free(x0, y0, x1, y1)
        ),
        default=None,
    )
    if found is None:
        assert best is None
        return
    assert free(*found)
    assert 0 <= found[0] < found[2] <= 200
    assert 0 <= found[1] < found[3] <= 280
    assert best is None or holds(*found) >= best


def put(words, boxes, at_mm=None):
    sheet = Arrangement(items=(Item("face", source="face.jpg"),))
    new, name = edits.put(sheet, Item(text=words), ROOM, at_mm, None, boxes)
    return new.item(name)


def test_words_go_below_a_face_as_a_caption():
    """No taller than a fourteenth of the sheet's shorter side, no wider than the picture, close below its middle."""
    capital = 190.0 / 14
    short = put("Quay", [[60.0, 10.0, 160.0, 200.0]])
    assert short.width_mm == pytest.approx(3.0 * capital, abs=0.1)
    assert short.at_mm[0] == pytest.approx(110.0)
    assert 200.0 < short.at_mm[1] - short.width_mm / 3 < short.at_mm[1] + short.width_mm / 3 < 240.0
    assert short.align == "centre"
    long = put("Happy birthday, Marrow Quay", [[60.0, 10.0, 160.0, 200.0]])
    assert long.width_mm == pytest.approx(100.0)
    # If there is room only at its side, they are placed there, at its lower edge.
    beside = put("Quay", [[10.0, 10.0, 120.0, 287.0]])
    assert (beside.align, beside.at_mm[0] - beside.width_mm / 2 > 120.0) == ("centre", True)
    assert 250.0 < beside.at_mm[1] < 287.0


@given(boxes=st.lists(box, min_size=1, max_size=4), words=st.text("Quay \n", min_size=1, max_size=30))
def test_words_lie_in_free_room_and_are_no_wider_than_what_they_are_beside(boxes, words):
    item = put(words, boxes)
    assert 0 < item.width_mm <= max(one[2] - one[0] for one in boxes) + 0.1
    if item.at_mm is None:
        assert item.align == "bottom"
        return
    half = item.width_mm / 2 - 0.1
    x, y = item.at_mm
    assert ROOM[0] <= x - half
    assert x + half <= ROOM[2]
    assert not any(left < x + half and x - half < right and top < y < foot for left, top, right, foot in boxes)


def test_words_go_below_a_picture_that_leaves_two_narrow_strips():
    """As a portrait on a sheet of A4 does: 7.4 mm above it and below."""
    item = put("Hello from the desk", [[10.0, 17.4, 200.0, 279.6]])
    assert item.at_mm == (pytest.approx(105.0), pytest.approx(283.7, abs=0.1))
    capital_mm = item.width_mm / (0.75 * len("Hello from the desk"))
    assert 3.5 < capital_mm < 7.4 / 1.4
    # A picture is not put into a strip.
    new, name = edits.put(
        Arrangement(items=(Item("face", source="face.jpg"),)),
        Item(pattern="dunes"),
        ROOM,
        None,
        None,
        [[10.0, 17.4, 200.0, 279.6]],
    )
    assert new.item(name).align == "bottom"


def test_words_without_room_go_to_the_foot_and_where_they_were_wanted_they_go_there():
    assert (put("Quay", [list(ROOM)]).at_mm, put("Quay", [list(ROOM)]).align) == (None, "bottom")
    assert put("Quay", [list(ROOM)], [50.0, 60.0]).at_mm == (50.0, 60.0)
    assert put("Quay", [list(ROOM)], [50.0, 60.0]).width_mm == pytest.approx(3.0 * 190.0 / 14, abs=0.1)
