"""Steps for the endstops, pressed by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from linewright.bringup.hands import Hands
from linewright.bringup.talk import Talk, Trouble, Watch

NAMES: Final = ("x", "y")
_OTHER_CONTACT: Final = {"normally-open": "normally-closed", "normally-closed": "normally-open"}


def by_hand(talk: Talk, hands: Hands) -> str:
    """Ask the user to press and release each switch, and identify it."""
    fitted = [i for i, axis in enumerate((hands.rig.x, hands.rig.y)) if axis.endstop != "none"]
    if not fitted:
        return "This machine has no endstops; its zero is set by hand before every drawing."
    for axis in fitted:
        _open_by_itself(talk, hands, axis)
    for axis in fitted:
        _pressed_by_finger(talk, hands, axis, fitted)
    names = " and ".join(NAMES[axis] for axis in fitted)
    return f"The endstop{'s' if len(fitted) > 1 else ''} of {names} read{'s' * (len(fitted) == 1)} correctly."


def _reads(hands: Hands, axis: int, pressed: bool) -> Callable[[], bool]:
    return lambda: hands.pressed()[axis] == pressed


def _open_by_itself(talk: Talk, hands: Hands, axis: int) -> None:
    """Check that a switch reads open untouched; otherwise find the reason."""
    name = NAMES[axis]
    if not hands.pressed()[axis]:
        return
    talk.say(f"The {name} switch reads pressed before you were asked to press it.", "found")
    if talk.yes(f"standing on {name}", "Is the carriage on it?"):
        watch = Watch(f"push off {name}", "Push the carriage to the middle by hand.", _reads(hands, axis, False))
        if talk.watch(watch):
            return
    # A contact of the other kind opens when it is pressed.
    watch = Watch(
        f"press {name}", f"Press the {name} switch, and hold it until I tell you.", _reads(hands, axis, False), 20.0
    )
    key = f"axis.{name}.endstop_contact"
    kind = (hands.rig.x, hands.rig.y)[axis].endstop_contact
    if talk.watch(watch):
        other = _OTHER_CONTACT[kind]
        talk.say(f"It opens when you press it: this contact is {other}, not {kind}.", "found")
        hands.correct({key: other})
        talk.say(f'I have written {key} = "{other}" into the rig file. Release the switch now.', "good")
        if talk.watch(Watch(f"release {name}", "Let go.", _reads(hands, axis, False), 20.0)):
            return
    raise Trouble(
        f"the {name} switch is stuck: it always reads pressed",
        hint="switch everything off; look for a short between its two wires, or, at a normally closed switch, for a "
        "loose wire. A stuck switch cannot stop the machine",
    )


def _pressed_by_finger(talk: Talk, hands: Hands, axis: int, fitted: list[int]) -> None:
    name = NAMES[axis]
    other = 1 - axis
    watch = Watch(
        f"press {name}", f"Press the {name} switch, and hold it until I tell you.", lambda: any(hands.pressed())
    )
    if not talk.watch(watch):
        raise Trouble(
            f"the {name} switch is missing: it reads open when you press it",
            hint=f"is it plugged into GPIO {_pin(hands, axis)}? Is its other wire on ground? Measure the contact with "
            "an ohmmeter: a closed contact has less than 1 ohm",
        )
    pressed = hands.pressed()
    if pressed[axis]:
        talk.say(f"I see it: {name}.", "good")
    elif other in fitted:
        _exchange(talk, hands, name)
    else:
        raise Trouble(
            f"the switch that you pressed is on the pin of {NAMES[other]}",
            hint=f"move its plug to GPIO {_pin(hands, axis)}",
        )
    if not talk.watch(Watch(f"release {name}", "Release it.", lambda: not any(hands.pressed()), 20.0)):
        raise Trouble(
            f"the {name} switch still reads pressed after you released it", hint="free its lever, or replace it"
        )


def _exchange(talk: Talk, hands: Hands, name: str) -> None:
    """The other switch answered: swap the two pins in the file, or the plugs."""
    talk.say(f"You pressed {name}, and the other switch reads pressed: the two are swapped.", "found")
    x, y = hands.rig.pins.endstop_x, hands.rig.pins.endstop_y
    if (
        x is None
        or y is None
        or not talk.yes(
            "exchange endstops",
            "Shall I swap the two pins in the rig file? (no: you swap the plugs)",
            default="yes",
        )
    ):
        raise Trouble("the two endstops are swapped", hint="swap their plugs at the board")
    hands.correct({"pins.endstop_x": y, "pins.endstop_y": x})
    talk.say(f"I have written endstop_x = {y} and endstop_y = {x} into the rig file.", "good")


def _pin(hands: Hands, axis: int) -> object:
    pin = (hands.rig.pins.endstop_x, hands.rig.pins.endstop_y)[axis]
    return "its pin" if pin is None else pin
