"""Search by strips gives the same result as a global search."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from linewright.drawing.strokes import Drawing
from linewright.tidy import over_ink, overlaps
from linewright.tidy import strips as module
from linewright.tidy.dedupe import drop_repeats
from linewright.tidy.over_ink import joined_over_ink
from linewright.tidy.overlaps import without_overlaps
from linewright.tidy.strips import strips


@pytest.fixture
def crowd() -> Drawing:
    """400 short strokes on 40 x 40 mm, some of them along others, from a seed."""
    chance = np.random.default_rng(4)
    at = np.repeat(chance.uniform(0, 40, (100, 1, 2)), 4, axis=0)
    return drop_repeats(Drawing.from_strokes(np.round(at + np.cumsum(chance.uniform(0, 2, (400, 3, 2)), axis=1))))


def test_overlaps_and_ways_over_ink_are_those_of_the_whole(crowd, monkeypatch):
    reach = np.array([4.0]), np.array([0.5])
    whole = without_overlaps(crowd, tolerance_mm=0.05, least_mm=1.0)
    joined = joined_over_ink(whole, *reach)
    assert len(joined) < len(whole) < len(crowd)
    monkeypatch.setattr(module, "LINES", 100)
    in_strips = without_overlaps(crowd, tolerance_mm=0.05, least_mm=1.0)
    assert in_strips.points_mm.tobytes() == whole.points_mm.tobytes()
    assert joined_over_ink(in_strips, *reach).points_mm.tobytes() == joined.points_mm.tobytes()


def test_everyone_looks_once_and_at_all_that_reaches_there(monkeypatch):
    monkeypatch.setattr(module, "LINES", 10)
    chance = np.random.default_rng(5)
    left = chance.uniform(0, 100, 80)
    right = left + chance.uniform(0, 5, 80)
    found = list(strips(left, right, left, right))
    assert len(found) == 8
    assert sorted(np.concatenate([wanted for wanted, _ in found]).tolist()) == list(range(80))
    for wanted, there in found:
        touching = (left <= right[wanted][:, None]) & (right >= left[wanted][:, None])
        assert np.isin(np.flatnonzero(touching.any(axis=0)), there).all()


def test_lines_across_the_sheet_are_looked_at_in_one():
    wide = np.zeros(4 * module.LINES), np.ones(4 * module.LINES)
    assert len(list(strips(*wide, *wide))) == 1


def test_compiled_searches_find_the_same(crowd, monkeypatch):
    long = [[(0.0, 0.5), (60.0, 41.0)], [(60.0, 41.02), (0.0, 0.52)], [(3.0, 3.0)]]
    both = Drawing.one_after_the_other((crowd, Drawing.from_strokes(long)))
    both = replace(both, pen=np.arange(len(both)) % 2, pens=(both.pens[0], replace(both.pens[0], name="other")))
    reach = np.array([4.0, 3.0]), np.array([0.5, 0.3])
    once = without_overlaps(both, tolerance_mm=0.05, least_mm=1.0)
    joined = joined_over_ink(once, *reach)
    assert len(joined) < len(once)
    monkeypatch.setattr(overlaps, "COMPILED_FROM", 0)
    monkeypatch.setattr(over_ink, "COMPILED_FROM", 0)
    monkeypatch.setattr(overlaps, "_PAIRS", 3)  # some segments have more
    compiled = without_overlaps(both, tolerance_mm=0.05, least_mm=1.0)
    assert compiled.points_mm.tobytes() == once.points_mm.tobytes()
    assert compiled.starts.tolist() == once.starts.tolist()
    assert joined_over_ink(once, *reach).points_mm.tobytes() == joined.points_mm.tobytes()
