"""Torque of a stepper motor against speed, and the limits of an axis that follow from it.

It rests on three facts.

1. At low speed, torque is proportional to current: the data sheet's holding torque is for both windings at
   rated current, whose torques add like perpendicular vectors; a microstepping driver's current vector has the length
   of one
    winding's current, so it reaches ``holding / sqrt(2) * set / rated``.
2. The current of a winding changes with the time constant L/R. To turn the current from -I to +I at
   supply voltage V takes ``L/R * ln((V + I R) / (V - I R))``, which is ``2 L I / V`` where the voltage drop at the
   resistance is small
   (P. Acarnley, Stepping Motors: a guide to theory and practice, 4th ed., IET 2002, on high-speed operation).
   When a full step takes less time, the current does not reach its value, and torque falls as 1/speed.
3. Only half of the torque at which a motor loses steps is used (a margin of two
    is common practice; it covers resonance, a dry rail and a warm motor).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from linewright import units

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.rig.sections import Axis, Motor

PULL_OUT_MARGIN: Final = 2.0
"""Margin below the torque at which the motor loses steps (common practice)."""

START_SPEED_MM_S: Final = 150.0
START_ACCEL_MM_S2: Final = 1500.0
"""Acceleration that a light home-built frame bears without much ringing (common practice). The first rig file uses no
more, whatever the motors could do; the trial sheets show how far it may be raised."""

RUNNING_FULL_STEPS_S: Final = 200.0
"""One turn per second of a common motor: the speed at which its torque for the first figures is computed."""


@dataclass(frozen=True)
class Drive:
    """One motor with its driver and supply.

    Parameters
    ----------
    current_a : peak current of one winding, as the driver is set.
    rated_current_a, resistance_ohm, inductance_h, holding_torque_n_m, rotor_inertia_kg_m2 : from the data sheet.
    supply_v : supply voltage of the driver.
    steps_per_turn : full steps.
    mm_per_turn : belt travel per turn.
    """

    current_a: float
    rated_current_a: float
    resistance_ohm: float
    inductance_h: float
    holding_torque_n_m: float
    rotor_inertia_kg_m2: float
    supply_v: float
    steps_per_turn: int
    mm_per_turn: float

    @classmethod
    def of(cls, rig: Rig, motor: Motor) -> Drive | None:
        """The drive that a rig file describes; None if a figure is missing or the figures contradict each other.

        Without a current setting the motor's rated current is used; without a rotor inertia, zero.
        """
        known = (
            motor.rated_current_a,
            motor.resistance_ohm,
            motor.inductance_mh,
            motor.holding_torque_n_m,
            rig.supply.motor_v,
        )
        rated, resistance, inductance, torque, supply = known
        if rated is None or resistance is None or inductance is None or torque is None or supply is None:
            return None
        current = rated if rig.driver.current_a is None else rig.driver.current_a
        if supply <= current * resistance:
            return None  # the current is never reached: see `linewright.rig.review.power`
        return cls(
            current_a=current,
            rated_current_a=rated,
            resistance_ohm=resistance,
            inductance_h=inductance / units.MILLI,
            holding_torque_n_m=torque,
            rotor_inertia_kg_m2=(motor.rotor_inertia_g_cm2 or 0.0) * units.KG_M2_PER_G_CM2,
            supply_v=supply,
            steps_per_turn=motor.steps_per_turn,
            mm_per_turn=motor.belt_pitch_mm * motor.pulley_teeth,
        )

    @property
    def time_constant_s(self) -> float:
        """L/R: time in which a winding's current reaches 63 % of its final value."""
        return self.inductance_h / self.resistance_ohm

    @property
    def reversal_s(self) -> float:
        """Time for reversing a winding's current; see fact 2 above."""
        drop_v = self.current_a * self.resistance_ohm
        return self.time_constant_s * math.log((self.supply_v + drop_v) / (self.supply_v - drop_v))

    @property
    def corner_full_steps_s(self) -> float:
        """Speed up to which the current reaches its value, full steps/s."""
        return 1.0 / self.reversal_s

    @property
    def slow_torque_n_m(self) -> float:
        """Pull-out torque below the corner speed, N m; see fact 1 above."""
        share = min(self.current_a / self.rated_current_a, 1.0)  # above it the iron saturates
        return self.holding_torque_n_m / math.sqrt(2.0) * share

    def pull_out_n_m(self, full_steps_s: float) -> float:
        """Torque at which the motor loses steps, N m."""
        return self.slow_torque_n_m * min(1.0, self.corner_full_steps_s / max(full_steps_s, 1e-9))

    def full_steps_s(self, speed_mm_s: float) -> float:
        """Full steps/s of the motor at a belt speed."""
        return speed_mm_s / self.mm_per_turn * self.steps_per_turn

    def speed_mm_s(self, full_steps_s: float) -> float:
        """Belt speed at a number of full steps/s."""
        return full_steps_s * self.mm_per_turn / self.steps_per_turn

    def usable_force_n(self, speed_mm_s: float) -> float:
        """Usable pull at the belt at a speed, N, with the margin: torque divided by the pulley's radius."""
        radius_m = self.mm_per_turn / (2 * math.pi) / units.MILLI
        return self.pull_out_n_m(self.full_steps_s(speed_mm_s)) / radius_m / PULL_OUT_MARGIN

    def moved_mass_kg(self, mass_g: float, rotors: int = 1) -> float:
        """Moving mass plus the rotor's equivalent mass at the belt, J / r^2, kg."""
        radius_m = self.mm_per_turn / (2 * math.pi) / units.MILLI
        return mass_g / units.MILLI + rotors * self.rotor_inertia_kg_m2 / radius_m**2

    def accel_mm_s2(self, mass_g: float, drag_n: float, speed_mm_s: float, rotors: int = 1) -> float:
        """Acceleration that the motor gives an axis at a speed, with the margin; 0 if friction alone is too much."""
        left_n = self.usable_force_n(speed_mm_s) - drag_n
        return max(left_n, 0.0) / self.moved_mass_kg(mass_g, rotors) * units.MILLI


@dataclass(frozen=True)
class Reach:
    """Limits of one axis by its motors, mm/s and mm/s^2, with the margin.

    Parameters
    ----------
    speed_mm_s : the corner of the torque curve, or the limit by the step rate.
    accel_mm_s2 : at that speed and below.
    by : limit of the speed: "the winding" or "the step rate".
    """

    speed_mm_s: float
    accel_mm_s2: float
    by: str


def reach(drive: Drive, motor: Motor, axis: Axis, *, crossed: bool) -> Reach | None:
    """Limits of one axis; None if its mass is unknown.

    On a crossed belt both motors share either axis: each carries half of ``m_x a_x + m_y a_y``, and on a diagonal one
    of the rotors turns with ``a_x + a_y``. So the rule of the cartesian machine, each axis to one motor, holds for both
    axes at their limits at once, if every axis counts its rotor twice.
    """
    if axis.moving_mass_g is None:
        return None
    by_winding = drive.speed_mm_s(drive.corner_full_steps_s)
    by_rate = motor.step_rate_hz / motor.steps_per_mm
    speed = min(by_winding, by_rate)
    accel = drive.accel_mm_s2(axis.moving_mass_g, axis.drag_n or 0.0, speed, 2 if crossed else 1)
    return Reach(speed, accel, "the winding" if by_winding <= by_rate else "the step rate")


def first_limits(found: Reach | None) -> tuple[float, float]:
    """Initial speed and acceleration, mm/s and mm/s^2: round figures within the motor's limits.

    Examples
    --------
    >>> first_limits(Reach(545.0, 21_000.0, "the winding"))
    (150.0, 1500.0)
    >>> first_limits(Reach(63.7, 480.0, "the winding"))
    (60.0, 450.0)
    >>> first_limits(None)
    (60.0, 500.0)
    """
    if found is None:
        return 60.0, 500.0  # slow enough for any motor of the usual kinds (common practice)
    return (
        _round_down(min(found.speed_mm_s, START_SPEED_MM_S), 1.0),
        _round_down(min(found.accel_mm_s2, START_ACCEL_MM_S2), 1.0),
    )


def _round_down(value: float, least: float) -> float:
    """Round down to steps of 5 in the second digit."""
    if value <= least:
        return least
    step = 10.0 ** math.floor(math.log10(value)) / 2
    fine = step / 10 if value / step < 4 else step
    return max(least, math.floor(value / fine + 1e-9) * fine)


def reference_v(current_a: float, factor: float, sense_ohm: float) -> float:
    """Voltage to set on a driver's trimmer: V = I x k x R, with k from the driver's data sheet.

    Examples
    --------
    >>> round(reference_v(1.1, 8.0, 0.1), 3)
    0.88
    """
    return current_a * factor * sense_ohm
