"""The demo set on the virtual rig: each card is drawn as planned, to the step and tick, within the tolerance."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import BY_HAND, assert_drawn, draw_program

from linewright.planning.pipeline import Placement, PlanTask, prepare

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.mark.parametrize("name", ["heron", "lighthouse", "drifter", "helmet"])
def test_a_card_is_drawn_as_it_was_planned(tmp_path, name):
    placement = Placement(sheet="A6", landscape=name == "drifter", margin_mm=4.0, fit="keep", turn_deg=0)
    program = prepare(PlanTask(str(DEMO / f"{name}.svg"), BY_HAND, placement)).program
    assert_drawn(draw_program(tmp_path, program, BY_HAND))
