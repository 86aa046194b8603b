"""A simulation shows its speed relative to real time."""

from types import SimpleNamespace

import pytest

from linewright.desk.drawing import Quickness


def test_the_clock_of_a_simulation_is_measured_and_a_hold_is_not():
    clock_s = 100.0
    quickness = Quickness(lambda: clock_s)
    said = []
    for state, step_s, played_s in [
        ("drawing", 0.0, 0.0),
        ("drawing", 0.5, 10.0),  # too short to be measured
        ("drawing", 1.5, 40.0),
        ("holding", 30.0, 40.0),
        ("drawing", 1.0, 41.0),
        ("drawing", 2.0, 47.0),
    ]:
        clock_s += step_s
        said.append(quickness.measured(SimpleNamespace(state=state, played_s=played_s)))
    assert said == [None, None, 20.0, 20.0, 20.0, pytest.approx(3.0)]
