"""Previews of a photograph: outdated values are removed, and computed again once the plan is ready."""

from dataclasses import replace
from pathlib import Path

import pytest

from linewright.desk import workers
from linewright.desk.geometry import GeometryShelf
from linewright.desk.making import PreviewsWish, PreviewWish
from linewright.desk.previews import OnSheet, Previews
from linewright.desk.questions import DeskNotes
from linewright.desk.screen import Screen
from linewright.planning.arrangement import Arrangement, Item
from linewright.rig.rig import Rig

RIG = Rig.default()
FIGURES = {"width_mm": 50.0, "height_mm": 60.0, "predicted_s": 90.0, "ink_mm": 3000.0, "strokes": 9, "pens": []}


class Looked:
    """Previews with this test as the worker."""

    def __init__(self):
        self.screen = Screen()
        self.wishes = []
        self.previews = Previews(self.screen, GeometryShelf(), DeskNotes(self.screen), self._wish)
        self.item = Item("heron", source="heron.jpg", width_mm=50.0)
        self.previews.of(self.now)
        self.made(["portrait", "waves", "hatching"])

    def _wish(self, wish):
        self.wishes.append(wish)
        return len(self.wishes)

    @property
    def now(self):
        return OnSheet(self.item, Arrangement(items=(self.item,)), Path("x"), RIG)

    @property
    def list(self):
        return self.screen.get("previews")["list"]

    def made(self, value):
        self.previews.heard(len(self.wishes), workers.MADE, value)

    def changed(self, **fields):
        self.item = replace(self.item, **fields)
        self.previews.changed(self.now)


@pytest.fixture
def looked():
    found = Looked()
    for _ in range(3):
        found.made((b"strokes", FIGURES))
    assert [one["state"] for one in found.list] == ["ready"] * 3
    assert [type(one) for one in found.wishes] == [PreviewsWish, PreviewWish, PreviewWish, PreviewWish]
    return found


def test_another_size_takes_every_figure_away_until_it_is_reckoned_anew(looked):
    before = looked.list[0]["geometry"]
    looked.changed(width_mm=80.0)
    assert [(one["state"], one["predicted_s"], one["ink_mm"]) for one in looked.list] == [("waiting", None, None)] * 3
    assert looked.list[0]["geometry"] == before  # the picture stays meanwhile
    assert len(looked.wishes) == 4  # the plan comes first
    looked.previews.go_on()
    for seconds in (200.0, 300.0, 400.0):
        looked.made((b"wider", FIGURES | {"predicted_s": seconds}))
    assert [one["predicted_s"] for one in looked.list] == [200.0, 300.0, 400.0]
    assert [one.item.width_mm for one in looked.wishes[4:]] == [80.0] * 3


def test_settings_change_the_picture_of_their_method_alone(looked):
    looked.changed(method="waves:pitch=9")
    assert [(one["method"], one["own"], one["state"]) for one in looked.list] == [
        ("portrait", False, "ready"),
        ("waves:pitch=9", True, "waiting"),
        ("hatching", False, "ready"),
    ]
    looked.previews.go_on()
    assert looked.wishes[-1].method == "waves:pitch=9"
    looked.made((b"strokes", FIGURES))
    # Choosing another method keeps them; without a choice the recommended method is back with its defaults.
    looked.changed(method="portrait:frame=whole")
    looked.changed(method=None)
    assert [one["method"] for one in looked.list] == ["portrait", "waves:pitch=9", "hatching"]
    assert [one["state"] for one in looked.list] == ["waiting", "ready", "ready"]


def test_a_thing_that_is_only_moved_keeps_its_figures(looked):
    looked.changed(at_mm=(20.0, 30.0), align=None)
    assert [one["state"] for one in looked.list] == ["ready"] * 3
    looked.previews.go_on()
    assert len(looked.wishes) == 4


def test_what_was_begun_for_the_size_before_is_not_shown():
    looked = Looked()
    stale = len(looked.wishes)
    looked.changed(width_mm=80.0)
    looked.previews.heard(stale, workers.MADE, (b"old", FIGURES))
    assert [one["state"] for one in looked.list] == ["waiting"] * 3
    looked.previews.go_on()
    assert looked.list[0]["state"] == "making"
