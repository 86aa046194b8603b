"""The table of steps, in an order of increasing risk."""

from __future__ import annotations

from typing import Final

from linewright.bringup import axes, meeting, motors, pen, switches
from linewright.bringup.dialogue import Step

CLEAR: Final = "Keep fingers, hair and cables clear of belts and rails."
SWITCH: Final = "Keep a hand at the switch of the motor supply. If anything surprises you, switch it off; look later."

STEPS: Final[tuple[Step, ...]] = (
    Step(
        name="greeting",
        title="The board says hello",
        prepare=(
            "Leave the motor supply off for now; the board lives on its USB cable.",
            "Take the pen out of its holder: the servo will move to its raised height, and nobody knows where that is.",
        ),
        cautions=("If the servo hums or gets warm, unplug it: it is pushing against a stop.",),
        expect="the board answers within milliseconds, carries this version's code, and takes the rig file.",
        otherwise=(
            "No answer: is it the right port, and a USB cable that carries data? Some only charge.",
            "Other code: `linewright board flash` puts this version's on the board.",
            "A setting refused: `linewright rig check` says which pins and rates the board can do.",
        ),
        needs=(),
        run=meeting.greeting,
    ),
    Step(
        name="switches",
        title="Endstops, pressed by hand",
        prepare=(
            "The motor supply stays off, so the carriage can be pushed by hand: put it somewhere in the middle.",
            "I look at the switches while you press them, one after the other.",
        ),
        cautions=(),
        expect="each switch reads open by itself, and pressed only while you press it.",
        otherwise=(
            "Nothing when pressed: look for the plug at the board, the right GPIO, the ground, the contact.",
            "Always pressed: a short to ground, or on a normally closed switch a broken or missing wire.",
            "The other one answers: the two plugs are exchanged.",
            "Sensors that are fed (supply.switch_v) need their supply now, though the motor switch is off.",
        ),
        needs=("greeting",),
        run=switches.by_hand,
    ),
    Step(
        name="drivers",
        title="The drivers hold, and let go",
        prepare=(
            "Each driver's current must be set by now (`linewright rig check` gives the voltage for its trimmer).",
            "Push the carriage to the middle. Then switch the motor supply on.",
        ),
        cautions=(
            "Never plug or unplug a motor while its driver has power: it kills the driver.",
            CLEAR,
            SWITCH,
        ),
        expect="a small jerk at most, and then the carriage resists a gentle push; when I let go, it slides again.",
        otherwise=(
            "It never holds: is the motor supply on, its fuse whole, the enable line on the right GPIO?",
            "It always holds: the enable line is not connected, or the driver wants the opposite level.",
            "A driver too hot to touch: supply off at once, and set its current lower.",
        ),
        needs=("greeting",),
        run=motors.drivers,
    ),
    Step(
        name="motor-a",
        title="Motor A, two millimetres",
        prepare=(
            "I turn motor A alone, two millimetres and slowly, and back again after you have told me what you saw.",
            "Stand in front of the sheet, its top edge away from you. Right is right, and down is towards you.",
        ),
        cautions=(CLEAR, SWITCH),
        expect="a short, quiet, even move; it need not go the right way yet.",
        otherwise=motors.OTHERWISE,
        needs=("drivers",),
        run=motors.motor_a,
    ),
    Step(
        name="motor-b",
        title="Motor B, two millimetres",
        prepare=("The same with motor B.",),
        cautions=(CLEAR, SWITCH),
        expect="the same: short, quiet, even.",
        otherwise=motors.OTHERWISE,
        needs=("drivers",),
        run=motors.motor_b,
    ),
    Step(
        name="pen",
        title="The pen's two heights",
        prepare=(
            "Lay a sheet of paper on the machine. Leave the pen out of its holder until I say so.",
            "First the raised height, then down to the paper, a little at a time.",
        ),
        cautions=(
            "A servo that is held back draws its stall current and overheats: listen for a hum, and lift it then.",
        ),
        expect="raised, the pen clears the paper by 2 to 3 mm; lowered, it just rests on it.",
        otherwise=(
            "It goes the other way: tell me what you see; I exchange the two heights.",
            "It jitters: the servo's supply is weak, or its ground is not joined with the board's.",
            "It cannot reach the paper: unscrew the arm, turn it by a tooth, and do this step again.",
        ),
        needs=("greeting",),
        run=pen.heights,
    ),
    Step(
        name="homing",
        title="The machine finds its zero",
        prepare=("With the motor supply on, both axes look for their switches, x first, at a third of their speed.",),
        cautions=(
            CLEAR,
            "As a test, touch a switch with a pencil, never a finger, while its axis approaches: it must stop at once.",
            SWITCH,
        ),
        expect="each axis goes to its switch, touches it, backs off, and touches it again, slower.",
        otherwise=(
            "It runs the wrong way: supply off; go back to the motors.",
            "It runs into the switch and on: supply off; go back to the endstops.",
        ),
        needs=("switches", "motor-a", "motor-b"),
        run=axes.homing,
    ),
    Step(
        name="repeatability",
        title="How well it finds its zero again",
        prepare=(f"The machine goes to its switches {axes.APPROACHES} times from the same distance, and I compare.",),
        cautions=(CLEAR,),
        expect="the approaches agree within a few hundredths of a millimetre.",
        otherwise=(
            "They scatter: a loose switch, a lever that bends, a belt with slack, or homing.slow_mm_s too high.",
            "They wander in one direction: a pulley slips on its shaft; tighten its grub screw on the flat.",
        ),
        needs=("homing",),
        run=axes.repeatability,
    ),
    Step(
        name="limits",
        title="The ends of the travel",
        prepare=("The carriage goes slowly towards the far end of each axis, and stops several times to ask.",),
        cautions=(CLEAR, SWITCH, "Say no before anything touches: cables and corners meet before rails do."),
        expect="it reaches every corner of its travel and touches nothing.",
        otherwise=("Say no where it gets tight, and I write a shorter travel into the rig file.",),
        needs=("homing",),
        run=axes.limits,
    ),
)
