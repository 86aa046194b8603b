"""Impulses against the published formulas, and against a plant simulated by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, signal

from linewright.motion import impulses

hertz = st.floats(1, 200)
dampings = st.floats(0, 0.9)


def residual(sequence, hz, damping) -> float:
    """Swing after the last impulse, relative to a single one, of a plant that scipy integrates."""
    omega = 2 * math.pi * hz
    plant = signal.StateSpace([[0, 1], [-(omega**2), -2 * damping * omega]], [[0], [omega**2]], [[1, 0]], [[0]])
    # A step of A at t: as a staircase that ends at 1, sampled finely enough to fall on the impulses.
    t = np.linspace(0, sequence.span_s + 3 / hz, 60_001)
    steps = np.searchsorted(sequence.delay_s, t + 1e-12, side="right")
    u = np.concatenate(([0.0], np.cumsum(sequence.share)))[steps]
    _, y, _ = signal.lsim(plant, u, t, interp=False)
    after = t > sequence.span_s + t[1]
    _, y1, _ = signal.lsim(plant, np.ones_like(t), t, interp=False)
    return float(np.abs(y[after] - 1).max() / np.abs(y1[after] - 1).max())


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.2])
def test_the_shapers_are_the_published_ones(damping):
    # Singer and Seering 1990, equations for two and three impulses; K by its definition.
    k = math.exp(-damping * math.pi / math.sqrt(1 - damping**2))
    half_s = math.pi / (2 * math.pi * 17.0 * math.sqrt(1 - damping**2))
    two = impulses.zero_vibration(17.0, damping)
    np.testing.assert_allclose(two.share, [1 / (1 + k), k / (1 + k)])
    np.testing.assert_allclose(two.delay_s, [0, half_s])
    three = impulses.zero_vibration_derivative(17.0, damping)
    scale = 1 + 2 * k + k**2
    np.testing.assert_allclose(three.share, [1 / scale, 2 * k / scale, k**2 / scale])
    np.testing.assert_allclose(three.delay_s, [0, half_s, 2 * half_s])


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.3])
@pytest.mark.parametrize("make", [impulses.zero_vibration, impulses.zero_vibration_derivative])
def test_a_simulated_plant_stands_still_after_the_last_impulse(make, damping):
    # The sample times miss the impulses by up to a 60 000th of the time: 1e-3 of the swing.
    assert residual(make(12.0, damping), 12.0, damping) < 2e-3
    assert residual(make(12.0, damping), 16.0, damping) > 0.05


@pytest.mark.parametrize("hz", [9.0, 10.0, 11.5])
def test_the_formula_for_what_is_left_agrees_with_the_simulated_plant(hz):
    sequence = impulses.zero_vibration(10.0, 0.0)
    assert sequence.vibration(hz, 0.0) == pytest.approx(residual(sequence, hz, 0.0), abs=2e-3)


@pytest.mark.parametrize(
    ("make", "width"), [(impulses.zero_vibration, 0.065), (impulses.zero_vibration_derivative, 0.286)]
)
def test_how_wrong_a_frequency_may_be(make, width):
    # Width of the band in which 5 % of the vibration is left, undamped: 0.06 and 0.29 of the frequency (Vaughan, Yano
    # and Singhose, "Comparison of robust input shapers", J. Sound and Vibration 315, 2008; figures from memory).
    sequence = make(10.0, 0.0)
    low = optimize.brentq(lambda hz: sequence.vibration(hz, 0.0) - 0.05, 7.0, 10.0)
    high = optimize.brentq(lambda hz: sequence.vibration(hz, 0.0) - 0.05, 10.0, 13.0)
    assert (high - low) / 10.0 == pytest.approx(width, abs=0.003)


@given(hertz, dampings, hertz, dampings, st.floats(100, 1e8), st.floats(1, 50_000))
def test_any_sequence_adds_up_to_one_and_starts_at_once(hz, damping, other_hz, other, jerk, accel):
    sequence = (
        impulses.zero_vibration(hz, damping)
        .then(impulses.zero_vibration_derivative(other_hz, other))
        .then(impulses.bounded_jerk(jerk, accel))
    )
    assert sequence.share.sum() == pytest.approx(1.0)
    assert np.all(sequence.share > 0)
    assert sequence.delay_s[0] == 0.0
    assert np.all(np.diff(sequence.delay_s) > 0)
    assert 0 <= sequence.mean_s <= sequence.span_s


@given(hertz, dampings, hertz, dampings)
def test_what_one_sequence_cancels_stays_cancelled_by_both(hz, damping, other_hz, other):
    both = impulses.zero_vibration(hz, damping).then(impulses.zero_vibration(other_hz, other))
    # Impulses within 10 us are one: at 200 Hz a hundredth of a radian.
    assert both.vibration(hz, damping) < 0.02
    assert both.vibration(other_hz, other) < 0.02


def test_bounded_jerk_rises_in_equal_steps_at_the_asked_rate():
    stairs = impulses.bounded_jerk(30_000.0, 1500.0)
    assert len(stairs.share) == impulses.STAIRS
    rise_mm_s2 = 1500.0 * stairs.share[0]
    assert rise_mm_s2 / np.diff(stairs.delay_s) == pytest.approx(30_000.0)
