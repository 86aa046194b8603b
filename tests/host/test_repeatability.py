"""Repeatability of approaches, against published values."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.calibration.repeatability import Repeatability

# JCGM 100:2008 (GUM), 4.4.3, table 1: twenty readings of a temperature, degrees Celsius (typed from memory; that they
# give the published mean and deviations to every digit says that they are the published ones).
GUM = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
GUM += [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]


def test_the_worked_example_of_the_gum():
    found = Repeatability.of(GUM)
    assert found.count == 20
    assert round(found.mean_mm, 3) == 100.145  # published: 100.145, about 100.14
    assert round(found.s_mm, 3) == 1.489  # published: 1.489, about 1.49
    assert round(found.mean_uncertainty_mm, 3) == 0.333  # published: 0.333, about 0.33
    assert found.repeatability_mm == pytest.approx(4 * 1.489, abs=0.002)  # ISO 230-2: R = 4 s


def test_a_machine_shows_no_less_than_its_step():
    # GUM, F.2.2.1: a resolution d leaves a standard uncertainty of 0.29 d.
    found = Repeatability.of([0.0] * 10, step_mm=0.0125)
    assert found.s_mm == 0
    assert found.repeatability_mm == pytest.approx(4 * 0.29 * 0.0125, rel=0.01)


@given(st.lists(st.floats(-10, 10), min_size=2, max_size=30), st.floats(-100, 100))
def test_a_place_elsewhere_scatters_alike(deviations, shift):
    """Moving the switch changes only the mean."""
    here, there = Repeatability.of(deviations), Repeatability.of([d + shift for d in deviations])
    assert there.mean_mm == pytest.approx(here.mean_mm + shift, abs=1e-9)
    assert there.s_mm == pytest.approx(here.s_mm, abs=1e-9)
    assert here.range_mm <= 2 * max(abs(d) for d in deviations)
    assert here.mean_uncertainty_mm == pytest.approx(statistics.stdev(deviations) / math.sqrt(len(deviations)))


@pytest.mark.parametrize("nonsense", [[], [1.0], [1.0, math.nan], [math.inf, 0.0]])
def test_too_little_or_nonsense_is_refused(nonsense):
    with pytest.raises(ValueError, match="finite numbers"):
        Repeatability.of(nonsense)
