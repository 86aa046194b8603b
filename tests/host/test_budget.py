"""Limits of time and ink: notation, and drawings close below the limit."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.photographs import hills, photograph
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.planning import budget, comparison, pipeline
from linewright.planning.budget import Budget
from linewright.rig.rig import Rig
from linewright.sources import Picture, Wish
from linewright.tidy import Tidiness

HERON = Path(__file__).resolve().parents[2] / "demo" / "heron.jpg"


@pytest.mark.parametrize(("words", "seconds"), [("20min", 1200), ("90s", 90), ("1h30min", 5400), ("0.5 h", 1800)])
def test_times_as_people_write_them(words, seconds):
    assert budget.read_time_s(words) == seconds


@pytest.mark.parametrize("words", ["", "20", "0min", "20 m", "-3min", "min", "3min later"])
def test_what_is_no_time_is_refused_with_how_to_write_one(words):
    with pytest.raises(InputError, match="not a drawing time"):
        budget.read_time_s(words)


@pytest.mark.parametrize(("words", "mm"), [("30m", 30_000), ("250cm", 2500), ("800 mm", 800)])
def test_lengths_as_people_write_them(words, mm):
    assert budget.read_ink_mm(words) == mm


@pytest.mark.parametrize("words", ["", "30", "0m", "3in", "m"])
def test_what_is_no_length_is_refused(words):
    with pytest.raises(InputError, match="not a length"):
        budget.read_ink_mm(words)


@given(full_s=st.floats(100, 10_000), always=st.floats(0, 0.5), bend=st.floats(0.7, 2.0), part=st.floats(0.2, 1.5))
def test_any_smooth_need_is_met_within_five_per_cent_in_few_plans(full_s, always, bend, part):
    """Time grows with the share of ink, linearly or not, and has a constant part."""
    allowed_s = part * full_s
    least_s = always * min(allowed_s, full_s)
    tried = []

    def plan(share):
        tried.append(share)
        return share, least_s + (full_s - least_s) * share**bend, 1.0

    share, words = budget.fitted(lambda s: s, plan, Budget(time_s=allowed_s))
    time_s = least_s + (full_s - least_s) * share**bend
    assert time_s <= allowed_s
    assert len(tried) <= budget.TRIES
    assert share == 1 or time_s >= 0.95 * allowed_s
    assert ("the full drawing" in words) == (share == 1)


def test_what_cannot_be_drawn_so_fast_is_refused():
    with pytest.raises(InputError, match="palest drawing takes"):
        budget.fitted(lambda s: s, lambda s: (s, 100.0 + s, 1.0), Budget(time_s=50.0))


@pytest.mark.parametrize("method", ["hatching", "portrait", "one-line"])
def test_a_photograph_takes_the_ink_that_is_allowed(method):
    lines = pipeline.Lines(method, budget=Budget(ink_mm=2500.0))
    place = pipeline.Placement(sheet="74x105mm")
    job = pipeline.prepare(pipeline.PlanTask(str(HERON), Rig.default(), place, lines, Tidiness(effort="quick")))
    assert any("of its ink" in words for words in job.warnings)
    assert 0.95 * 2500 <= job.program.pen_down_mm <= 2500


def test_a_drawing_is_not_made_paler():
    svg = HERON.with_name("heron.svg")
    with pytest.raises(InputError, match="not a photograph"):
        pipeline.prepare(pipeline.PlanTask(str(svg), Rig.default(), lines=pipeline.Lines(budget=Budget(time_s=60.0))))


def test_more_ink_than_paper_bears_is_said():
    rows = [[(0.0, 0.1 * i), (20.0, 0.1 * i)] for i in range(200)]
    for strokes, soaked in ((rows, True), (rows[::10], False)):
        picture = Picture(Drawing.from_strokes(strokes), 20.0, 20.0)
        place = pipeline.Placement(sheet="60x60mm", fit="keep")
        job = pipeline.planned(picture, pipeline.PlanTask("", Rig.default(), place, tidiness=Tidiness(effort="quick")))
        assert any("times over" in words for words in job.warnings) == soaked


def test_the_pick_of_auto_comes_first_with_its_reason():
    grey = hills(3, 60, 80)
    names, why = comparison.with_pick(photograph(grey), Wish())
    assert names[0] == "strokes"
    assert set(comparison.names()) <= set(names)
    assert why == "a photograph without a large face: its tones change from place to place"
