"""Step for the pen: direction of the servo, and its two heights."""

from __future__ import annotations

from typing import Final

from linewire.records import SERVO_HIGH_US, SERVO_LOW_US
from linewright.bringup.hands import Hands
from linewright.bringup.talk import Ask, Choice, Talk, Trouble
from linewright.motion.pen_lifts import near_height

STEP_US: Final = 20
"""Increment of the servo: about two degrees (1000 us for 90 degrees, common practice), half a millimetre at 15 mm."""

PRESS_US: Final = 20
"""Distance below first touch: servos have a dead band of 5 to 10 us, and paper is not flat (common practice). The slot
of the pen holder absorbs it."""

LEAST_APART_US: Final = 60
"""Smallest difference between up and down that clears an uneven sheet."""


def heights(talk: Talk, hands: Hands) -> str:
    """Find the direction of the servo, then both heights."""
    _which_way(talk, hands)
    up, down = hands.rig.pen.up_us, hands.rig.pen.down_us
    hands.pen(up)
    talk.ready(
        "pen in", "Put the pen into its holder now, high enough to stay clear of the paper. Press Enter to continue."
    )
    touch = _jog(talk, hands, "touch", up, "Move it until the pen just touches the paper.")
    toward = 1 if down > up else -1
    down = min(max(touch + toward * PRESS_US, SERVO_LOW_US), SERVO_HIGH_US)
    up = _jog(talk, hands, "clear", up, "Now the raised height: the pen should clear the paper by 2 to 3 mm.")
    if abs(up - down) < LEAST_APART_US or (down > up) != (toward > 0):
        raise Trouble(
            f"raised {up} us and lowered {down} us are too close together, or the wrong way round",
            hint="repeat the step; if the travel is not sufficient, turn the servo's arm by a tooth",
        )
    if (up, down) != (hands.rig.pen.up_us, hands.rig.pen.down_us):
        changes: dict[str, object] = {"pen.up_us": up, "pen.down_us": down}
        # The height just clear of the paper is no longer valid; it is set again below.
        hands.correct(changes | ({"pen.near_us": 0} if hands.rig.pen.near_us else {}))
        talk.say(f"I have written up_us = {up} and down_us = {down} into the rig file.", "good")
    hands.pen(down)
    _lift_on_the_way(talk, hands, touch)
    hands.pen(up)
    return f"The pen is up at {up} us and down at {down} us."


def _lift_on_the_way(talk: Talk, hands: Hands, touch_us: int) -> None:
    """Set the height just clear of the paper, from first touch, so that the rest of a lift overlaps with travel."""
    near = near_height(hands.rig.pen, touch_us)
    if not near:
        if hands.rig.pen.near_us:
            hands.correct({"pen.near_us": 0})
        talk.say(
            "The pen is raised too little to lift during travel moves: the machine waits until the pen is fully up.",
            "next",
        )
        return
    hands.correct(near)
    talk.say(
        f"I have also written near_us = {near['pen.near_us']}, just clear of the paper, and near_ms = "
        f"{near['pen.near_ms']}, the time that a slow servo needs from there to the paper: the pen then rises and "
        "lowers during travel moves. `linewright trial heights` measures this time.",
        "good",
    )


def _which_way(talk: Talk, hands: Hands) -> None:
    """Check that the raised height raises the pen; otherwise swap the two heights."""
    up, down = hands.rig.pen.up_us, hands.rig.pen.down_us
    hands.pen(up)
    seen = _arm(talk, "raised", f"The servo is at its raised height, {up} us. Where is the pen holder?")
    if seen == "up":
        return
    hands.pen(down)
    seen = _arm(talk, "lowered", f"Where is it now, at the lowered height, {down} us?")
    if seen != "up":
        hands.pen(up)
        raise Trouble(
            "the pen holder is down at both heights",
            hint="is the servo unplugged or without supply? If not, refit its arm so that it points up at {up} us, "
            "then repeat this step",
        )
    talk.say("So its arm points the other way: the rig file's up height is down.", "found")
    hands.correct({"pen.up_us": down, "pen.down_us": up})
    talk.say(f"I have swapped the two heights in the rig file: up_us = {down}, down_us = {up}.", "good")


def _arm(talk: Talk, key: str, text: str) -> str:
    choices = (Choice("up", "clear of the paper"), Choice("down", "at the paper, or pushing towards it"))
    return talk.choose(Ask(key, text, choices))


def _jog(talk: Talk, hands: Hands, key: str, start_us: int, text: str) -> int:
    """Let the user move the servo in steps; returns the chosen pulse."""
    toward = 1 if hands.rig.pen.down_us > hands.rig.pen.up_us else -1
    us = start_us
    talk.say(text)
    while True:
        hands.pen(us)
        answer = talk.choose(
            Ask(
                key,
                f"Servo at {us} us.",
                (Choice("lower", f"{STEP_US} us"), Choice("higher", f"{STEP_US} us"), Choice("good", "keep this")),
                low=SERVO_LOW_US,
                high=SERVO_HIGH_US,
                unit="us",
            )
        )
        if answer == "good":
            return us
        step = {"lower": toward * STEP_US, "higher": -toward * STEP_US}.get(answer)
        wanted = round(float(answer)) if step is None else us + step
        us = min(max(wanted, SERVO_LOW_US), SERVO_HIGH_US)
        if us != wanted:
            talk.say(f"{us} us is the end of a hobby servo's range.", "next")
