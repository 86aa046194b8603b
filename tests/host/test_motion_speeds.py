"""The speed passes against a linear programme, a plain loop, and exact sums."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from linewright.motion import speeds
from linewright.motion.speeds import plan_speeds


def by_loop(cap, budget, bend):
    """The definition, evaluated vertex by vertex."""
    w = np.array(cap, dtype=float)
    for i in range(len(budget) - 1, -1, -1):
        w[i] = min(w[i], (w[i + 1] + budget[i]) / (1 + bend[i]))
    for i in range(len(budget)):
        w[i + 1] = min(w[i + 1], (w[i] + budget[i]) / (1 + bend[i]))
    return w


def random_problem(rng, n, *, bent):
    cap = rng.uniform(0, 1, n) ** 4 * 1e8
    cap[rng.random(n) < 0.02] = 0.0
    cap[[0, -1]] = 0.0
    budget = rng.uniform(0.01, 1, n - 1) ** 3 * 1e7
    highest = np.maximum(cap[1:], cap[:-1])
    bend = rng.uniform(0, 1, n - 1) * budget / np.maximum(highest, 1.0) if bent else np.zeros(n - 1)
    return cap, budget, bend


def test_the_passes_reach_the_exact_optimum():
    # Maximise sum w under the same constraints: scipy's HiGHS. The feasible set is closed under the pairwise maximum,
    # so the largest sum is the largest w everywhere, and the fastest.
    rng = np.random.default_rng(1)
    for _ in range(5):
        n = 120
        cap, budget, _ = random_problem(rng, n, bent=False)
        rise = np.eye(n - 1, n, 1) - np.eye(n - 1, n)
        found = optimize.linprog(
            -np.ones(n),
            A_ub=np.vstack((rise, -rise)),
            b_ub=np.concatenate((budget, budget)),
            bounds=np.stack((np.zeros(n), cap), axis=1),
            method="highs",
        )
        assert found.success
        np.testing.assert_allclose(plan_speeds(cap, budget), found.x, rtol=1e-7, atol=1e-7 * cap.max())


@pytest.mark.parametrize("bent", [False, True])
def test_the_passes_equal_the_loop(bent):
    rng = np.random.default_rng(2)
    for n in (1, 2, 3, 50, 3000):
        cap, budget, bend = random_problem(rng, n, bent=bent)
        np.testing.assert_allclose(plan_speeds(cap, budget, bend), by_loop(cap, budget, bend), rtol=1e-9, atol=1e-3)


def test_a_path_that_bends_without_end_stays_in_range():
    # 2000 radians of arc: the running product alone would be e^4000.
    n = 40_000
    cap = np.full(n, 1e6)
    cap[[0, -1]] = 0.0
    budget = np.full(n - 1, 1e5)
    bend = np.full(n - 1, 0.1)
    w = plan_speeds(cap, budget, bend)
    assert np.all(np.isfinite(w))
    np.testing.assert_allclose(w, by_loop(cap, budget, bend), rtol=1e-9, atol=1e-3)
    assert w[n // 2] == pytest.approx(1e6)


def test_chunks_and_their_seams_change_nothing(monkeypatch):
    rng = np.random.default_rng(3)
    cap, budget, bend = random_problem(rng, 5000, bent=True)
    whole = plan_speeds(cap, budget, bend)
    monkeypatch.setattr(speeds, "CHUNK", 7)
    np.testing.assert_allclose(plan_speeds(cap, budget, bend), whole, rtol=1e-9, atol=1e-3)


def test_running_sums_do_not_drift():
    # A million short strokes: the running sum reaches 1e12 while the speeds near each stop are what one segment gives.
    n = 1_000_001
    cap = np.full(n, 1e9)
    cap[::5] = 0.0
    budget = np.full(n - 1, 123_456.789)
    w = plan_speeds(cap, budget)
    expected = np.array([0.0, 1.0, 2.0, 2.0, 1.0]) * 123_456.789
    assert np.abs(w[:-1].reshape(-1, 5) - expected).max() <= 1e-8 * 123_456.789


@given(
    st.lists(
        st.tuples(st.floats(0, 1e9), st.floats(1, 1e8), st.floats(0, 1)),
        min_size=1,
        max_size=60,
    )
)
def test_no_speed_exceeds_its_cap_or_its_budget(rows):
    cap = np.array([r[0] for r in rows])
    budget = np.array([r[1] for r in rows])[:-1]
    bend = np.array([r[2] for r in rows])[:-1] * budget / np.maximum(np.maximum(cap[1:], cap[:-1]), 1.0)
    w = plan_speeds(cap, budget, bend)
    slack = 1e-9 * (cap.max() + budget.sum()) + 1e-9
    assert np.all(w <= cap + slack)
    assert np.all(np.abs(np.diff(w)) <= budget + slack)
    np.testing.assert_allclose(w, by_loop(cap, budget, bend), rtol=1e-9, atol=slack)


def test_a_straight_start_gathers_speed_as_torricelli_says():
    # v^2 = 2 a d for constant acceleration from rest.
    d = 0.5
    cap = np.full(101, 1e9)
    cap[0] = 0.0
    w = plan_speeds(cap, np.full(100, 2 * 1500.0 * d))
    assert math.sqrt(w[64]) == pytest.approx(math.sqrt(2 * 1500.0 * 32.0))


@pytest.mark.parametrize("seed", range(8))
def test_the_lowest_of_the_intervals_over_each_cell_is_that_of_a_loop(seed):
    chance = np.random.default_rng(seed)
    count, n = 70, 12
    first = chance.integers(0, count, n)
    if seed >= 4:  # in order, as those of a plan
        first.sort()
    last = np.minimum(first + chance.integers(-2, (3, 9, 40, count)[seed % 4], n), count)
    value = chance.uniform(1.0, 9.0, n)
    expected = np.full(count, np.inf)
    for begin, end, height in zip(first, last, value, strict=True):
        for cell in range(begin, end):
            expected[cell] = min(expected[cell], height)
    assert speeds.lowest(first, last, value, count).tolist() == expected.tolist()


def test_no_interval_at_all_leaves_every_cell_free():
    none = np.array([3, 5])
    assert speeds.lowest(none, none, np.ones(2), 8).tolist() == [math.inf] * 8
