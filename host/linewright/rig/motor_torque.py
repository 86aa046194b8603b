"""What a stepper motor can pull, and how fast: torque against speed, and the limits that follow for an axis.

Three facts carry everything here.

1. Standing still or turning slowly, torque follows current: the data sheet's holding torque is for both windings at
   rated current, which add up like the sides of a square; a microstepping driver puts its current into one direction
   of that square at a time, so it reaches ``holding / sqrt(2) * set / rated``.
2. A winding resists change: its current settles with the time constant L/R. To turn the current from -I to +I at
   supply voltage V takes ``L/R * ln((V + I R) / (V - I R))``, which is ``2 L I / V`` where the resistance drops little
   (P. Acarnley, Stepping Motors: a guide to theory and practice, 4th ed., IET 2002, on high-speed operation).
   Once a full step takes less than that, the current no longer gets there, and torque falls as 1/speed.
3. What a motor can just pull before it loses a step is not what one should ask of it: half of it is (a margin of two
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
"""Common practice: ask at most half of the torque at which the motor would lose steps."""

START_SPEED_MM_S: Final = 150.0
START_ACCEL_MM_S2: Final = 1500.0
"""What a light home-built frame takes without much ringing (common practice); the first rig file asks for no more,
whatever the motors could do, and the trial sheets show how far it may be raised."""

RUNNING_FULL_STEPS_S: Final = 200.0
"""One turn a second of a common motor: where its torque is taken as that of a slow motor for the first figures."""


@dataclass(frozen=True)
class Drive:
    """One motor with its driver and supply.

    Parameters
    ----------
    current_a : peak current of one winding, as the driver is set.
    rated_current_a, resistance_ohm, inductance_h, holding_torque_n_m, rotor_inertia_kg_m2 : from the data sheet.
    supply_v : what feeds the driver.
    steps_per_turn : full steps.
    mm_per_turn : of the belt.
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
        """The drive that a rig file describes; None where it leaves a figure out, or the figures exclude each other.

        Without a current setting the motor's rated current is taken, without the rotor's inertia none.
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
        """L/R: after it the current of a winding that is switched on has got 63 % of the way."""
        return self.inductance_h / self.resistance_ohm

    @property
    def reversal_s(self) -> float:
        """How long the supply takes to turn a winding's current around; see the module, fact 2."""
        drop_v = self.current_a * self.resistance_ohm
        return self.time_constant_s * math.log((self.supply_v + drop_v) / (self.supply_v - drop_v))

    @property
    def corner_full_steps_s(self) -> float:
        """Speed up to which the current still gets there, full steps/s."""
        return 1.0 / self.reversal_s

    @property
    def slow_torque_n_m(self) -> float:
        """Pull-out torque below the corner speed; see the module, fact 1."""
        share = min(self.current_a / self.rated_current_a, 1.0)  # beyond it the iron saturates
        return self.holding_torque_n_m / math.sqrt(2.0) * share

    def pull_out_n_m(self, full_steps_s: float) -> float:
        """Torque at which the motor loses its step, N m."""
        return self.slow_torque_n_m * min(1.0, self.corner_full_steps_s / max(full_steps_s, 1e-9))

    def full_steps_s(self, speed_mm_s: float) -> float:
        """How fast the motor turns at a speed of its belt."""
        return speed_mm_s / self.mm_per_turn * self.steps_per_turn

    def speed_mm_s(self, full_steps_s: float) -> float:
        """Speed of the belt at so many full steps/s."""
        return full_steps_s * self.mm_per_turn / self.steps_per_turn

    def usable_force_n(self, speed_mm_s: float) -> float:
        """What the belt may be asked to pull at a speed, margin taken off: torque over the pulley's radius."""
        radius_m = self.mm_per_turn / (2 * math.pi) / units.MILLI
        return self.pull_out_n_m(self.full_steps_s(speed_mm_s)) / radius_m / PULL_OUT_MARGIN

    def moved_mass_kg(self, mass_g: float, rotors: int = 1) -> float:
        """The load, and the rotor as it weighs at the belt: J / r^2."""
        radius_m = self.mm_per_turn / (2 * math.pi) / units.MILLI
        return mass_g / units.MILLI + rotors * self.rotor_inertia_kg_m2 / radius_m**2

    def accel_mm_s2(self, mass_g: float, drag_n: float, speed_mm_s: float, rotors: int = 1) -> float:
        """What the motor can do for an axis at a speed, margin taken off; 0 where the drag alone is too much."""
        left_n = self.usable_force_n(speed_mm_s) - drag_n
        return max(left_n, 0.0) / self.moved_mass_kg(mass_g, rotors) * units.MILLI


@dataclass(frozen=True)
class Reach:
    """What the motors can do for one axis, mm/s and mm/s^2, margin taken off.

    Parameters
    ----------
    speed_mm_s : up to the corner of the torque curve, and to the most steps a second.
    accel_mm_s2 : at that speed, hence at any lower one.
    by : what bounds the speed: "the winding" or "the step rate".
    """

    speed_mm_s: float
    accel_mm_s2: float
    by: str


def reach(drive: Drive, motor: Motor, axis: Axis, *, crossed: bool) -> Reach | None:
    """What one axis can be asked for; None where its mass is not known.

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
    """Speed and acceleration to begin with, mm/s and mm/s^2: round figures, never above what the motor can do.

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
    """Down to a figure that people write: steps of 5 in the second digit."""
    if value <= least:
        return least
    step = 10.0 ** math.floor(math.log10(value)) / 2
    fine = step / 10 if value / step < 4 else step
    return max(least, math.floor(value / fine + 1e-9) * fine)


def reference_v(current_a: float, factor: float, sense_ohm: float) -> float:
    """Voltage to set on a driver's trimmer: V = I x k x R, with k as the driver's data sheet has it.

    Examples
    --------
    >>> round(reference_v(1.1, 8.0, 0.1), 3)
    0.88
    """
    return current_a * factor * sense_ohm
