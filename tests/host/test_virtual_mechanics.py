"""The mechanical model against closed forms and against scipy."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from linewright.errors import InputError
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.mechanics import LostSteps, Mechanics, Play, Ringing, start_position_mm

TICK_HZ = 5_000_000


def in_pieces(n, cuts):
    edges = [0, *sorted(c for c in cuts if 0 < c < n), n]
    return [slice(a, b) for a, b in itertools.pairwise(edges)]


def test_ringing_step_response_is_the_closed_form():
    # Underdamped unit step: y = 1 - exp(-z w t) (cos wd t + z/sqrt(1-z^2) sin wd t); Ogata, Modern Control
    # Engineering, section 5-3 (from memory).
    f, z = 18.0, 0.06
    w = 2 * math.pi * f
    wd = w * math.sqrt(1 - z * z)
    ticks = np.arange(0, TICK_HZ, 5000)
    drive = np.ones(len(ticks))
    got = Ringing(f, z, 0.0, 0).respond(ticks, drive)
    t = ticks / TICK_HZ
    want = 1 - np.exp(-z * w * t) * (np.cos(wd * t) + z / math.sqrt(1 - z * z) * np.sin(wd * t))
    assert np.abs(got - want).max() < 1e-9
    # Overshoot exp(-pi z / sqrt(1 - z^2)) at pi / wd.
    assert got.max() == pytest.approx(1 + math.exp(-math.pi * z / math.sqrt(1 - z * z)), abs=1e-3)


@pytest.mark.parametrize(("f", "z"), [(5.0, 0.0), (12.0, 0.05), (60.0, 0.3), (200.0, 0.9)])
def test_ringing_against_scipy_on_an_uneven_staircase(f, z):
    # scipy.signal.lsim with a zero-order hold on an even grid of 1 ms; our model receives only the step times.
    rng = np.random.default_rng(5)
    grid = np.arange(0, 4000)
    jumps = np.where(rng.random(4000) < 0.1, rng.normal(size=4000), 0.0)
    drive = np.cumsum(jumps)
    w = 2 * math.pi * f
    _, want, _ = signal.lsim(([w * w], [1, 2 * z * w, w * w]), drive, grid / 1000, interp=False)
    at = np.flatnonzero(jumps)
    ringing = Ringing(f, z, 0.0, 0)
    got = np.concatenate([ringing.respond(grid[at[s]] * 5000, drive[at[s]]) for s in in_pieces(len(at), (1, 50, 51))])
    assert np.abs(got - want[at]).max() < 1e-6 * max(1.0, np.abs(drive).max())


def test_ringing_dies_down_over_a_long_wait():
    ringing = Ringing(20.0, 0.1, 0.0, 0)
    ringing.respond(np.array([0]), np.array([1.0]))
    assert ringing.respond(np.array([3600 * TICK_HZ]), np.array([1.0]))[0] == pytest.approx(1.0, abs=1e-12)


def play_by_loop(drive, play, start):
    out, at = [], start
    for x in drive:
        at = min(max(at, x - play / 2), x + play / 2)
        out.append(at)
    return np.array(out)


@given(
    st.lists(st.floats(-10, 10), min_size=1, max_size=200), st.floats(0, 3), st.lists(st.integers(1, 199), max_size=4)
)
def test_play_follows_its_definition_step_by_step(drive, play, cuts):
    """The doubling scan equals the loop, wherever the run is cut."""
    drive = np.array(drive)
    model = Play(play, 0.0)
    got = np.concatenate([model.follow(drive[s]) for s in in_pieces(len(drive), cuts)])
    assert np.allclose(got, play_by_loop(drive, play, 0.0), rtol=0, atol=1e-12)


def test_backlash_shows_as_the_reversal_value():
    # ISO 230-2: the reversal value is the difference of the places reached from either side: the whole play.
    model = Play(0.3, 0.0)
    there = model.follow(np.linspace(0, 10, 1000))
    model.follow(np.linspace(10, 20, 1000))
    back = model.follow(np.linspace(20, 10, 1000))
    assert back[-1] - there[-1] == pytest.approx(0.3)


def test_motor_loses_the_steps_that_come_too_soon():
    ticks = np.cumsum([0, 500, 500, 100, 100, 500])  # 10 kHz but for two at 50 kHz
    motor = LostSteps(20_000)
    assert motor.followed(ticks, np.array([1, 1, -1, 1, 1, 1])).tolist() == [1, 1, -1, 0, 0, 1]
    assert motor.lost == 2
    assert motor.followed(np.array([ticks[-1] + 100]), np.array([1])).tolist() == [0]


def test_each_fault_moves_the_pen_as_its_name_says():
    machine = Machine(steps_per_mm=(100.0, 100.0))
    ticks = np.arange(1, 1001) * 1000

    def drawn(**faults):
        mechanics = Mechanics(machine, Faults(start_x_mm=0.0, start_y_mm=0.0, **faults))
        along = np.ones(1000, dtype=np.int64)
        return mechanics.pen(ticks, *mechanics.carriage(ticks, along, along))

    straight = drawn()
    assert straight[-1].tolist() == pytest.approx([10.0, 10.0])
    assert drawn(scale_x=0.01)[-1].tolist() == pytest.approx([10.1, 10.0])
    assert drawn(skew_deg=1.0)[-1].tolist() == pytest.approx([10 + 10 * math.tan(math.radians(1)), 10.0])
    assert drawn(backlash_y_mm=0.4)[-1].tolist() == pytest.approx([10.0, 9.8])
    assert drawn(pull_out_a_hz=4000.0)[-1, 0] == pytest.approx(0.01)  # 5 kHz: only the very first step is followed
    swinging = drawn(ringing_x_hz=15.0)
    assert np.abs(swinging - straight)[:, 0].max() > 0.1
    assert (swinging[:, 1] == straight[:, 1]).all()


def test_start_lies_on_a_whole_step_inside_the_frame():
    assert start_position_mm(Machine(), Faults(start_x_mm=40.001, start_y_mm=1e3)) == (40.0, 223.0)
    assert start_position_mm(Machine(endstop=("none", "max")), Faults()) == (0.0, 30.0)
    assert start_position_mm(Machine(crossed=True), Faults()) == pytest.approx((40.0, 30.0), abs=1e-12)


def test_faults_are_read_by_name_and_range():
    faults = Faults.parse(["backlash_x_mm=0.25", " skew_deg=-0.5"])
    assert faults == Faults(backlash_x_mm=0.25, skew_deg=-0.5)
    assert Faults.parse(faults.options()) == faults
    assert not Faults().bends_the_path
    assert faults.bends_the_path
    for option, words in (
        ("wobble=1", "no fault is called 'wobble'"),
        ("skew_deg=much", "is not a number"),
        ("skew_deg=11", "outside -10..10 deg"),
        ("skew_deg=nan", "outside"),
        ("skew_deg", "is not a number"),
    ):
        with pytest.raises(InputError, match=words):
            Faults.parse([option])
