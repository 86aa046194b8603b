"""What the board is told of a rig: the settings of linewire's table, in whole numbers."""

from __future__ import annotations

import math
from typing import Final

from linewright import units
from linewright.rig.rig import Rig

ACCEL_HIGH_STEPS_S2: Final = 4_000_000
"""What the board takes as acceleration for hold and homing; a lower one only stops more gently."""

HOME_SEARCH: Final = 1.05
"""How far homing looks for a switch, in travels: a carriage pushed by hand stands up to a few per cent beyond it."""

NOT_CONNECTED: Final = -1
"""Pin number that tells the board that nothing is there."""

SETTING_TYPES: Final = {"cartesian": 0, "crossed-belt": 1}

SETTING_ENDSTOPS: Final = {"none": 0, "min": 1, "max": 2}

SETTING_CONTACTS: Final = {"normally-open": 0, "normally-closed": 1}

_STEP_SLACK: Final = 1e-6
"""Steps: travel x steps/mm of whole millimetres comes out a few 1e-12 off a whole number; a millionth of a step is
far above that and far below anything a machine can do."""


def board_settings(rig: Rig) -> dict[str, int]:
    """What the board is told of the rig: names and units of linewire's settings table, whole numbers.

    Rates round down, so that the board never goes faster than the file says; soft limits round outward to the
    step that a point on the rim of the reach is rounded to.
    """
    homing = rig.homing
    told = {
        "kinematics": SETTING_TYPES[rig.kinematics.type],
        "accel": min(max(1, math.floor(rig.step_space_accel_steps_s2())), ACCEL_HIGH_STEPS_S2),
        "max_rate": max(rig.a.step_rate_hz, rig.b.step_rate_hz),
        "pen_up_us": rig.pen.up_us,
        "pen_down_us": rig.pen.down_us,
        "pen_lift_ms": rig.pen.lift_ms,
        "pen_lower_ms": rig.pen.lower_ms,
        "step_width_ns": units.us_to_ns(rig.driver.step_width_us),
        "direction_setup_ns": units.us_to_ns(rig.driver.direction_setup_us),
        "reversed_a": int(rig.a.reversed),
        "reversed_b": int(rig.b.reversed),
        "home_passes": homing.passes,
        "idle_after_s": round(rig.guard.idle_after_s),
        "host_silence_ms": units.s_to_ms(rig.guard.host_silence_s),
        "rest_current_after_ms": units.s_to_ms(rig.guard.rest_current_after_s),
    }
    # Along one axis each busy motor makes this many steps per mm, on either kind of kinematics.
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
    return told | {f"pin_{name}": NOT_CONNECTED if pin is None else pin for name, pin in rig.pins}
