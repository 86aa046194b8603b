"""Rig file from the answers of `rig new`: the commented default with the machine's own values.

The only template is ``data/rig.toml``. Its values are replaced, so comments, order and units are the same in every rig
file, and a new key is explained in one place only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from linewright.rig.boards import BOARDS, ROW
from linewright.rig.edit import changed_text
from linewright.rig.motor_torque import Drive, Reach, first_limits, reach
from linewright.rig.questions import CHOSEN, QUESTIONS, Answer
from linewright.rig.rig import Rig

STEP_RATE_HZ: Final = 40_000
PORTABLE_RATE_HZ: Final = 4_000
LEAST_RATE_HZ: Final = 100  # of the rig file
"""Lowest initial step rate, steps/s: well below the limits of the board (100 000; 4000 on the portable port, whose
motors start and stop without a ramp)."""

HOMING_MM_S: Final = 30.0
SECOND_HOMING_MM_S: Final = 4.0
HOMING_MM_S2: Final = 500.0
"""Acceleration of both homing approaches, as in the commented default: the axis stops within 0.9 mm of the switch
point."""

PEN_DOWN_MM_S: Final = 100.0
"""As in the commented default: many pens leave broken lines above it."""


@dataclass(frozen=True)
class Draft:
    """A complete rig file, not yet written.

    Parameters
    ----------
    text : TOML, commented.
    rig : the rig parsed from the text.
    steps_per_mm : steps per mm of the motors.
    reaches : limits of the motors for x and y; None where figures are unknown.
    """

    text: str
    rig: Rig
    steps_per_mm: float
    reaches: tuple[Reach | None, Reach | None]


def draft(answers: Mapping[str, Answer]) -> Draft:
    """Rig file from answers; unanswered questions take their defaults.

    Raises
    ------
    RigError
        The answers contradict each other; the issues name the keys.
    """
    changes = _as_answered(answers)
    rig = Rig.parse(changed_text(Rig.default_text(), _valid_meanwhile(changes)), where="the answers")
    x, y = (_reach(rig, 0), _reach(rig, 1))
    changes |= _limits(rig, x, y)
    changes["assumed"] = _assumed(answers)
    text = changed_text(Rig.default_text(), changes)
    rig = Rig.parse(text, where="the new rig file")
    return Draft(text, rig, rig.a.steps_per_mm, (x, y))


def _as_answered(answers: Mapping[str, Answer]) -> dict[str, object]:
    """Keys of the rig file with their answers."""
    full: dict[str, Answer] = {}
    changes: dict[str, object] = {}
    for question in QUESTIONS:
        full[question.name] = answers[question.name] if question.name in answers else question.usual(full)
        if question.asked(full):
            changes |= dict.fromkeys(question.keys, full[question.name])
    board = str(full["board"])
    first = full["step_a"]
    if BOARDS[board].in_a_row and isinstance(first, int):
        changes |= {f"pins.{name}": first + i for i, name in enumerate(ROW)}
    for axis in "xy":
        if full[f"endstop_{axis}"] == "none":
            changes[f"pins.endstop_{axis}"] = None
    rate = PORTABLE_RATE_HZ if board == "portable" else STEP_RATE_HZ
    changes |= {"motor.a.step_rate_hz": rate, "motor.b.step_rate_hz": rate}
    return changes


def _assumed(answers: Mapping[str, Answer]) -> list[str]:
    """Keys whose values were assumed, because the questions were not answered."""
    full: dict[str, Answer] = {}
    keys: list[str] = []
    for question in QUESTIONS:
        answered = question.name in answers
        full[question.name] = answers[question.name] if answered else question.usual(full)
        if not answered and question.asked(full) and question.name not in CHOSEN and full[question.name] is not None:
            keys += question.keys
    return keys


def _valid_meanwhile(changes: Mapping[str, object]) -> dict[str, object]:
    """The changes with limits low enough for any machine; the real limits are computed from the result."""
    slow: dict[str, object] = {"homing.fast_mm_s": 0.5, "homing.slow_mm_s": 0.5, "homing.backoff_mm": 0.1}
    return {**changes, **slow}


def _reach(rig: Rig, i: int) -> Reach | None:
    motor, axis = ((rig.a, rig.x), (rig.b, rig.y))[i]
    drive = Drive.of(rig, motor)
    return None if drive is None else reach(drive, motor, axis, crossed=rig.kinematics.type == "crossed-belt")


def _limits(rig: Rig, x: Reach | None, y: Reach | None) -> dict[str, object]:
    """Initial speeds and accelerations."""
    changes: dict[str, object] = {}
    speeds = []
    crossed = rig.kinematics.type == "crossed-belt"
    slower, _ = min(first_limits(x), first_limits(y))
    for name, found, motor in (("x", x, rig.a), ("y", y, rig.b)):
        speed, accel = first_limits(found)
        # On a crossed belt either axis turns both motors.
        speed = min(slower if crossed else speed, motor.step_rate_hz / motor.steps_per_mm)
        changes |= {f"axis.{name}.speed_mm_s": speed, f"axis.{name}.accel_mm_s2": accel}
        speeds.append(speed)
    fast = max(0.5, math.floor(min(HOMING_MM_S, *speeds) * 10) / 10)
    backoff = min(3.0, min(rig.x.travel_mm, rig.y.travel_mm) / 4)
    # The fast approach must stop within the back-off: v^2 = 2 a d.
    accel = min(HOMING_MM_S2, float(str(changes["axis.x.accel_mm_s2"])), float(str(changes["axis.y.accel_mm_s2"])))
    fast = min(fast, max(0.5, math.floor(math.sqrt(2 * accel * backoff) * 10) / 10))
    if crossed:
        # On a diagonal one motor turns as fast as both axes together, so its speed is limited to the one for which its
        # torque was computed.
        belt_mm_s = min(max(speeds) if found is None else found.speed_mm_s for found in (x, y))
        for name, motor in (("a", rig.a), ("b", rig.b)):
            rate = max(math.ceil(belt_mm_s * motor.steps_per_mm), LEAST_RATE_HZ)
            changes[f"motor.{name}.step_rate_hz"] = min(motor.step_rate_hz, rate)
    return changes | {
        "homing.fast_mm_s": fast,
        "homing.slow_mm_s": min(SECOND_HOMING_MM_S, fast),
        "homing.accel_mm_s2": accel,
        "homing.backoff_mm": backoff,
        "motion.pen_down_speed_mm_s": min(PEN_DOWN_MM_S, *speeds),
    }
