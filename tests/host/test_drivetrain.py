"""Motor limits, against the circuit equations and handbook values."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from linewright.rig import motor_torque as drivetrain
from linewright.rig.motor_torque import Drive, first_limits, reach, reference_v
from linewright.rig.rig import Rig

COMMON = Drive.of(Rig.default(), Rig.default().a)
drives = st.builds(
    Drive,
    current_a=st.floats(0.2, 2.0),
    rated_current_a=st.just(2.0),
    resistance_ohm=st.floats(0.5, 4.0),
    inductance_h=st.floats(0.5e-3, 12e-3),
    holding_torque_n_m=st.floats(0.1, 2.0),
    rotor_inertia_kg_m2=st.floats(0, 2e-5),
    supply_v=st.floats(12.0, 48.0),
    steps_per_turn=st.sampled_from([200, 400]),
    mm_per_turn=st.floats(20.0, 60.0),
)


def test_a_winding_gets_63_percent_of_the_way_in_one_time_constant():
    # 1 - 1/e = 63.2 %, any text on circuits.
    at = COMMON.time_constant_s
    solved = solve_ivp(
        lambda _, i: (COMMON.supply_v - COMMON.resistance_ohm * i) / COMMON.inductance_h, (0, at), [0.0], rtol=1e-10
    )
    assert solved.y[0, -1] / (COMMON.supply_v / COMMON.resistance_ohm) == pytest.approx(0.632, abs=0.0005)


@given(drives)
def test_the_current_turns_around_in_the_time_stated(drive):
    """The circuit V = R i + L di/dt, integrated by SciPy from -I for that time, has come to +I."""
    solved = solve_ivp(
        lambda _, i: (drive.supply_v - drive.resistance_ohm * i) / drive.inductance_h,
        (0, drive.reversal_s),
        [-drive.current_a],
        rtol=1e-9,
        atol=1e-12,
    )
    assert solved.y[0, -1] == pytest.approx(drive.current_a, rel=1e-6)


def test_with_little_resistance_the_current_turns_around_in_2_l_i_over_v():
    # Acarnley, Stepping Motors (4th ed.), on high-speed operation: the resistance left out.
    drive = replace(COMMON, resistance_ohm=0.01)
    ideal_s = 2 * drive.inductance_h * drive.current_a / drive.supply_v
    assert drive.reversal_s == pytest.approx(ideal_s, rel=1e-4)
    # Worked by hand: 2 x 4 mH x 1.1 A / 24 V = 0.3667 ms, so 2727 full steps/s, 13.6 turns/s.
    assert ideal_s == pytest.approx(0.3667e-3, rel=1e-3)
    assert 1 / drive.reversal_s == pytest.approx(2727, rel=1e-3)


def phasor_pull_out_n_m(drive: Drive, full_steps_s: float) -> float:
    """Pull-out torque of the same motor as a two-phase synchronous machine on sinusoidal voltage.

    Per phase, in the rotor's frame: v = (R + j w L) i + k w_m with |v| <= V and |i| <= I, torque k Im(i). The largest
    over all load angles, found by search. The circuit model is that of Acarnley's chapter on high-speed operation
    (its closed form from memory: k V / |Z| - k^2 w_m R / |Z|^2).
    """
    k = drive.holding_torque_n_m / (math.sqrt(2) * drive.rated_current_a)
    turns_s = full_steps_s / drive.steps_per_turn
    w_m = 2 * math.pi * turns_s
    w_e = w_m * drive.steps_per_turn / 4  # a full step is a quarter of the electrical turn
    z = complex(drive.resistance_ohm, w_e * drive.inductance_h)
    angle = np.linspace(0, 2 * math.pi, 721)[:, None]
    volts = np.linspace(0, drive.supply_v, 101)[None, :]
    current = (volts * np.exp(1j * angle) - 1j * k * w_m) / z
    torque = np.where(np.abs(current) <= drive.current_a * 1.02, k * current.imag, -np.inf)
    return float(torque.max())


# Real motors make from 0.05 to 0.5 V per rad/s and ampere of torque constant; the speeds are those that machines use.
@pytest.mark.parametrize("full_steps_s", [50, 200, 800, 1500, 2500, 4000, 6000])
@pytest.mark.parametrize(
    ("volts", "amps", "henry"), [(24, 1.1, 4e-3), (12, 1.1, 4e-3), (24, 1.5, 2.8e-3), (36, 0.8, 6e-3)]
)
def test_what_is_asked_of_a_motor_is_less_than_the_circuit_pulls(full_steps_s, volts, amps, henry):
    drive = replace(COMMON, supply_v=volts, current_a=amps, inductance_h=henry)
    real = phasor_pull_out_n_m(drive, full_steps_s)
    asked = drive.pull_out_n_m(full_steps_s) / drivetrain.PULL_OUT_MARGIN
    # The margin may be used up where back-EMF takes the supply voltage, but not exceeded; and the limit is not too low.
    assert asked <= real * 1.02
    assert asked >= 0.25 * real


def test_torque_falls_as_one_over_speed_beyond_the_corner():
    corner = COMMON.corner_full_steps_s
    assert COMMON.pull_out_n_m(corner / 3) == COMMON.pull_out_n_m(corner) == COMMON.slow_torque_n_m
    assert COMMON.pull_out_n_m(3 * corner) == pytest.approx(COMMON.slow_torque_n_m / 3)


def test_two_windings_hold_as_the_diagonal_of_a_square():
    # Both at rated current: sqrt(2) of one alone (vector sum of two fields at right angles, any text on steppers).
    assert replace(COMMON, current_a=COMMON.rated_current_a).slow_torque_n_m == pytest.approx(0.45 / math.sqrt(2))


def test_the_belt_pulls_as_torque_over_radius():
    # By hand: 0.45 N m / sqrt 2 x 1.1 / 1.5 = 0.2333 N m; 20 teeth x 2 mm = 40 mm/turn, radius 6.366 mm: 36.65 N; half
    # of it is kept in reserve.
    assert COMMON.usable_force_n(10.0) == pytest.approx(36.65 / 2, rel=1e-3)
    # 54 g cm2 at 6.366 mm is 0.1332 kg; with 500 g and 3 N of drag: (18.33 - 3) / 0.6332 = 24.2 m/s2.
    assert COMMON.accel_mm_s2(500.0, 3.0, 10.0) == pytest.approx(24_200, rel=2e-3)


@given(drives, st.floats(10, 5000), st.floats(0, 20))
def test_first_limits_never_ask_more_than_the_motor_has(drive, mass_g, drag_n):
    """For any motor the first limits are within its torque, or the least that the file admits."""
    rig = Rig.default()
    axis = rig.x.model_copy(update={"moving_mass_g": mass_g, "drag_n": drag_n})
    found = reach(drive, rig.a, axis, crossed=False)
    speed, accel = first_limits(found)
    assert 1.0 <= speed <= max(1.0, found.speed_mm_s)
    assert accel <= max(1.0, drive.accel_mm_s2(mass_g, drag_n, speed))


def test_unknown_figures_make_no_drive():
    rig = Rig.default()
    assert Drive.of(rig, rig.a.model_copy(update={"inductance_mh": None})) is None
    # Ohm's law forbids it: 30 ohm x 1.1 A needs 33 V, there are 24.
    assert Drive.of(rig, rig.a.model_copy(update={"resistance_ohm": 30.0})) is None


def test_reference_voltage():
    # V = I x k x R by hand: with k = 8 and 0.1 ohm it is 0.8 V per ampere; with k = 5 and 0.11 ohm 0.55 V per ampere.
    assert reference_v(1.5, 8, 0.1) == pytest.approx(1.2)
    assert reference_v(1.0, 5, 0.11) == pytest.approx(0.55)
