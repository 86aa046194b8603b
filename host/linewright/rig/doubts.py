"""Warnings about allowed but doubtful values of a rig."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from linewright.rig.checks import SERVO_SAFE_US
from linewright.rig.rig import Rig


def doubts(rig: Rig) -> tuple[str, ...]:
    """Warnings about allowed but doubtful values of a rig, one or two sentences each."""
    return tuple(_doubts(rig))


def _doubts(rig: Rig) -> Iterator[str]:
    matrix = np.abs(rig.kinematics_matrix)
    for i, (name, axis) in enumerate((("x", rig.x), ("y", rig.y))):
        for j, (motor_name, motor) in enumerate((("a", rig.a), ("b", rig.b))):
            wanted = axis.speed_mm_s * matrix[j, i]
            if wanted > motor.step_rate_hz:
                yield (
                    f"axis.{name}.speed_mm_s = {axis.speed_mm_s:g} asks {wanted:.0f} steps/s of motor {motor_name}; "
                    f"its step_rate_hz = {motor.step_rate_hz} holds it to {motor.step_rate_hz / matrix[j, i]:.1f} mm/s."
                )
    sheet = rig.paper
    for name, offset, size, axis in zip(
        "xy", rig.sheet.offset_mm, (sheet.width_mm, sheet.height_mm), (rig.x, rig.y), strict=True
    ):
        if offset >= axis.travel_mm:
            yield (
                f"the {sheet.name} sheet begins at {name} = {offset:g} mm, beyond axis.{name}.travel_mm = "
                f"{axis.travel_mm:g}; nothing can be drawn on it. Correct sheet.offset_mm."
            )
        elif offset + size > axis.travel_mm:
            yield (
                f"the {sheet.name} sheet ends at {name} = {offset + size:g} mm, beyond axis.{name}.travel_mm = "
                f"{axis.travel_mm:g}; lines beyond that are cut off."
            )
    for key, pulse in (("up_us", rig.pen.up_us), ("down_us", rig.pen.down_us)):
        if not SERVO_SAFE_US[0] <= pulse <= SERVO_SAFE_US[1]:
            yield (
                f"pen.{key} = {pulse} is outside {SERVO_SAFE_US[0]}..{SERVO_SAFE_US[1]} us: some servos meet their "
                "stop there, draw their stall current and overheat. Listen for a hum."
            )
    # 30 us is about 3 degrees of a common servo (1000 us for 90 degrees), 1 mm at an arm of 20 mm.
    if (apart_us := abs(rig.pen.up_us - rig.pen.down_us)) < 30:
        yield f"pen.up_us and pen.down_us are only {apart_us} us apart; the pen may not clear the paper."
    if rig.motion.junction_deviation_mm > rig.pen.width_mm / 2:
        yield (
            f"motion.junction_deviation_mm = {rig.motion.junction_deviation_mm:g} is more than half the pen's line "
            f"({rig.pen.width_mm:g} mm): rounded corners will show."
        )
    overrun_mm = rig.homing.fast_mm_s**2 / (2 * rig.homing.accel_mm_s2)  # v^2 = 2 a d
    if overrun_mm > rig.homing.backoff_mm:
        yield (
            f"homing.fast_mm_s = {rig.homing.fast_mm_s:g} needs {overrun_mm:.1f} mm to stop after the switch closes, "
            f"more than backoff_mm = {rig.homing.backoff_mm:g}; slow down or raise homing.accel_mm_s2."
        )
    for name, axis in (("x", rig.x), ("y", rig.y)):
        if axis.endstop == "none":
            yield f"axis {name} has no endstop: set its zero by hand before every drawing."
    if rig.board != "virtual" and "pins" not in rig.model_fields_set:
        yield "[pins] is not in the file; the default rig's GPIO numbers are used. Check them against your wiring."
