"""Valid events from a page are accepted; all others are rejected."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.desk import events
from linewright.desk.room import Room
from linewright.desk.sheet_desk import SheetDesk
from linewright.errors import InputError

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=10,
)


def test_every_event_of_the_table_is_handled():
    for name in events.TABLE:
        where = SheetDesk if name in events.SHEET_EVENTS else Room
        assert name == "take_over" or hasattr(where, f"_on_{name}"), name


def test_an_event_is_read():
    number, name, event = events.read({"id": 7, "do": "jog", "by_mm": [1, -2.5]})
    assert (number, name) == (7, "jog")
    assert event == events.Jog(by_mm=[1, -2.5])


def test_fields_of_an_item_are_kept_for_the_sheet():
    _, _, event = events.read({"id": 1, "do": "set", "item": "heron", "turn_deg": 30, "gesture": "g"})
    assert event == events.Set("heron", {"turn_deg": 30}, "g")


@pytest.mark.parametrize(
    "said",
    [
        None,
        [],
        "home",
        {},
        {"do": "nothing"},
        {"do": ["home"]},
        {"do": "home", "more": 1},
        {"do": "home", "id": True},
        {"do": "home", "id": [1]},
        {"do": "jog", "by_mm": [1]},
        {"do": "jog", "by_mm": ["1", "2"]},
        {"do": "jog", "by_mm": [1e9, 0]},
        {"do": "put", "upload": "../../etc/passwd"},
        {"do": "put", "upload": "u/1"},
        {"do": "put", "words": "x" * 20_001},
        {"do": "pen", "height": "sideways"},
        {"do": "pen", "height": 1400.5},
        {"do": "set", "item": "a/b"},
        {"do": "resume", "drawing": "../x", "confirmed": []},
        {"do": "resume", "drawing": "d", "confirmed": [], "from_stroke": 0},
        {"do": "resume", "drawing": "d", "confirmed": [], "from_stroke": "1"},
        {"do": "exercise", "minutes": 0},
        {"do": "draw", "n": "1"},
    ],
)
def test_what_is_no_event_is_refused(said):
    with pytest.raises(InputError):
        events.read(said)


@given(JSON)
def test_any_value_is_read_or_refused(said):
    with pytest.raises(InputError):
        events.read(said)


@given(
    st.sampled_from(sorted(events.TABLE)),
    st.dictionaries(st.sampled_from(["item", "at_mm", "n", "id", "port", "to"]), JSON),
)
def test_any_fields_are_read_or_refused(name, fields):
    try:
        number, read, _ = events.read({**fields, "do": name})
    except InputError:
        return
    assert read == name
    json.dumps(number)
