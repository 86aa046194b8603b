"""The sheet is saved; undo and redo survive every kind of end of the desk."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.desk.history import SHEET, STEPS, History
from linewright.errors import InputError
from linewright.planning import arrangement_file
from linewright.planning.arrangement import Arrangement, Item


def with_text(text: str, n: int = 1) -> Arrangement:
    return Arrangement(items=tuple(Item(f"i{k}", text=text) for k in range(n)))


@pytest.fixture
def history(tmp_path):
    found = History(tmp_path / "desk")
    yield found
    found.close()


def again(history: History) -> History:
    """The next desk, after the previous one was killed."""
    return History(history.folder)


def test_it_begins_with_an_empty_sheet(history):
    assert history.now == Arrangement()
    assert (history.undoes, history.redoes) == (None, None)
    assert arrangement_file.load(history.sheet_file) == Arrangement()


def test_undo_and_redo_after_a_kill(history):
    for text in ("heron", "drifter", "helmet"):
        history.change(with_text(text), f"write {text}")
    history.undo()
    later = again(history)
    assert later.now == with_text("drifter")
    assert (later.undoes, later.redoes) == ("write drifter", "write helmet")
    later.redo()
    assert later.now == with_text("helmet")
    later.undo()
    later.undo()
    later.undo()
    assert later.now == Arrangement()
    with pytest.raises(InputError):
        later.undo()
    later.close()


def test_a_gesture_is_one_step(history):
    history.change(with_text("heron"), "write")
    for width in range(10, 60):
        items = (replace(history.now.items[0], width_mm=float(width)),)
        history.change(replace(history.now, items=items), "size", "g1")
    history.change(with_text("other"), "size", "g2")
    history.undo()
    assert history.now.items[0].width_mm == 59
    later = again(history)
    later.undo()
    assert later.now == with_text("heron")
    later.close()


def test_a_torn_line_costs_no_sheet(history):
    history.change(with_text("heron"), "first")
    history.change(with_text("drifter"), "second")
    path = history.folder / STEPS
    path.write_bytes(path.read_bytes()[:-7])
    later = again(history)
    assert later.now == with_text("drifter")  # the sheet's own file takes precedence
    later.undo()
    assert later.now == with_text("heron")
    later.close()


def test_what_was_changed_in_an_editor_counts(history):
    history.change(with_text("heron"), "first")
    path = history.folder / SHEET
    path.write_text(path.read_text().replace('"heron"', '"herring"'))
    later = again(history)
    assert later.now.items[0].text == "herring"
    later.undo()
    assert later.now == with_text("heron")
    later.close()


def test_a_file_that_is_no_arrangement_is_put_aside(history):
    history.change(with_text("heron"), "first")
    (history.folder / SHEET).write_text("this is = no arrangement [")
    later = again(history)
    assert later.now == with_text("heron")
    assert "unreadable" in later.trouble
    assert len(list(history.folder.glob("*.unreadable"))) == 1
    later.close()


def test_what_cannot_be_drawn_changes_nothing(history):
    history.change(with_text("heron"), "first")
    wrong = Arrangement(items=(Item("a", text="heron", method="no-such-way"),))
    with pytest.raises(InputError, match="no-such-way"):
        history.change(wrong, "second")
    assert history.now == with_text("heron")
    assert arrangement_file.load(history.sheet_file) == with_text("heron")
    later = again(history)
    assert later.now == with_text("heron")
    later.close()


@settings(max_examples=25)
@given(st.lists(st.sampled_from(["a", "b", "c", "undo", "redo", "reload"]), max_size=12))
def test_it_does_what_a_list_and_a_place_in_it_would_do(tmp_path_factory, wishes):
    """The model: a list of states; a change drops those after the present one."""
    found = History(tmp_path_factory.mktemp("model") / "desk")
    states, at = [Arrangement()], 0
    for wish in wishes:
        if wish == "reload":
            found.close()
            found = again(found)
        elif wish in ("undo", "redo"):
            to = at + (1 if wish == "redo" else -1)
            if 0 <= to < len(states):
                getattr(found, wish)()
                at = to
            else:
                with pytest.raises(InputError):
                    getattr(found, wish)()
        elif states[at] != with_text(wish):
            found.change(with_text(wish), wish)
            states[at + 1 :] = [with_text(wish)]
            at += 1
        assert found.now == states[at]
    found.close()
