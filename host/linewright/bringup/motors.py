"""Steps for drivers and motors: holding, direction, and assignment to axes."""

from __future__ import annotations

import math
from typing import Final

from linewright.bringup.directions import FORWARDS, WAYS, Verdict, judge
from linewright.bringup.hands import NUDGE_MM, Hands
from linewright.bringup.talk import Ask, Choice, Talk, Trouble, Watch

OTHERWISE: Final = (
    "It only hums or vibrates: a coil is not connected, or wires of two coils are swapped (switch off, then measure).",
    "An ohmmeter finds the pairs: a few ohms within a coil, nothing between two coils.",
    "It does not move: the driver is not enabled, has no supply, or its current is set to almost nothing.",
    "Much less or much more than 2 mm: the microstep jumpers do not match motor.?.microsteps.",
)

_SENSE: Final = (
    "is the sensing wire on pins.motor_power, and connected after the switch? supply.power_sense states the kind: an "
    "optocoupler takes the pin to ground while there is power, a divider puts 2 to 3.3 V on it"
)

_NAMES: Final = ("A", "B")
_WAYS: Final = tuple(Choice(way, "it did not move, or only hummed" if way == "nothing" else "") for way in WAYS)


def drivers(talk: Talk, hands: Hands) -> str:
    """Power the motors, have the carriage pushed; free them, have it pushed again. Then use the motors' switch."""
    if not hands.motors_have_power():
        raise Trouble("the motor supply is on, and the board senses no power", hint=_SENSE)
    talk.say("I switch the motors on now.")
    hands.power(True)
    if not talk.yes("held", "Push the carriage gently, along both axes. Does it resist?"):
        raise Trouble(
            "the motors do not hold",
            hint="supply on and its fuse whole? enable line on the right GPIO? drivers seated the right way round?",
        )
    talk.say("Now I switch them off.")
    hands.power(False)
    if not talk.yes("free", "Push again. Does it slide freely now?"):
        raise Trouble(
            "the motors still hold",
            hint="the enable line does not reach the drivers, or they need the opposite level; until this works, the "
            "board cannot switch the motors off in an emergency",
        )
    if not hands.rig.senses_motor_power:
        return "The board switches the drivers on and off."
    if not talk.watch(
        Watch("power off", "Now switch the motor supply off, and wait.", lambda: not hands.motors_have_power())
    ):
        raise Trouble("the motor supply is off, and the board senses power", hint=_SENSE)
    if not talk.watch(
        Watch("power on", "The board sees it. Switch the supply on again; nothing moves.", hands.motors_have_power)
    ):
        raise Trouble("the motor supply is on again, and the board senses no power", hint=_SENSE)
    return "The board switches the drivers on and off, and senses the motor supply."


def motor_a(talk: Talk, hands: Hands) -> str:
    """Step for motor A."""
    return _motor(talk, hands, 0)


def motor_b(talk: Talk, hands: Hands) -> str:
    """Step for motor B."""
    return _motor(talk, hands, 1)


def _motor(talk: Talk, hands: Hands, motor: int) -> str:
    """Move the motor, ask, correct what can be corrected, and repeat until it is right."""
    name = _NAMES[motor]
    corrected = False
    while True:
        hands.nudge(motor)
        way = talk.choose(Ask(f"way {name}", "Which way did the carriage go?", _WAYS))
        verdict = judge(hands.rig.kinematics.type, motor, way)
        if verdict == "right":
            _as_far(talk, hands, motor)
        if way != "nothing":
            hands.nudge(motor, -NUDGE_MM)  # back to its start before settings change
        if verdict == "right":
            return f"Motor {name} turns in the right direction by the right distance."
        if corrected and verdict == "reversed":
            raise Trouble(
                f"motor {name} still turns the wrong way after its direction was reversed",
                hint="does this rig file belong to this machine? Does another program use the machine?",
            )
        _put_right(talk, hands, motor, verdict)
        corrected = True
        talk.ready(f"once more {name}", "Once more, as a check. Press Enter to continue.")


def _as_far(talk: Talk, hands: Hands, motor: int) -> None:
    """Check roughly that the steps per millimetre are right; otherwise the microstep jumpers are wrong."""
    name = _NAMES[motor]
    # On a crossed belt one motor alone moves the carriage by 1/sqrt 2 of the belt's distance.
    expected_mm = NUDGE_MM / math.hypot(*FORWARDS[hands.rig.kinematics.type][motor])
    ask = Ask(
        f"how far {name}",
        f"About how far did it go? It should have been {expected_mm:.2g} mm.",
        (Choice("right", "about that"), Choice("less", "half or less"), Choice("more", "double or more")),
        default="right",
    )
    if (far := talk.choose(ask)) != "right":
        own = (hands.rig.a, hands.rig.b)[motor]
        raise Trouble(
            f"motor {name} moves {far} than it should",
            hint=f"the rig file says {own.microsteps} microsteps, {own.pulley_teeth} teeth, {own.steps_per_turn} steps "
            "a turn: compare with the jumpers, count the teeth, and read the motor's plate",
        )


def _put_right(talk: Talk, hands: Hands, motor: int, verdict: Verdict) -> None:
    """Correct the rig file, or tell the user what to do by hand."""
    name = _NAMES[motor]
    if verdict == "reversed":
        key = f"motor.{name.lower()}.reversed"
        turned = not (hands.rig.a, hands.rig.b)[motor].reversed
        talk.say(f"So motor {name} turns the wrong way. I correct this in the rig file.", "found")
        hands.correct({key: turned})
        talk.say(f"I have written {key} = {str(turned).lower()} into the rig file.", "good")
        return
    if verdict == "still":
        raise Trouble(f"motor {name} did not move", hint=f"{OTHERWISE[0]} {OTHERWISE[1]}")
    if verdict == "other kinematics":
        _other_kinematics(talk, hands)
        return
    raise Trouble(
        f"motor {name} moves the other motor's axis: the two motors are swapped",
        hint="switch the motor supply off, wait until its light is out, exchange the two motor plugs at the drivers, "
        "and switch it on again. Its direction is tested afterwards",
    )


def _other_kinematics(talk: Talk, hands: Hands) -> None:
    now = hands.rig.kinematics.type
    other = "crossed-belt" if now == "cartesian" else "cartesian"
    moves = "both axes at once" if now == "cartesian" else "one axis only"
    talk.say(f"One motor moves {moves}: that is a {other} machine, and the rig file says {now}.", "found")
    if not talk.yes(
        "change kinematics", f'Shall I write kinematics.type = "{other}" into the rig file?', default="yes"
    ):
        raise Trouble(
            f"the rig file says {now}, the machine moves as a {other} one",
            hint="look at the belts; a cartesian machine may also look like this if its other motor slips",
        )
    hands.correct({"kinematics.type": other})
    talk.say(f'I have written kinematics.type = "{other}" into the rig file.', "good")
