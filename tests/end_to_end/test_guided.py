"""All trial sheets on virtual machines with hidden faults: each result within its uncertainty, a true card.

The 200 machines of the bar are marked slow; `bench/true_rigs.py` shows them one by one.
"""

from __future__ import annotations

import pytest

from linewright.calibration.rehearsal import guided
from linewright.rig.rig import Rig


def walk_and_check(seed: int) -> None:
    faults = guided.hidden_faults(seed)
    outcome = guided.walk(Rig.default(), faults, seed)
    assert guided.shortfalls(outcome, faults) == []
    assert outcome.before_mm > 0.5
    assert outcome.after_mm < 0.1
    assert outcome.pressure_after_us[0] > 0.0  # the pen never leaves the paper
    assert outcome.pressure_after_us[1] < 60.0


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_crooked_machine_draws_true_after_the_guided_path(seed):
    walk_and_check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3, 200))
def test_two_hundred_crooked_machines_draw_true(seed):
    walk_and_check(seed)
