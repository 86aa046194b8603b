"""What is put on a sheet goes where nothing lies yet."""

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

    # Some of the boxes that there are, on every second line of the grid on which all edges lie.
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


def test_words_go_below_a_face_as_wide_as_the_sheet_allows():
    sheet = Arrangement(items=(Item("face", source="face.jpg"),))
    words = Item(text="Happy birthday, Marrow Quay")
    new, name = edits.put(sheet, words, ROOM, None, None, [HEAD])
    put = new.item(name)
    assert put.align == "centre"
    assert put.at_mm == pytest.approx((105.0, 243.5))
    assert put.width_mm == pytest.approx(0.9 * 190.0)
    # Without room for them they go to the foot, and where they were wanted they go there.
    new, name = edits.put(sheet, words, ROOM, None, None, [list(ROOM)])
    assert (new.item(name).at_mm, new.item(name).align, new.item(name).width_mm) == (None, "bottom", 171.0)
    new, name = edits.put(sheet, words, ROOM, [50.0, 60.0], None, [HEAD])
    assert new.item(name).at_mm == (50.0, 60.0)
