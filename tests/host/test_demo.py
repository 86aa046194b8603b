"""The demo artwork contains the features that it should exercise, and fits its cards."""

from __future__ import annotations

from pathlib import Path

import pytest

from linewright.planning.pipeline import Placement, PlanTask, prepare
from linewright.rig.rig import Rig
from linewright.sources.svg import read_svg

DEMO = Path(__file__).resolve().parents[2] / "demo"
CARDS = {"heron": 2, "lighthouse": 2, "drifter": 2, "helmet": 1}


@pytest.mark.parametrize("name", CARDS)
def test_a_card_uses_what_real_files_use(name):
    text = (DEMO / f"{name}.svg").read_text(encoding="utf-8")
    for part in ("<style>", "<symbol ", "<use ", 'class="', "transform=", "<path ", "A", "C", "<title>"):
        assert part in text, part


@pytest.mark.parametrize("name", CARDS)
def test_a_card_is_a_picture_of_lines(name):
    picture = read_svg(DEMO / f"{name}.svg")
    assert picture.warnings == ()
    assert sorted((picture.width_mm, picture.height_mm)) == pytest.approx([105, 148])  # ISO 216 A6
    assert len(picture.drawing.pens) == CARDS[name]
    assert 50 <= len(picture.drawing) <= 500
    assert 2000 <= picture.drawing.vertices <= 8000


@pytest.mark.parametrize("name", CARDS)
def test_a_card_is_planned_whole(name):
    placement = Placement(sheet="A6", landscape=name == "drifter", margin_mm=4.0, fit="keep", turn_deg=0)
    job = prepare(PlanTask(str(DEMO / f"{name}.svg"), Rig.default(), placement))
    assert job.warnings == ()  # nothing is cut at margin or reach
    assert 60 < job.program.predicted_s < 600
