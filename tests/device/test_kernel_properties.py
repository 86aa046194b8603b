"""Properties of the kernel: exact steps, exact duration, 32-bit ranges, and a pace that never breaks a limit."""

from __future__ import annotations

import math
from array import array

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from device.checked_integers import Checked, CheckedCells
from lineboard import kernel
from linewright.program.duration import ramp_ticks

OVERHEAD = 17

displacements = st.integers(-kernel.MAX_STEPS, kernel.MAX_STEPS) | st.integers(-40, 40)
speeds = st.integers(0, kernel.MAX_SPEED) | st.integers(0, 50)


def play(state, words, budget_ticks=1 << 29, room=None):
    """Render to the end of the ramp or to a standstill; returns the periods and patterns."""
    room = len(words.cells) if isinstance(words, CheckedCells) else len(words) if room is None else room
    played = []
    while state[kernel.S_LEFT]:
        count = kernel.render(state, words, 0, room, budget_ticks)
        if count == 0:
            break
        played.extend(words[i] for i in range(count))
    return np.array([(w >> 4) + OVERHEAD for w in played]), np.array([w & 15 for w in played])


@given(displacements, displacements, speeds, speeds, st.integers(1, 200))
def test_a_planned_ramp_takes_exactly_the_predicted_ticks_and_steps(da, db, v0, v1, room):
    """Any playable ramp: the steps are exact and the sum of the word periods is the host's prediction."""
    if max(abs(da), abs(db)) > 3000:  # keeps the test short; another test covers the ranges of long ramps
        da, db = da // 8, db // 8
    state = kernel.new_state(OVERHEAD)
    state[kernel._V], state[kernel._U] = v0, v0 << 8
    dominant = max(abs(da), abs(db))
    if dominant == 0 or max(v0, v1) == 0:
        assert kernel.load(state, da, db, v1, kernel.PLENTY) == 0
        return
    predicted = int(ramp_ticks([da], [db], [v0], [v1])[0])
    if kernel.load(state, da, db, v1, kernel.PLENTY) == 0:
        assert predicted > 1 << 28
        return
    words = array("I", [0] * room)
    periods, _ = play(state, words, room=room)
    assert (state[kernel.S_A], state[kernel.S_B]) == (da, db)
    # A step shorter than the player's overhead cannot be played: the host's step-rate limit excludes it.
    if periods.min() > OVERHEAD:
        assert periods.sum() == predicted
    assert kernel.speed(state) == v1


@given(st.floats(0, 4.2), st.floats(0, 1), st.booleans(), st.floats(5, 40_000), st.floats(500, 500_000), st.booleans())
def test_ramp_duration_is_within_a_thousandth_of_the_closed_form(size, slope, swap, v_slow, accel, slowing):
    """5..40 000 steps/s, 500..500 000 steps/s^2: t = 2 d / (v0 + v1), within one tick of rounding."""
    da = min(int(10**size), kernel.MAX_STEPS)
    db = int(da * slope)
    if swap:
        da, db = db, -da
    length = math.hypot(da, db)
    v0 = int(v_slow)
    v1 = int(min(math.sqrt(v_slow**2 + 2 * accel * length), 40_000))
    if slowing:
        v0, v1 = v1, v0
    ticks = int(ramp_ticks([da], [db], [v0], [v1])[0])
    closed_form = 2 * length / (v0 + v1) * kernel.TICK_HZ
    assert abs(ticks - closed_form) <= 1e-3 * closed_form + 1


@given(st.integers(20, 2000), st.floats(0, 1), st.integers(0, 30_000), st.integers(200, 30_000))
def test_steps_inside_a_ramp_follow_the_square_root_law(n, slope, v0, v1):
    """Every dominant step lies within a twentieth of a step interval of t(k) = 2k / (f0 + sqrt(f0^2 + 2 a k))."""
    minor = int(n * slope)
    state = kernel.new_state(OVERHEAD)
    state[kernel._V], state[kernel._U] = v0, v0 << 8
    kernel.load(state, n, minor, v1, kernel.PLENTY)
    periods, _ = play(state, array("I", [0] * n))
    length = math.hypot(n, minor)
    f0, f1 = v0 * n / length, v1 * n / length
    k = np.arange(1, n + 1)
    f = np.sqrt(f0**2 + (f1**2 - f0**2) * k / n)
    before = np.concatenate(([f0], f[:-1]))
    exact = 2 * k / (f0 + f) * kernel.TICK_HZ
    exact *= periods.sum() / exact[-1]  # the total is checked by the other test
    interval = 2 / (before + f) * kernel.TICK_HZ
    # 1/64 interval from even spacing in a piece, the rest from roots of 19 bits over long ramps, one tick of rounding.
    assert np.all(np.abs(np.cumsum(periods) - exact) <= interval / 20 + 1.5)
    # The last step includes all rounding, yet has the interval of the steps before it.
    assert abs(periods[-1] - (exact[-1] - exact[-2])) <= 0.02 * interval[-1] + 1.5


@given(st.lists(st.tuples(displacements, displacements, speeds), min_size=1, max_size=4), st.data())
def test_no_intermediate_value_leaves_32_bits(ramps, data):
    """Any ramps, paces and look-aheads: viper's silent 32-bit wrap never happens (nor negative division or indices)."""
    state = CheckedCells(kernel.new_state(OVERHEAD))
    words = CheckedCells(array("I", [0] * 64))
    state[kernel.S_ACCEL] = data.draw(st.integers(1, kernel.MAX_ACCEL))
    for da, db, v_end in ramps:
        beyond = data.draw(st.just(kernel.PLENTY) | st.integers(0, 3000))
        if not kernel.load(state, Checked(da), Checked(db), Checked(v_end), Checked(beyond)):
            continue
        for _ in range(data.draw(st.integers(1, 12))):
            state[kernel.S_PACE] = data.draw(st.just(256) | st.integers(0, 256))
            kernel.render(state, words, Checked(0), Checked(64), Checked(1 << 28))
        state[kernel.S_LEFT] = 0
        state[kernel._PIECE] = 0


def check_acceleration(step_times_s: np.ndarray, accel: float) -> None:
    """Three points of the path, h apart: |x(t+h) - 2x(t) + x(t-h)| <= a h^2, each point known to one step."""
    for h in (0.004, 0.02, 0.1):
        t = np.arange(step_times_s[0] + h, step_times_s[-1] - h, h / 3)
        x = [np.searchsorted(step_times_s, t + shift, side="right") for shift in (-h, 0, h)]
        second = np.abs(x[2] - 2.0 * x[1] + x[0])
        assert np.all(second <= 1.05 * accel * h * h + 4), (h, second.max(), accel * h * h)


@given(
    st.integers(2000, 30_000),
    st.integers(20_000, 400_000),
    st.lists(st.tuples(st.integers(1, 60), st.sampled_from([0, 20, 128, 200, 256])), max_size=12),
)
def test_changes_of_pace_keep_the_acceleration(speed, accel, changes):
    """Hold, slow down and resume at constant speed: never faster than planned, never above the acceleration limit."""
    state = kernel.new_state(OVERHEAD)
    state[kernel.S_ACCEL] = accel
    kernel.rest(state)
    up = min(math.ceil(speed * speed / (2 * accel)) + 1, 8000)
    top = int(min(speed, math.sqrt(2 * accel * up)))
    words = array("I", [0] * 64)
    periods: list[int] = []
    changes = list(changes)
    calls = 0
    for da, v_end in ((up, top), (2500, top), (2500, top), (up, 0)):
        assert kernel.load(state, da, 0, v_end, kernel.PLENTY)
        while state[kernel.S_LEFT]:
            calls += 1
            if changes and calls >= changes[0][0]:
                state[kernel.S_PACE] = changes.pop(0)[1]
                calls = 0
            count = kernel.render(state, words, 0, 64, 100_000)
            periods.extend((words[i] >> 4) + OVERHEAD for i in range(count))
            if state[kernel.S_STILL]:
                periods.append(kernel.TICK_HZ // 5)  # a standstill ...
                periods.append(-1)  # ... is not a step interval
                state[kernel.S_PACE] = 256
    assert state[kernel.S_A] == 2 * up + 5000
    steps = np.array(periods)
    waits = np.flatnonzero(steps == -1)
    is_step = np.ones(len(steps), dtype=bool)
    is_step[waits] = is_step[waits - 1] = False
    time_s = np.cumsum(np.where(steps < 0, 0, steps)) / kernel.TICK_HZ
    step_times = time_s[is_step]
    assert np.diff(step_times).min() >= (1 / top) * 0.98 - 1e-6
    check_acceleration(step_times, accel)


@given(st.integers(1000, 30_000), st.integers(10_000, 400_000), st.integers(100, 4000))
def test_without_more_data_the_pen_stops_in_time(speed, accel, n):
    """Without further data the motion stops smoothly within the known path, and continues when data arrives."""
    state = kernel.new_state(OVERHEAD)
    state[kernel.S_ACCEL] = accel
    top = int(min(speed, math.sqrt(2 * accel * n)))
    long = math.ceil(top * top / (2 * accel)) + 50
    if long > kernel.MAX_STEPS:
        return
    words = array("I", [0] * 64)
    assert kernel.load(state, n, 0, top, kernel.PLENTY)
    play(state, words)
    assert kernel.load(state, long, 0, top, 0)
    periods, _ = play(state, words)
    assert state[kernel.S_LEFT] <= 1
    if state[kernel.S_LEFT] == 0:
        assert kernel.speed(state) ** 2 <= 4 * accel  # the change of speed in one step, in both directions
    check_acceleration(np.cumsum(periods) / kernel.TICK_HZ, accel)
    kernel.extend(state, kernel.PLENTY)
    play(state, words)
    assert state[kernel.S_LEFT] == 0
    assert state[kernel.S_A] == n + long
