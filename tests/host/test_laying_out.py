"""Layout of a sheet for the page: caching, and the fast first version of a photograph."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from linewright.errors import InputError
from linewright.planning.arrangement import Arrangement, Item
from linewright.planning.pipeline import Arranged
from linewright.sources import methods, photograph
from linewright.sources.memory import ENTRY_BYTES, PhotographMemory
from linewright.sources.preparation import Preparation
from linewright.tasks import laying_out, target
from linewright.tasks.front import Quiet
from linewright.tasks.laying_out import KeptPictures
from linewright.tidy import Tidiness

RIG = target.of_rig(None).rig


@pytest.fixture
def folder(tmp_path):
    grey = np.add.outer(np.arange(60), np.arange(80))
    Image.fromarray((grey * 255 // grey.max()).astype(np.uint8)).save(tmp_path / "ramp.png")
    return tmp_path


def arranged(folder, **how):
    return Arranged(Arrangement(items=(Item("ramp", source="ramp.png", width_mm=60.0, **how),)), folder)


def test_a_first_look_comes_before_what_takes_long_and_never_twice(folder, monkeypatch):
    monkeypatch.setattr(laying_out, "QUICK_S", 0.0)
    kept, looks = KeptPictures(), []
    found = arranged(folder, method="hatching", pens="blue #2255aa 0.4")
    laid = laying_out.lay_out(found, RIG, Quiet(), kept, looks.append)
    (look,) = looks
    assert look.rough
    assert not laid.rough
    assert [pen.width_mm for pen in look.drawing.pens] == [pytest.approx(1.2)]
    assert [pen.width_mm for pen in laid.drawing.pens] == [0.4]
    assert look.laid[0].boxes_mm == laid.laid[0].boxes_mm
    assert look.drawing.vertices < laid.drawing.vertices / 2
    # The same coverage of the paper.
    ink = [float(one.drawing.stroke_lengths_mm().sum()) * one.drawing.pens[0].width_mm for one in (look, laid)]
    assert ink[0] == pytest.approx(ink[1], rel=0.2)
    # Without a first version the result is the same, and a cached result has none.
    plain = laying_out.lay_out(found, RIG, Quiet())
    np.testing.assert_array_equal(plain.drawing.points_mm, laid.drawing.points_mm)
    again = laying_out.lay_out(found, RIG, Quiet(), kept, looks.append)
    assert len(looks) == 1
    assert again.drawing.vertices == laid.drawing.vertices


def test_a_photograph_gets_the_settings_that_keep_a_time_for_the_whole_sheet(folder):
    whole = Arranged(
        Arrangement(items=(*arranged(folder).arrangement.items, Item("a", text="quay", width_mm=30.0))), folder
    )
    ramp, words = whole.arrangement.items

    def takes_s(*items):
        found = Arranged(Arrangement(items=items), folder)
        laid = laying_out.lay_out(found, RIG, Quiet())
        return laying_out.plan_laid_out(laid, RIG, Quiet(), Tidiness(effort="quick")).program.predicted_s

    full_s = takes_s(replace(ramp, method="hatching:angle_deg=30"), words)
    method, said = laying_out.within(whole, ramp, "hatching:angle_deg=30", RIG, Quiet(), 0.6 * full_s)
    assert methods.chosen(method) == replace(
        methods.chosen("hatching:angle_deg=30"), darkest=pytest.approx(0.35, abs=0.1)
    )
    assert "of its ink" in said
    # Some seconds below the limit, because each item alone includes the moves from and to park.
    assert 0.5 * full_s <= takes_s(replace(ramp, method=method), words) <= 0.6 * full_s
    assert laying_out.within(whole, ramp, "hatching", RIG, Quiet(), 10 * full_s)[0] == "hatching"
    with pytest.raises(InputError, match="the other items alone take"):
        laying_out.within(whole, ramp, "hatching", RIG, Quiet(), 0.5 * takes_s(words))


def test_what_was_made_soon_gets_no_first_look_with_other_settings(folder, monkeypatch):
    monkeypatch.setattr(laying_out, "QUICK_S", 1e9)
    kept, looks = KeptPictures(), []
    laying_out.lay_out(arranged(folder, method="hatching"), RIG, Quiet(), kept, looks.append)
    laying_out.lay_out(arranged(folder, method="hatching:angle_deg=30"), RIG, Quiet(), kept, looks.append)
    laying_out.lay_out(Arranged(Arrangement(items=(Item("a", text="a"),))), RIG, Quiet(), kept, looks.append)
    assert len(looks) == 1


def test_a_photograph_is_prepared_for_its_strokes_while_it_gets_a_first_look(folder, monkeypatch):
    monkeypatch.setattr(laying_out, "QUICK_S", 0.0)
    prepared = []
    real = Preparation.prepared

    def noting(self, rgb):
        prepared.append(rgb.shape)
        return real(self, rgb)

    monkeypatch.setattr(Preparation, "prepared", noting)
    looks = []
    found = Arranged(Arrangement(items=(Item("ramp", source="ramp.png", width_mm=10.0),)), folder)
    laying_out.lay_out(found, RIG, Quiet(), None, lambda look: looks.append((look, len(prepared))))
    ((look, before),) = looks
    assert look.rough
    assert before == len(prepared) == len(set(prepared)) == 2


def test_a_photograph_is_read_again_when_its_bytes_are_others(folder):
    path = folder / "ramp.png"
    first = photograph.load(str(path))
    assert photograph.load(str(path)) is first
    (folder / "other.png").write_bytes(path.read_bytes())
    assert photograph.load(str(folder / "other.png")) is first
    Image.new("L", (80, 60), 7).save(path)
    assert photograph.load(str(path)).rgb.max() < 0.1
    with pytest.raises(ValueError, match="read-only"):
        first.rgb[0, 0] = 1.0


def test_a_memory_forgets_what_was_used_longest_ago():
    memory = PhotographMemory(kept_bytes=2 * (8 * 100 + ENTRY_BYTES))
    made = []

    def recall(key):
        def make():
            made.append(key)
            return np.zeros(100)

        return memory.recall(key, make, lambda array: array)

    for key in "abacab":
        recall(key)
    assert made == ["a", "b", "c", "b"]
