"""Settings that a board gets for a rig: those of linewire's table, as whole numbers."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linewire.messages import RATE
from linewire.records import SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.rig.rig import Rig

ACCEL_HIGH_STEPS_S2: Final = 4_000_000
"""Largest acceleration for hold and homing that the board accepts; a lower value only stops more gently."""

HOME_SEARCH: Final = 1.05
"""Distance over which homing searches for a switch, in travels: a carriage pushed by hand may be a few per cent beyond
it."""

NOT_CONNECTED: Final = -1
"""Pin number that means "not connected"."""

SETTING_TYPES: Final = {"cartesian": 0, "crossed-belt": 1}

SETTING_ENDSTOPS: Final = {"none": 0, "min": 1, "max": 2}

SETTING_CONTACTS: Final = {"normally-open": 0, "normally-closed": 1}

SETTING_POWER_LEVELS: Final = {"none": 1, "divider": 1, "optocoupler": 0}
"""Level of the input while the motors have power: a divider makes it high, an optocoupler low."""

_STEP_SLACK: Final = 1e-6
"""Rounding tolerance, steps: travel x steps/mm of whole millimetres differs from a whole number by a few 1e-12."""


SERVO_MARGIN_US: Final = 200
"""Servo range beyond the pen's own heights, for adjusting them by hand: 18 degrees of a hobby servo (common practice: 1
ms for 90 degrees)."""


SHAPE_MARGIN: Final = 1.25
"""Corrections change steps per mm by at most a fifth (`sections.Corrections`)."""


SAMPLED_MARGIN: Final = 2.5
"""Plans for the tip are sampled into ramps of few steps, down to one. Rounding to whole steps and whole steps/s makes
the acceleration of such a ramp differ from the mean: up to 1.7 times the bound without this margin was seen
(tests/device)."""


def _steepest_ramp_steps_s2(rig: Rig) -> float:
    """Largest path acceleration of both axes together in step space, in any direction.

    Includes `SHAPE_MARGIN`, because the planner counts in steps of the corrected machine.
    """
    accel = np.array([rig.x.accel_mm_s2, rig.y.accel_mm_s2])
    corners = rig.kinematics_matrix @ (np.array([[1.0, 1.0], [1.0, -1.0]]).T * accel[:, None])
    margin = SHAPE_MARGIN * (SAMPLED_MARGIN if rig.smoothing.shaper == "tip" else 1.0)
    return float(np.linalg.norm(corners, axis=0).max()) * margin


def _corner_rate_steps_s(rig: Rig) -> float:
    """Largest jump of a motor's step rate at a corner.

    At a vertex the velocity changes by ``dv = 2 v sin(phi / 2)`` where ``v^2 <= a 2 delta / sin^2(phi / 2)``
    (`motion.corners`), so ``dv^2 <= 8 a delta``. Twice that, because the board lets a rate deviate by half of it from
    constant acceleration (`lineboard.guard`).
    """
    accel_mm_s2 = float(np.hypot(rig.x.accel_mm_s2, rig.y.accel_mm_s2))
    jump_mm_s = math.sqrt(8.0 * accel_mm_s2 * rig.motion.junction_deviation_mm)
    return 2.0 * jump_mm_s * float(np.linalg.norm(rig.kinematics_matrix, 2)) * SHAPE_MARGIN


def pen_heights_us(rig: Rig) -> tuple[int, int]:
    """Lowest and highest servo pulse of the rig's pen heights."""
    pen = rig.pen
    heights: list[float] = [pen.up_us, pen.down_us, pen.clear_us]
    heights += [pen.down_us + change for row in rig.corrections.pen_height.change_us for change in row]
    return math.floor(min(heights)), math.ceil(max(heights))


def servo_range_us(rig: Rig) -> tuple[int, int]:
    """Servo range of the board: all pen heights, extended by `SERVO_MARGIN_US` on either side."""
    low, high = pen_heights_us(rig)
    return max(low - SERVO_MARGIN_US, SERVO_LOW_US), min(high + SERVO_MARGIN_US, SERVO_HIGH_US)


def board_settings(rig: Rig) -> dict[str, int]:
    """Settings for the board: names and units of linewire's settings table, whole numbers.

    Rates are rounded down, so that the board never exceeds the file's values. Soft limits are rounded outward to the
    step to which a point on the edge of the reach is rounded.
    """
    homing = rig.homing
    told = {
        "kinematics": SETTING_TYPES[rig.kinematics.type],
        "accel": min(max(1, math.floor(rig.step_space_accel_steps_s2())), ACCEL_HIGH_STEPS_S2),
        "max_rate": max(rig.a.step_rate_hz, rig.b.step_rate_hz),
        "rate_a": rig.a.step_rate_hz,
        "rate_b": rig.b.step_rate_hz,
        "ramp_accel": min(math.ceil(_steepest_ramp_steps_s2(rig)), ACCEL_HIGH_STEPS_S2),
        "corner_rate": min(math.ceil(_corner_rate_steps_s(rig)), 2 * RATE),
        "servo_low_us": servo_range_us(rig)[0],
        "servo_high_us": servo_range_us(rig)[1],
        "pen_up_us": rig.pen.up_us,
        "pen_down_us": rig.pen.down_us,
        "pen_lift_ms": rig.pen.lift_ms,
        "pen_lower_ms": rig.pen.lower_ms,
        "step_width_ns": units.us_to_ns(rig.driver.step_width_us),
        "direction_setup_ns": units.us_to_ns(rig.driver.direction_setup_us),
        "reversed_a": int(rig.a.reversed),
        "reversed_b": int(rig.b.reversed),
        "motor_power_level": SETTING_POWER_LEVELS[rig.supply.power_sense],
        "home_passes": homing.passes,
        "idle_after_s": round(rig.guard.idle_after_s),
        "host_silence_ms": units.s_to_ms(rig.guard.host_silence_s),
        "rest_current_after_ms": units.s_to_ms(rig.guard.rest_current_after_s),
    }
    # Along one axis each moving motor makes this many steps per mm, on either kind of kinematics.
    room = rig.shape.room_mm
    for i, (name, axis, spm) in enumerate(zip("xy", (rig.x, rig.y), rig.steps_per_mm / rig.scale, strict=True)):
        told |= {
            f"{name}_low": math.floor(room[0][i] * spm + _STEP_SLACK),
            f"{name}_high": math.ceil(room[1][i] * spm - _STEP_SLACK),
            f"home_fast_{name}": max(1, math.floor(homing.fast_mm_s * spm)),
            f"home_slow_{name}": max(1, math.floor(homing.slow_mm_s * spm)),
            f"home_accel_{name}": min(max(1, math.floor(homing.accel_mm_s2 * spm)), ACCEL_HIGH_STEPS_S2),
            f"home_backoff_{name}": math.ceil(homing.backoff_mm * spm - _STEP_SLACK),
            f"home_travel_{name}": math.ceil(axis.travel_mm * HOME_SEARCH * spm - _STEP_SLACK),
            f"home_end_{name}": SETTING_ENDSTOPS[axis.endstop],
            f"contact_{name}": SETTING_CONTACTS[axis.endstop_contact],
        }
    told |= {f"pin_{name}": NOT_CONNECTED if pin is None else pin for name, pin in rig.pins}
    return told if rig.senses_motor_power else told | {"pin_motor_power": NOT_CONNECTED}
