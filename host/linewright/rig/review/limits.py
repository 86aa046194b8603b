"""Limits: are speed and acceleration within the motors' torque, and is the sheet within the travel?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from linewright import units
from linewright.rig.motor_torque import PULL_OUT_MARGIN, Drive, reach
from linewright.rig.review.findings import ReviewFinding

if TYPE_CHECKING:
    from linewright.rig.review.findings import Weight
    from linewright.rig.rig import Rig
    from linewright.rig.sections import Axis, Motor


def findings(rig: Rig) -> Iterator[ReviewFinding]:
    """Torque, step rate, travel."""
    for name, axis, which, motor in (("x", rig.x, "A", rig.a), ("y", rig.y, "B", rig.b)):
        yield from _axis(rig, name, axis, which, motor)
    if rig.kinematics.type == "crossed-belt":
        yield from _diagonals(rig)
    yield from _sheet(rig)


def _axis(rig: Rig, name: str, axis: Axis, which: str, motor: Motor) -> Iterator[ReviewFinding]:
    about = f"axis {name}"
    drive = Drive.of(rig, motor)
    if drive is None or axis.moving_mass_g is None:
        lacking = [
            key
            for key, value in (
                (f"motor.{which.lower()}.rated_current_a", motor.rated_current_a),
                (f"motor.{which.lower()}.resistance_ohm", motor.resistance_ohm),
                (f"motor.{which.lower()}.inductance_mh", motor.inductance_mh),
                (f"motor.{which.lower()}.holding_torque_n_m", motor.holding_torque_n_m),
                ("supply.motor_v", rig.supply.motor_v),
                (f"axis.{name}.moving_mass_g", axis.moving_mass_g),
            )
            if value is None
        ]
        if lacking:
            yield ReviewFinding(
                "unknown",
                about,
                f"it is not known whether motor {which} reaches {axis.speed_mm_s:g} mm/s and {axis.accel_mm_s2:g} "
                f"mm/s^2: {', '.join(lacking)} missing",
                do="add these values; until then begin slowly: 60 mm/s and 500 mm/s^2 suit most motors",
            )
        return
    found = reach(drive, motor, axis, crossed=rig.kinematics.type == "crossed-belt")
    if found is None:
        return
    corner_mm_s = drive.speed_mm_s(drive.corner_full_steps_s)
    curve = (
        f"winding L/R = {drive.time_constant_s * 1e3:.2g} ms; at {drive.supply_v:g} V its current reverses in "
        f"{drive.reversal_s * 1e3:.2g} ms, a full step's time at {corner_mm_s:.0f} mm/s; above this speed torque "
        "falls"
    )
    can = drive.accel_mm_s2(axis.moving_mass_g, axis.drag_n or 0.0, axis.speed_mm_s)
    asked = f"{axis.accel_mm_s2:g} mm/s^2 at {axis.speed_mm_s:g} mm/s"
    if axis.accel_mm_s2 > can * PULL_OUT_MARGIN:
        yield ReviewFinding(
            "wrong",
            about,
            f"motor {which} must reach {asked}; it loses steps above {can * PULL_OUT_MARGIN:.0f} mm/s^2 there",
            why=curve,
            do=_lower(name, found.speed_mm_s, can, axis),
        )
    elif axis.accel_mm_s2 > can:
        yield ReviewFinding(
            "doubtful",
            about,
            f"motor {which} must reach {asked}; with a safety factor of 2 it has {can:.0f} mm/s^2",
            why=f"use half of the pull-out torque (common practice); {curve}",
            do=_lower(name, found.speed_mm_s, can, axis),
        )
    else:
        yield ReviewFinding(
            "good",
            about,
            f"motor {which} has {can:.0f} mm/s^2 at {axis.speed_mm_s:g} mm/s, with a safety factor of 2; "
            f"{axis.accel_mm_s2:g} is needed",
            why=curve,
        )


def _diagonals(rig: Rig) -> Iterator[ReviewFinding]:
    """On a crossed belt a diagonal move turns one motor as fast as both axes together, and the other not at all.

    With ``x = (A + B) / 2`` and ``y = (A - B) / 2``, the motors drive both axes with the belt forces ``(F_x + F_y) /
    2`` and ``(F_x - F_y) / 2`` (virtual work), and the rotor of A turns with ``a_x + a_y``.
    """
    for which, motor in (("A", rig.a), ("B", rig.b)):
        drive = Drive.of(rig, motor)
        if drive is None or rig.x.moving_mass_g is None or rig.y.moving_mass_g is None:
            continue  # missing figures are reported for the axes
        by_rate = motor.step_rate_hz / motor.steps_per_mm
        belt_mm_s = min(rig.x.speed_mm_s + rig.y.speed_mm_s, by_rate)
        axes = ((rig.x, rig.x.moving_mass_g), (rig.y, rig.y.moving_mass_g))
        kg_m_s2 = sum(mass * axis.accel_mm_s2 for axis, mass in axes) / units.MILLI**2
        rotor_n = drive.moved_mass_kg(0.0) * (rig.x.accel_mm_s2 + rig.y.accel_mm_s2) / units.MILLI
        asked_n = (kg_m_s2 + (rig.x.drag_n or 0.0) + (rig.y.drag_n or 0.0)) / 2.0 + rotor_n
        has_n = drive.usable_force_n(belt_mm_s)
        about = f"motor {which} on diagonals"
        said = (
            f"at a belt speed of {belt_mm_s:.0f} mm/s it must pull {asked_n:.2g} N and has {has_n:.2g} N with a "
            "safety factor of 2"
        )
        why = "on diagonals its speed is that of both axes together, and torque falls with speed"
        if asked_n <= has_n:
            yield ReviewFinding("good", about, said, why=why)
            continue
        # Above its corner speed a motor's torque falls as 1 / speed.
        calm_mm_s = belt_mm_s * has_n / asked_n
        step = "lower the accelerations of both axes"
        if drive.usable_force_n(calm_mm_s) >= asked_n * 0.999:
            step = f"lower motor.{which.lower()}.step_rate_hz to {math.floor(calm_mm_s * motor.steps_per_mm)}"
        weight: Weight = "wrong" if asked_n > has_n * PULL_OUT_MARGIN else "doubtful"
        yield ReviewFinding(weight, about, said, why=why, do=step)


def _lower(name: str, speed_mm_s: float, can: float, axis: Axis) -> str:
    if can < 1:
        return (
            f"lower axis.{name}.speed_mm_s to {min(speed_mm_s, axis.speed_mm_s / 2):.0f} or less, or raise the supply"
        )
    return (
        f"lower axis.{name}.accel_mm_s2 to {can:.0f}, or axis.{name}.speed_mm_s, or use a higher supply voltage or "
        "less mass"
    )


def _sheet(rig: Rig) -> Iterator[ReviewFinding]:
    sheet = rig.paper
    ends = [offset + size for offset, size in zip(rig.sheet.offset_mm, (sheet.width_mm, sheet.height_mm), strict=True)]
    travel = (rig.x.travel_mm, rig.y.travel_mm)
    if all(end <= high for end, high in zip(ends, travel, strict=True)):
        yield ReviewFinding("good", "sheet", f"{sheet.name} lies within the travel of {travel[0]:g} x {travel[1]:g} mm")
