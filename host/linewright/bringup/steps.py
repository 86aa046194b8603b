"""The table of steps, in an order of increasing risk."""

from __future__ import annotations

from typing import Final

from linewright.bringup import axes, meeting, motors, pen, switches
from linewright.bringup.dialogue import Step

CLEAR: Final = "Keep fingers, hair and cables clear of belts and rails."
SWITCH: Final = (
    "Keep a hand at the switch of the motor supply. If anything unexpected happens, switch off first, then look."
)

STEPS: Final[tuple[Step, ...]] = (
    Step(
        name="greeting",
        title="The board answers",
        prepare=(
            "Leave the motor supply off for now; the board is powered by its USB cable.",
            "Take the pen out of its holder: the servo will move to its raised height, which is not yet known.",
        ),
        cautions=("If the servo hums or gets warm, unplug it: it is pushing against a stop.",),
        expect="the board answers within milliseconds, has this version's code, and accepts the rig file.",
        otherwise=(
            "No answer: is it the right port, and a USB cable that carries data? Some only charge.",
            "Other code: `linewright board flash` installs this version's.",
            "A setting refused: `linewright rig check` shows the pins and rates that the board supports.",
        ),
        needs=(),
        run=meeting.greeting,
    ),
    Step(
        name="switches",
        title="Endstops, pressed by hand",
        prepare=(
            "The motor supply stays off, so the carriage can be pushed by hand: put it somewhere in the middle.",
            "I read the switches while you press them, one after the other.",
        ),
        cautions=(),
        expect="each switch reads pressed only while you press it.",
        otherwise=(
            "Reads open when pressed: check the plug at the board, the GPIO, the ground, the contact.",
            "Always pressed: a short to ground, or on a normally closed switch a broken or missing wire.",
            "The other switch reads pressed: the two plugs are swapped.",
            "Powered sensors (supply.switch_v) need their supply now, although the motor supply is off.",
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
        expect="at most a small jerk; the carriage then resists a gentle push, and slides again when I switch the "
        "motors off.",
        otherwise=(
            "It never holds: is the motor supply on, its fuse intact, the enable line on the right GPIO?",
            "It always holds: the enable line is not connected, or the driver needs the opposite level.",
            "A driver too hot to touch: supply off at once, and set its current lower.",
        ),
        needs=("greeting",),
        run=motors.drivers,
    ),
    Step(
        name="motor-a",
        title="Motor A, two millimetres",
        prepare=(
            "I turn only motor A, slowly, by two millimetres, and back after you have answered.",
            "Stand in front of the sheet, its top edge away from you. Right is right, and down is towards you.",
        ),
        cautions=(CLEAR, SWITCH),
        expect="a short, quiet, even move; the direction need not be right yet.",
        otherwise=motors.OTHERWISE,
        needs=("drivers",),
        run=motors.motor_a,
    ),
    Step(
        name="motor-b",
        title="Motor B, two millimetres",
        prepare=("The same test with motor B.",),
        cautions=(CLEAR, SWITCH),
        expect="again a short, quiet, even move.",
        otherwise=motors.OTHERWISE,
        needs=("drivers",),
        run=motors.motor_b,
    ),
    Step(
        name="pen",
        title="The pen's two heights",
        prepare=(
            "Lay a sheet of paper on the machine. Leave the pen out of its holder until I say so.",
            "First the raised height, then down to the paper in small steps.",
        ),
        cautions=(
            "A servo that is held back draws its stall current and overheats: if you hear a hum, raise the pen.",
        ),
        expect="raised, the pen clears the paper by 2 to 3 mm; lowered, it just rests on it.",
        otherwise=(
            "It moves the other way: answer what you see; I swap the two heights.",
            "It jitters: the servo's supply is weak, or its ground is not connected to the board's.",
            "It cannot reach the paper: unscrew the arm, turn it by a tooth, and repeat this step.",
        ),
        needs=("greeting",),
        run=pen.heights,
    ),
    Step(
        name="homing",
        title="The machine finds its zero",
        prepare=("With the motor supply on, each axis moves to its switch, x first, at a third of its speed.",),
        cautions=(
            CLEAR,
            "As a test, touch a switch with a pencil, never a finger, while its axis approaches: it must stop at once.",
            SWITCH,
        ),
        expect="each axis goes to its switch, touches it, backs off, and touches it again, slower.",
        otherwise=(
            "It runs the wrong way: switch the supply off and go back to the motors.",
            "It does not stop at the switch: switch the supply off and go back to the endstops.",
        ),
        needs=("switches", "motor-a", "motor-b"),
        run=axes.homing,
    ),
    Step(
        name="repeatability",
        title="Repeatability of the zero",
        prepare=(f"The machine goes to its switches {axes.APPROACHES} times from the same distance, and I compare.",),
        cautions=(CLEAR,),
        expect="the approaches agree within a few hundredths of a millimetre.",
        otherwise=(
            "They vary: a loose switch, a lever that bends, a belt with slack, or homing.slow_mm_s too high.",
            "They drift in one direction: a pulley slips on its shaft; tighten its grub screw on the flat.",
        ),
        needs=("homing",),
        run=axes.repeatability,
    ),
    Step(
        name="limits",
        title="The ends of the travel",
        prepare=("The carriage moves slowly towards the far end of each axis, and stops several times to ask.",),
        cautions=(CLEAR, SWITCH, "Answer no before anything touches: cables and corners collide before the rails end."),
        expect="it reaches every corner of its travel and touches nothing.",
        otherwise=("If you answer no, I write a shorter travel into the rig file.",),
        needs=("homing",),
        run=axes.limits,
    ),
)
