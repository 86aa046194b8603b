"""The box of pens, and their assignment to colours of a drawing."""

import pytest

from linewright.desk import edits
from linewright.desk.penbox import PenBox
from linewright.errors import InputError
from linewright.planning.arrangement import Arrangement, Item

BOX = [{"name": "black", "colour": "#000000"}, {"name": "sea", "colour": "#1f6f8b", "width_mm": 0.8}]


@pytest.fixture
def box(tmp_path):
    found = PenBox(tmp_path)
    found.replaced(BOX, Arrangement())
    return found


def test_pens_for_colours_are_chosen_renamed_and_taken_out(box):
    said = {"pens": ["black", "sea"], "pen_for": {"#d8622a": "sea", "#1f3347": "black"}}
    item = edits.changed(Item("heron", source="heron.svg"), said, box)
    assert (box.names(item.pens), dict(item.pen_for)) == (said["pens"], said["pen_for"])
    # Renaming a pen also changes its references, not the assignments.
    other = [BOX[0], {**BOX[1], "name": "quay"}]
    item = box.replaced(other, Arrangement(items=(item,))).items[0]
    assert (box.names(item.pens), dict(item.pen_for)) == (["black", "quay"], {"#d8622a": "quay", "#1f3347": "black"})
    # A removed pen draws nothing.
    item = box.replaced(BOX[:1], Arrangement(items=(item,))).items[0]
    assert (box.names(item.pens), dict(item.pen_for)) == (["black"], {"#1f3347": "black"})
    assert edits.changed(item, {"pens": None}, box).pen_for == ()


@pytest.mark.parametrize("wrong", [["sea"], {"red": 3}, "sea", None])
def test_what_is_no_choice_of_pens_is_refused(box, wrong):
    with pytest.raises(InputError, match="pen_for is a table"):
        edits.changed(Item("heron", source="heron.svg"), {"pens": ["sea"], "pen_for": wrong}, box)
