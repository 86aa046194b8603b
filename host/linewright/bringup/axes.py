"""Steps for both axes together: homing, its repeatability, and the ends of the travel."""

from __future__ import annotations

from typing import Final

from linewright.bringup.hands import Hands
from linewright.bringup.talk import Ask, Talk, Trouble
from linewright.errors import BoardFault

APPROACHES: Final = 10
"""ISO 230-2 requires five approaches per place; ten determine the scatter to a quarter (1 / sqrt(2 (n - 1)))."""

GOOD_MM: Final = 0.1
"""Repeatability required of homing, a fifth of a common pen line: a drawing resumed after homing shows no seam."""

SHARES: Final = (0.5, 0.9, 1.0)
"""Shares of the travel at which the move to its end stops and asks."""


def homing(talk: Talk, hands: Hands) -> str:
    """Home for the first time, slowly."""
    if not _put_by_hand(talk, hands):
        hands.home()
        return "The zero is set by hand; it is lost whenever the motors are switched off."
    try:
        hands.home(first=True)
    except BoardFault as fault:
        raise Trouble(*_explained(fault)) from fault
    place = hands.status().position_mm
    assert place is not None, "the board reported no position after homing"
    if not talk.yes(
        "at zero",
        f"The carriage has backed off its switches; the board reports x = {place[0]:g}, y = {place[1]:g}. Is it there?",
    ):
        raise Trouble(
            "homing ended at the wrong place",
            hint='which switch was pressed, and at which end? axis.?.endstop states "min" or "max"; the steps of the '
            "motors check their directions",
        )
    return "Both axes find their switches."


def _explained(fault: BoardFault) -> tuple[str]:
    return (f"homing broke off: {fault.name}. {fault.hint}",)


def repeatability(talk: Talk, hands: Hands) -> str:
    """Approach the switches many times; figures of ISO 230-2."""
    if all(axis.endstop == "none" for axis in (hands.rig.x, hands.rig.y)):
        return "There are no switches, so nothing can be measured."
    _homed(talk, hands)
    found = hands.approaches(APPROACHES, lambda i: _count(talk, i))
    for axis, figures in found.items():
        if not figures.range_mm:
            talk.say(
                f"{axis}: all {figures.count} approaches found the same step; the resolution is one step, so R = "
                f"{figures.repeatability_mm:.3f} mm."
            )
            continue
        talk.say(
            f"{axis}: mean deviation {figures.mean_mm:+.3f} mm, standard uncertainty of one approach "
            f"{figures.s_mm:.3f} mm (of the mean {figures.mean_uncertainty_mm:.3f}), all within "
            f"{figures.range_mm:.3f} mm; repeatability R = {figures.repeatability_mm:.3f} mm."
        )
    worst = max(found, key=lambda axis: found[axis].repeatability_mm)
    worst_mm = found[worst].repeatability_mm
    if worst_mm > GOOD_MM:
        raise Trouble(
            f"axis {worst} repeats only within {worst_mm:.2f} mm; up to {GOOD_MM:g} mm, a joint of two lines does not "
            "show",
            hint="screw the switch down, take its lever off, tighten the belt, lower homing.slow_mm_s; if the "
            "position drifts in one direction, a pulley slips or steps are lost",
        )
    return f"The zero is found again within {worst_mm:.3f} mm (R = 4 s, ISO 230-2)."


def _count(talk: Talk, i: int) -> None:
    """Report the number of approaches now and then."""
    if i == 1 or i % 5 == 0:
        talk.say(f"Approach {i} of {APPROACHES}.")


def limits(talk: Talk, hands: Hands) -> str:
    """Move to the far end of each axis with questions on the way; shorten the travel where it gets tight."""
    _homed(talk, hands)
    for i, name in enumerate("xy"):
        axis = (hands.rig.x, hands.rig.y)[i]
        reached = 0.0 if axis.endstop != "max" else axis.travel_mm
        for share in SHARES:
            at = axis.travel_mm * (share if axis.endstop != "max" else 1 - share)
            place = [0.0, 0.0]
            place[i] = at
            place[1 - i] = (hands.status().position_mm or (0.0, 0.0))[1 - i]
            hands.walk((place[0], place[1]))
            if not talk.yes(f"clear {name}", f"{name} = {at:g} mm. Is everything clear, and no cable tight?"):
                _shorten(talk, hands, name, reached, at)
                break
            reached = at
    return f"The travel of {hands.rig.x.travel_mm:g} x {hands.rig.y.travel_mm:g} mm is clear."


def _shorten(talk: Talk, hands: Hands, name: str, reached_mm: float, tight_mm: float) -> None:
    """Write a shorter travel to the rig file, and home again because the board's limits have changed."""
    if tight_mm < reached_mm:
        raise Trouble(
            f"axis {name} gets tight at {tight_mm:g} mm, towards its zero",
            hint="its zero is at the switch of the far end: move the switch, or lower the travel in the rig file",
        )
    ask = Ask(
        f"travel {name}",
        f"Up to which {name} is the travel clear? The carriage was at {reached_mm:g} mm.",
        low=max(10.0, reached_mm / 2),
        high=tight_mm,
        unit="mm",
        default=f"{max(10.0, reached_mm):g}",
    )
    travel_mm = float(talk.choose(ask))
    hands.correct({f"axis.{name}.travel_mm": travel_mm})
    talk.say(f"I have written axis.{name}.travel_mm = {travel_mm:g} into the rig file, and home again.", "good")
    _homed(talk, hands)


def _homed(talk: Talk, hands: Hands) -> None:
    """Home first if the board has lost its position."""
    if not hands.homed:
        talk.say("The board does not know its position, so I home first.")
        _put_by_hand(talk, hands)
        hands.home()


def _put_by_hand(talk: Talk, hands: Hands) -> bool:
    """For axes without a switch, ask for positioning by hand; returns whether another axis has a switch."""
    rig = hands.rig
    lacking = [
        f"{name} = {at:g}"
        for name, axis, at in zip("xy", (rig.x, rig.y), rig.park.position_mm, strict=True)
        if axis.endstop == "none"
    ]
    if lacking:
        hands.power(False)
        talk.ready(
            "at park",
            f"No switch there, so push the carriage by hand to {', '.join(lacking)} mm. Press Enter to continue.",
        )
    return len(lacking) < 2
