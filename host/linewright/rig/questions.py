"""Questions of `rig new`, each with its reason; bounds come from the rig model.

More than 500 lines, most of which are the table of questions in the order in which they are asked.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from linewright.errors import InputError
from linewright.rig.boards import BOARDS, ROW
from linewright.rig.checks import bounds_of
from linewright.rig.rig import Rig
from linewright.units import MM_PER_INCH

Answer = str | float | int | None
Answers = dict[str, Answer]

UNKNOWN: Final = "unknown"
"""Answer allowed for figures that may be omitted; checks that need them are skipped."""


@dataclass(frozen=True)
class Question:
    """One question.

    Parameters
    ----------
    name : its name in a file of answers.
    text : the question.
    why : purpose of the figure, and where to find it.
    keys : keys of the rig file that take the answer.
    default : replaces the default rig's value; may depend on the answers so far.
    asked : whether the question applies, given the answers so far.
    """

    name: str
    text: str
    why: str
    keys: tuple[str, ...]
    default: Callable[[Mapping[str, Answer]], Answer] | None = None
    asked: Callable[[Mapping[str, Answer]], bool] = lambda _: True

    def usual(self, answers: Mapping[str, Answer]) -> Answer:
        """The default answer."""
        if self.default is not None:
            return self.default(answers)
        value: Any = Rig.default().model_dump()
        for part in self.keys[0].split("."):
            value = value[part]
        return value if isinstance(value, str | float | int) else None

    def read(self, given: object) -> Answer:
        """An answer, typed or from JSON, converted to the type of the rig file.

        Raises
        ------
        InputError
            It is of the wrong type or out of bounds; the message gives the bounds.
        """
        bounds = bounds_of(Rig, self.keys[0])
        if given is None or (isinstance(given, str) and given.strip().lower() == UNKNOWN):
            if bounds.optional:
                return None
            raise InputError(f"{self.name} must be given: {bounds.words}")
        if bounds.choices or not bounds.is_number:
            if isinstance(given, str) and given.strip() and (not bounds.choices or given.strip() in bounds.choices):
                return given.strip()
            raise InputError(f"{self.name} = {given!r} is not allowed: {bounds.words}")
        if isinstance(given, bool):
            raise InputError(f"{self.name} = {given!r} is not a number: {bounds.words}")
        value = _number(self, str(given), bounds.words)
        if not bounds.low <= value <= bounds.high:
            raise InputError(f"{self.name} = {value:g} is not allowed: {bounds.words}")
        if not bounds.whole:
            return value
        if value != int(value):
            raise InputError(f"{self.name} = {value:g} must be a whole number: {bounds.words}")
        return int(value)


UNITS: Final[Mapping[str, Mapping[str, float]]] = {
    "mm": {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "in": MM_PER_INCH,
        "inch": MM_PER_INCH,
        "inches": MM_PER_INCH,
        '"': MM_PER_INCH,
    },
    "a": {"A": 1.0, "mA": 0.001},
    "v": {"V": 1.0, "mV": 0.001},
    "ohm": {"ohm": 1.0, "\u03a9": 1.0, "mohm": 0.001},
    "mh": {"mH": 1.0, "H": 1000.0, "uH": 0.001},
    "g": {"g": 1.0, "kg": 1000.0},
    "n": {"N": 1.0},
    "n_m": {"Nm": 1.0, "Ncm": 0.01, "mNm": 0.001},
    "g_cm2": {"gcm2": 1.0, "kgcm2": 1000.0},
}
"""Units accepted for a figure, by the unit at the end of its question's name, with their factors.

Case is ignored.
"""

_TYPED: Final = re.compile(r"\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[-+]?\d+)?)\s*(.*?)\s*", re.IGNORECASE)


def _number(question: Question, text: str, allowed: str) -> float:
    """The typed number, converted to the question's unit: ``450mm``, ``45 cm`` and ``17.7 in`` are about equal."""
    found = _TYPED.fullmatch(text)
    if found is None:
        raise InputError(f"{question.name} = {text!r} is not a number: {allowed}")
    value = float(found[1].replace(",", "."))
    if not found[2]:
        return value
    wanted = next((unit for unit in sorted(UNITS, key=len, reverse=True) if question.name.endswith(f"_{unit}")), "")
    own = allowed.rpartition("..")[2].partition(" ")[2]
    worth = {_bare(unit): factor for unit, factor in {own: 1.0, **UNITS.get(wanted, {})}.items()}
    if _bare(found[2]) not in worth:
        known = f"; known units: {', '.join(UNITS[wanted])}" if wanted else ""
        raise InputError(f"{question.name} = {text!r} has an unknown unit, {found[2]!r}: {allowed}{known}")
    return value * worth[_bare(found[2])]


def _bare(unit: str) -> str:
    """A unit in lower case, without blanks, dots and multiplication signs."""
    return re.sub(r"[\s.*\u00b7]", "", unit).lower()


def _real(answers: Mapping[str, Answer]) -> bool:
    return answers.get("board") != "virtual"


def _free_pins(answers: Mapping[str, Answer]) -> bool:
    return _real(answers) and not BOARDS[str(answers.get("board", "rp2040"))].in_a_row


PIN_QUESTIONS: Final = (
    "step_a",
    "step_b",
    "direction_a",
    "direction_b",
    "enable",
    "servo_pin",
    "endstop_x_pin",
    "endstop_y_pin",
    "motor_power_pin",
)
"""Questions answered by a GPIO number, in order."""

MOST_PINS: Final = 30
"""Number of GPIO offered if the board's pins are unknown."""


def taken_pins(answers: Mapping[str, Answer], but: str = "") -> dict[int, str]:
    """GPIO numbers in use and their purpose, by the answers so far and by the board itself.

    Parameters
    ----------
    but : a question whose answer is ignored.
    """
    board = BOARDS[str(answers.get("board", "rp2040"))]
    taken = dict(board.own)
    for name in PIN_QUESTIONS:
        pin = answers.get(name)
        if name == but or not isinstance(pin, int):
            continue
        if name == "step_a" and board.in_a_row:
            taken |= {pin + i: row for i, row in enumerate(ROW)}
        elif not (board.in_a_row and name in ROW):
            taken[pin] = name
    return taken


def free_pins(answers: Mapping[str, Answer], name: str) -> list[int]:
    """GPIO numbers still available for a question."""
    board = BOARDS[str(answers.get("board", "rp2040"))]
    taken = taken_pins(answers, name)
    free = {pin for pin in board.pins or range(MOST_PINS) if pin not in taken}
    if name == "step_a" and board.in_a_row:
        return sorted(pin for pin in free if pin <= board.highest_step_a and {pin + i for i in range(len(ROW))} <= free)
    return sorted(free)


def refuse_taken(question: Question, value: Answer, answers: Mapping[str, Answer]) -> None:
    """Refuse a pin that is already in use.

    Raises
    ------
    InputError
        The message has the pin's use and the free pins.
    """
    if question.name not in PIN_QUESTIONS or not isinstance(value, int):
        return
    free = free_pins(answers, question.name)
    if value in free:
        return
    taken = taken_pins(answers, question.name)
    row = range(value, value + 4) if question.name == "step_a" and _in_a_row(answers) else (value,)
    why = next(
        (f"GPIO {pin} is used already: {taken[pin]}" for pin in row if pin in taken), f"this board has no GPIO {value}"
    )
    raise InputError(f"{question.name} = {value}: {why}", hint=f"free are {runs_of(free)}")


def runs_of(numbers: Sequence[int]) -> str:
    """``0 to 6, 10, 12 to 14``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs) or "none"


def _in_a_row(answers: Mapping[str, Answer]) -> bool:
    return BOARDS[str(answers.get("board", "rp2040"))].in_a_row


def _free_pin(name: str, usual: int) -> Callable[[Mapping[str, Answer]], Answer]:
    """The usual pin, or the first free one."""

    def default(answers: Mapping[str, Answer]) -> Answer:
        free = free_pins(answers, name)
        return usual if usual in free or not free else free[0]

    return default


def _both(name: str) -> tuple[str, str]:
    return (f"motor.a.{name}", f"motor.b.{name}")


def _cool_current(answers: Mapping[str, Answer]) -> Answer:
    """Seven tenths of the rated current, to a hundredth: see `linewright.rig.review.power.RUN_COOL`."""
    rated = answers.get("rated_current_a")
    return round(0.7 * float(rated), 2) if isinstance(rated, float | int) else None


def _sheet_that_fits(answers: Mapping[str, Answer]) -> Answer:
    """The largest common sheet that fits the travel, 5 mm from its zero (ISO 216 sizes)."""
    travel = [float(answers.get(f"travel_{axis}_mm") or 310.0) - 5.0 for axis in "xy"]
    for name, short, long in (("A3", 297, 420), ("A4", 210, 297), ("A5", 148, 210), ("A6", 105, 148)):
        if travel[0] >= short and travel[1] >= long:
            return name
        if travel[0] >= long and travel[1] >= short:
            return f"{name} landscape"
    return f"{max(travel[0], 20.0):g}x{max(travel[1], 20.0):g}mm"


QUESTIONS: Final[tuple[Question, ...]] = (
    Question(
        "name",
        "What do you call the machine?",
        "The log of drawings shows this name.",
        ("name",),
        lambda _: "my machine",
    ),
    Question(
        "board",
        "Which microcontroller drives it?",
        "Named boards, and rp2040 and rp2350 for other boards with these chips, reach 100 000 steps/s; portable is "
        "any other board with MicroPython, up to 4000 steps/s; virtual is a simulated board for trying things out.",
        ("board",),
        lambda _: "rp2040",
    ),
    Question(
        "kinematics",
        "Does each motor move one axis (cartesian), or do both motors pull one long crossed belt (crossed-belt)?",
        "With the power off, turn one motor by hand: if the carriage moves diagonally, it is a crossed belt.",
        ("kinematics.type",),
    ),
    Question(
        "travel_x_mm",
        "How far can the carriage slide along x, to the right, in mm?",
        "With the power off, push the carriage from end to end and measure; subtract 10 mm, so that it never hits "
        "the frame.",
        ("axis.x.travel_mm",),
    ),
    Question(
        "travel_y_mm",
        "How far can the carriage slide along y, down the sheet, in mm?",
        "Measure it in the same way.",
        ("axis.y.travel_mm",),
    ),
    Question(
        "belt_pitch_mm",
        "What is the pitch of the belt, from tooth to tooth, in mm?",
        "2 on the common thin belts (GT2); measure ten teeth and divide. For a screw, give its lead here, and one "
        "tooth at the next question.",
        _both("belt_pitch_mm"),
    ),
    Question("pulley_teeth", "How many teeth does the motors' pulley have?", "Count them.", _both("pulley_teeth")),
    Question(
        "steps_per_turn",
        "How many full steps does the motor have per turn?",
        "200 if its plate says 1.8 degrees, 400 for 0.9 degrees.",
        _both("steps_per_turn"),
    ),
    Question(
        "microsteps",
        "How many microsteps per full step are the drivers set to?",
        "Set by their jumpers. 16 is common: fine enough for smooth lines, and not too many for speed.",
        _both("microsteps"),
    ),
    Question(
        "rated_current_a",
        "What current is each winding of the motors rated for, in A?",
        "On the motor's plate or in its data sheet. More overheats the motor.",
        _both("rated_current_a"),
    ),
    Question(
        "resistance_ohm",
        "What is the resistance of one winding, in ohm?",
        "Data sheet, or an ohmmeter on one pair of wires, motor unplugged.",
        _both("resistance_ohm"),
    ),
    Question(
        "inductance_mh",
        "What is the inductance of one winding, in mH?",
        "Data sheet. It limits the speed up to which the motor has torque, because the current reverses at every "
        "full step.",
        _both("inductance_mh"),
    ),
    Question(
        "holding_torque_n_m",
        "What is its holding torque, in N m?",
        "Data sheet. 1 N m is 100 N cm, or about 10 kg cm.",
        _both("holding_torque_n_m"),
    ),
    Question(
        "rotor_inertia_g_cm2",
        "What is its rotor's inertia, in g cm2?",
        "Data sheet; the motor also accelerates its own rotor. 54 is common for 42 mm motors.",
        _both("rotor_inertia_g_cm2"),
    ),
    Question(
        "motor_v",
        "What voltage does the motors' supply give, in V?",
        "On its plate. 24 is common; your drivers' data sheet states their limit.",
        ("supply.motor_v",),
    ),
    Question("motor_a", "How much current does it give, in A?", "On its plate.", ("supply.motor_a",)),
    Question(
        "current_a",
        "What current are the drivers set to, or will be set to, in A?",
        "At most the rated current; 70 % of it gives half the heat and 70 % of the torque.",
        ("driver.current_a",),
        _cool_current,
    ),
    Question(
        "sense_ohm",
        "What is the drivers' sense resistor, in ohm?",
        "Two small parts beside the driver's chip: R100 means 0.1 ohm, R050 0.05 ohm.",
        ("driver.sense_ohm",),
    ),
    Question(
        "reference_factor",
        "What is k in the driver's formula V = I x k x R?",
        "In its data sheet; 8 and 5 are common. It determines the voltage to set with the trimmer.",
        ("driver.reference_factor",),
    ),
    Question(
        "logic_v",
        "What is the supply voltage of the drivers' logic side, in V?",
        "3.3 from the board is best: the board's own signals are 3.3 V high.",
        ("driver.logic_v",),
    ),
    Question(
        "motor_v_max",
        "What is the highest motor voltage in the drivers' data sheet, in V?",
        "Above it a driver fails at once. Braking motors raise the supply by some volts, so stay below.",
        ("driver.motor_v_max",),
    ),
    Question(
        "enable_pull_up",
        "Does a resistor hold the drivers' enable line at 3.3 V (yes or no)?",
        "About 10 kohm at the drivers. Without it the drivers may switch on while the board starts or is flashed.",
        ("driver.enable_pull_up",),
        lambda _: "no",
    ),
    Question(
        "mass_x_g",
        "What is the mass of everything that moves along x, in g?",
        "Carriage, pen and servo, weighed on a kitchen scale; an estimate within a third is sufficient.",
        ("axis.x.moving_mass_g",),
    ),
    Question(
        "mass_y_g", "What is the mass of everything that moves along y, in g?", "The same.", ("axis.y.moving_mass_g",)
    ),
    Question(
        "drag_n",
        "What force is needed to pull the carriage, in N?",
        "Measure with a spring scale, power off: 100 g correspond to 1 N. Dry or tight rails need more.",
        ("axis.x.drag_n", "axis.y.drag_n"),
    ),
    Question(
        "endstop_x",
        "Where is the switch of x: at its beginning (min), at its far end (max), or nowhere (none)?",
        "The beginning is the left end. Without switches you set the zero by hand before every drawing.",
        ("axis.x.endstop",),
    ),
    Question(
        "endstop_y",
        "Where is the switch of y: at its beginning (min), at its far end (max), or nowhere (none)?",
        "The beginning is the upper end of the sheet.",
        ("axis.y.endstop",),
    ),
    Question(
        "endstop_contact",
        "Are their contacts normally open or normally closed?",
        "Normally closed (NC) is safer: a broken wire reads as pressed, and the machine stops instead of running on.",
        ("axis.x.endstop_contact", "axis.y.endstop_contact"),
        lambda _: "normally-closed",
        asked=lambda answers: (
            "none" not in (answers.get("endstop_x"), answers.get("endstop_y"))
            or answers.get("endstop_x") != answers.get("endstop_y")
        ),
    ),
    Question(
        "servo",
        "What feeds the pen's servo: a 5 V supply of its own (own), a regulator from the motor supply (regulator), "
        "or the USB line (usb)?",
        "Do not use USB: a stalled servo draws more than the 500 mA that a port supplies.",
        ("supply.servo",),
    ),
    Question("servo_a", "How much current can this supply give, in A?", "On its plate.", ("supply.servo_a",)),
    Question(
        "servo_stall_a",
        "What is the stall current of the servo, in A?",
        "Data sheet: 0.7 for a micro servo, 2.5 for a large one.",
        ("supply.servo_stall_a",),
    ),
    Question(
        "power_sense",
        "How does the board sense that the motor supply was switched off: by an optocoupler, a divider, or not at "
        "all (none)?",
        "Without it the board continues stepping while the motors have no power, and the machine must be homed. An "
        "optocoupler and a resistor suffice; `linewright rig wiring` shows the circuit.",
        ("supply.power_sense",),
        asked=_real,
    ),
    Question("pen_width_mm", "How wide is your pen's line, in mm?", "For the previews.", ("pen.width_mm",)),
    Question(
        "sheet",
        "Which sheet do you usually draw on?",
        "A0 to A6, letter, legal, or a size such as 210x297mm.",
        ("sheet.size",),
        _sheet_that_fits,
    ),
    Question(
        "step_a",
        "Which GPIO is the first of the motors' lines?",
        "Boards with an RP2040 or RP2350 need four consecutive GPIO: step A, step B, direction A, direction B. Give "
        "GPIO numbers, not header pins.",
        ("pins.step_a",),
        _free_pin("step_a", 2),
        asked=_real,
    ),
    Question(
        "step_b",
        "GPIO of step B?",
        "The board's own pin drawing.",
        ("pins.step_b",),
        _free_pin("step_b", 3),
        asked=_free_pins,
    ),
    Question(
        "direction_a",
        "GPIO of direction A?",
        "Likewise.",
        ("pins.direction_a",),
        _free_pin("direction_a", 4),
        asked=_free_pins,
    ),
    Question(
        "direction_b",
        "GPIO of direction B?",
        "Likewise.",
        ("pins.direction_b",),
        _free_pin("direction_b", 5),
        asked=_free_pins,
    ),
    Question(
        "enable",
        "GPIO of the drivers' enable line?",
        "One line goes to both drivers.",
        ("pins.enable",),
        _free_pin("enable", 6),
        asked=_real,
    ),
    Question(
        "servo_pin",
        "GPIO of the servo's signal?",
        "Any free one.",
        ("pins.servo",),
        _free_pin("servo_pin", 7),
        asked=_real,
    ),
    Question(
        "endstop_x_pin",
        "GPIO of the switch of x?",
        "Any free GPIO; the board pulls it up, the switch connects it to ground.",
        ("pins.endstop_x",),
        _free_pin("endstop_x_pin", 8),
        asked=lambda answers: _real(answers) and answers.get("endstop_x") != "none",
    ),
    Question(
        "endstop_y_pin",
        "GPIO of the switch of y?",
        "Likewise.",
        ("pins.endstop_y",),
        _free_pin("endstop_y_pin", 9),
        asked=lambda answers: _real(answers) and answers.get("endstop_y") != "none",
    ),
    Question(
        "motor_power_pin",
        "GPIO that senses the motors' power?",
        "Any free GPIO; its voltage must not exceed 3.3 V.",
        ("pins.motor_power",),
        _free_pin("motor_power_pin", 11),
        asked=lambda answers: _real(answers) and answers.get("power_sense") not in (None, "none"),
    ),
)


CHOSEN: Final = frozenset(
    {"name", "board", "sheet", "kinematics", "pen_width_mm", "servo", "endstop_contact", "power_sense", *PIN_QUESTIONS}
)
"""Questions whose default is a choice, not a figure to be measured; such defaults are not reported as assumed."""


def read_answers(given: Mapping[str, object]) -> Answers:
    """Answers from a file or from options, converted to their types.

    Raises
    ------
    InputError
        A name is unknown or a value is invalid.
    """
    known = {question.name: question for question in QUESTIONS}
    for name in given:
        if name not in known:
            raise InputError(
                f"there is no question {name!r}", hint="`linewright rig new --questions` lists them all, with defaults"
            )
    read = {name: known[name].read(value) for name, value in given.items()}
    for name in PIN_QUESTIONS:
        if name in read:
            refuse_taken(known[name], read[name], read)
    return read


def described() -> list[dict[str, object]]:
    """All questions with explanation, bounds and default, for scripts."""
    answers: Answers = {}
    rows: list[dict[str, object]] = []
    for question in QUESTIONS:
        answers[question.name] = question.usual(answers)
        bounds = bounds_of(Rig, question.keys[0])
        rows.append(
            {
                "name": question.name,
                "question": question.text,
                "why": question.why,
                "allowed": bounds.words,
                "may_be_unknown": bounds.optional,
                "default": answers[question.name],
            }
        )
    return rows
