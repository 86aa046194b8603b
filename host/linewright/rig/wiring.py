"""Wiring of a rig: wires with colours and cross-sections, fuses, and cautions.

`pictures.wiring_picture` draws it, and `linewright rig wiring` also prints it as a table. The colours are this
project's own and not required; a different colour per function makes faults easier to find.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError
from linewright.rig import power_sense
from linewright.rig.boards import BOARDS
from linewright.rig.review import power

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.rig.sections import Motor

AMPERES_PER_MM2: Final = 5.0
"""Current density of thin copper in free air (common practice; local codes allow less in walls)."""

SECTIONS_MM2: Final = (0.14, 0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0)
"""Cross-sections of stranded wire, mm2: from 0.5 on those of IEC 60228, below it those that cable makers list."""

SIGNAL_MM2: Final = 0.14
"""For signals of a few milliamperes; thinner wire breaks at the plug (common practice)."""

SENSOR_FUSE_A: Final = 0.5
"""For both sensors, some tens of mA each; within the rating of `SIGNAL_MM2` (0.7 A)."""

PULL_UP_KOHM: Final = 10
"""From the enable line to 3.3 V: 0.33 mA, which any pin can sink (common practice)."""

LOGIC_HIGH_V: Final = 3.6
"""Highest voltage for an input of a 3.3 V board (RP2040 data sheet, 5.5.3.4: IOVDD + 0.5 V absolute; less to be
safe)."""

CAPACITOR_UF: Final = 100
"""At each driver's motor supply pins, against voltage spikes of the long supply wires (common practice)."""

CAPACITOR_RATINGS_V: Final = (16, 25, 35, 50, 63, 100)
"""Voltage ratings of electrolytic capacitors (IEC 60384-4 prefers these; from memory)."""

CAPACITOR_MARGIN: Final = 1.4
"""Margin for the overshoot when the supply is switched on, nearly twice the voltage for a moment: the next rating above
1.4 times the voltage, whose surge rating is 15 % higher (common practice)."""


@dataclass(frozen=True)
class WireRun:
    """One wire.

    Parameters
    ----------
    start, end : parts and their pins, in words.
    kind : its function; one of `KINDS`.
    mm2 : minimum cross-section.
    note : a caution, or empty.
    """

    start: str
    end: str
    kind: str
    mm2: float
    note: str = ""


KINDS: Final[dict[str, str]] = {
    "motor supply": "brick red",
    "ground": "near black",
    "5 V": "amber",
    "3.3 V": "violet",
    "sensor supply": "pink",
    "step": "teal",
    "direction": "green",
    "enable": "grey",
    "endstop": "blue",
    "servo signal": "plum",
    "power sense": "olive",
    "coil": "brown",
}
"""Function of a wire, and the colour in which it is drawn."""


@dataclass(frozen=True)
class Wiring:
    """All wiring of one machine.

    Parameters
    ----------
    lines : wires, in a sensible order of work.
    motor_fuse_a, servo_fuse_a : fuses next to the supplies; None if figures are missing.
    capacitor_v : rating of the capacitor at each driver; None if the supply voltage is unknown.
    cautions : numbered as in the picture, from 1.
    """

    lines: tuple[WireRun, ...]
    motor_fuse_a: float | None
    servo_fuse_a: float | None
    capacitor_v: int | None
    cautions: tuple[str, ...]

    @classmethod
    def of(cls, rig: Rig) -> Wiring:
        """The wiring of a rig."""
        motor_fuse, servo_fuse = power.motor_fuse_a(rig), power.servo_fuse_a(rig)
        volts = None if rig.supply.motor_v is None else capacitor_v(rig.supply.motor_v)
        return cls(
            lines=tuple(_lines(rig)),
            motor_fuse_a=motor_fuse,
            servo_fuse_a=servo_fuse,
            capacitor_v=volts,
            cautions=tuple(_cautions(rig, motor_fuse, volts)),
        )


def section_mm2(current_a: float) -> float:
    """The smallest listed cross-section for a current.

    Examples
    --------
    >>> section_mm2(2.2), section_mm2(0.01), section_mm2(3.15)
    (0.5, 0.14, 0.75)

    Raises
    ------
    InputError
        The current is too high for the largest one.
    """
    wanted = current_a / AMPERES_PER_MM2
    if wanted > SECTIONS_MM2[-1] + 1e-9:
        raise InputError(
            f"{current_a:g} A is more than {SECTIONS_MM2[-1]:g} mm2 of wire carries, the thickest listed here",
            hint="look at the rig file's currents again (`linewright rig check`); if they are right, have somebody "
            "size the wiring who is licensed for it",
        )
    return next(section for section in SECTIONS_MM2 if section >= wanted - 1e-9)


def capacitor_v(supply_v: float) -> int:
    """The smallest listed capacitor rating for a supply voltage.

    Examples
    --------
    >>> capacitor_v(24.0), capacitor_v(12.0), capacitor_v(36.0)
    (35, 25, 63)

    Raises
    ------
    InputError
        The voltage is too high for the largest one.
    """
    wanted = supply_v * CAPACITOR_MARGIN
    if wanted > CAPACITOR_RATINGS_V[-1] + 1e-9:
        raise InputError(
            f"no capacitor listed here is rated for a supply of {supply_v:g} V",
            hint="direct current above 60 V is no longer extra-low voltage: use a supply of 12 to 48 V",
        )
    return next(rating for rating in CAPACITOR_RATINGS_V if rating >= wanted - 1e-9)


def _lines(rig: Rig) -> Iterator[WireRun]:
    # In a short circuit the fuse passes its rated current, so the wires are sized for that.
    supply = rig.supply
    flows_a = power.wire_a(power.motor_fuse_a(rig), supply.motor_a, power.motors_a(rig) or 0.0)
    main_mm2 = max(0.5, section_mm2(flows_a))  # thinner than 0.5 mm2 pulls out of screw terminals
    servo_flows_a = power.wire_a(power.servo_fuse_a(rig), supply.servo_a, supply.servo_stall_a or 0.0)
    servo_mm2 = max(0.25, section_mm2(servo_flows_a))
    pins = rig.pins
    # Grounds first, so that no part floats on a half-wired machine.
    for part in ("motor supply -", "board GND", *_servo_grounds(rig)):
        thick = main_mm2 if part.startswith("motor") else max(0.5, servo_mm2) if part != "board GND" else 0.5
        yield WireRun(part, "ground bar", "ground", thick)
    for name in "AB":
        yield WireRun(f"driver {name} motor ground", "ground bar", "ground", main_mm2)
        yield WireRun(f"driver {name} logic ground", "ground bar", "ground", SIGNAL_MM2)
    yield WireRun("motor supply +", "fuse", "motor supply", main_mm2, "fuse within a hand's breadth of the supply")
    yield WireRun("fuse", "motor switch", "motor supply", main_mm2)
    for name in "AB":
        yield WireRun(
            "motor switch", f"driver {name} motor supply", "motor supply", main_mm2, "capacitor across its pins"
        )
        yield WireRun("board 3.3 V", f"driver {name} logic supply", "3.3 V", SIGNAL_MM2, _logic_note(rig))
    for name, step, direction, motor in (
        ("A", pins.step_a, pins.direction_a, rig.a),
        ("B", pins.step_b, pins.direction_b, rig.b),
    ):
        yield WireRun(f"board GPIO {step}", f"driver {name} step", "step", SIGNAL_MM2)
        yield WireRun(f"board GPIO {direction}", f"driver {name} direction", "direction", SIGNAL_MM2)
        yield WireRun(f"board GPIO {pins.enable}", f"driver {name} enable", "enable", SIGNAL_MM2, "off while high")
        if pins.rest_current is not None:
            yield WireRun(
                f"board GPIO {pins.rest_current}", f"driver {name} rest current", "enable", SIGNAL_MM2, "high at rest"
            )
        yield WireRun(
            f"driver {name} microstep pins", "3.3 V or ground", "3.3 V", SIGNAL_MM2, f"set to {motor.microsteps}: see 8"
        )
        yield WireRun(f"driver {name} sleep, reset", "board 3.3 V", "3.3 V", SIGNAL_MM2, "where it has them: see 8")
        yield from _coils(rig, name, motor)
    yield WireRun(
        "enable line",
        f"{PULL_UP_KOHM} kohm to board 3.3 V",
        "enable",
        SIGNAL_MM2,
        "at the drivers; holds them off: see 9",
    )
    yield from _power_sense(rig, main_mm2)
    for axis, pin, one in (("x", pins.endstop_x, rig.x), ("y", pins.endstop_y, rig.y)):
        if one.endstop != "none" and pin is not None:
            contact = "NC" if one.endstop_contact == "normally-closed" else "NO"
            yield from _endstop(rig, axis, f"board GPIO {pin}", f"endstop {axis} {contact}")
    yield WireRun(f"board GPIO {pins.servo}", "servo signal", "servo signal", SIGNAL_MM2)
    source = {"own": "servo supply +", "regulator": "regulator + 5 V", "usb": "board 5 V"}[rig.supply.servo]
    servo_fuse = power.servo_fuse_a(rig)
    fuse = "fuse: see `rig check`" if servo_fuse is None else f"fuse {servo_fuse:g} A"
    yield WireRun(source, "servo +", "5 V", servo_mm2, fuse if rig.supply.servo != "usb" else "not recommended")
    if rig.supply.servo == "regulator":
        yield WireRun("motor switch", "regulator input", "motor supply", main_mm2)


def _endstop(rig: Rig, axis: str, pin: str, contact: str) -> Iterator[WireRun]:
    """A switch or sensor to ground, and its supply."""
    volts = rig.supply.switch_v
    twisted = "twist with its ground"
    if not needs_shifting(rig):
        yield WireRun(contact, pin, "endstop", SIGNAL_MM2, twisted)
        yield WireRun(f"endstop {axis} common", "ground bar", "ground", SIGNAL_MM2)
        if volts:
            yield WireRun(f"endstop {axis} supply", f"{volts:g} V", "3.3 V", SIGNAL_MM2)
        return
    fused = f"fuse {SENSOR_FUSE_A:g} A, before the motor switch"
    resistor = sensor_resistor(rig)
    yield WireRun(contact, f"optocoupler cathode {axis}", "endstop", SIGNAL_MM2, twisted)
    yield WireRun(f"{volts:g} V", f"{resistor}, optocoupler anode {axis}", "sensor supply", SIGNAL_MM2, fused)
    yield WireRun(f"optocoupler collector {axis}", pin, "endstop", SIGNAL_MM2, "3.3 V at most")
    yield WireRun(f"optocoupler emitter {axis}", "ground bar", "ground", SIGNAL_MM2)
    yield WireRun(f"endstop {axis} common", "ground bar", "ground", SIGNAL_MM2)
    yield WireRun(f"{volts:g} V", f"endstop {axis} supply", "sensor supply", SIGNAL_MM2, fused)


def _power_sense(rig: Rig, main_mm2: float) -> Iterator[WireRun]:
    """Sensing after the motor switch: thick wire up to the resistor, which limits the current to milliamperes."""
    if not rig.senses_motor_power:
        return
    pin = f"board GPIO {rig.pins.motor_power}"
    what = sense_resistors(rig)
    near = "resistor at the switch, wire no thinner up to it"
    if rig.supply.power_sense == "divider":
        yield WireRun("motor switch", f"divider, {what}", "motor supply", main_mm2, near)
        yield WireRun("divider, middle", pin, "power sense", SIGNAL_MM2, "3.3 V at most")
        yield WireRun("divider, lower end", "ground bar", "ground", SIGNAL_MM2)
        return
    yield WireRun("motor switch", f"{what}, optocoupler anode", "motor supply", main_mm2, near)
    yield WireRun("optocoupler cathode", "ground bar", "ground", SIGNAL_MM2)
    yield WireRun("optocoupler collector", pin, "power sense", SIGNAL_MM2, "low while there is power")
    yield WireRun("optocoupler emitter", "ground bar", "ground", SIGNAL_MM2)


def sense_resistors(rig: Rig) -> str:
    """Resistors of the motor power sensing, in words."""
    volts = rig.supply.motor_v
    if volts is None:
        return "resistor: see `rig check`"
    if rig.supply.power_sense == "divider":
        return f"{power_sense.divider_upper_kohm(volts):g} and {power_sense.LOWER_KOHM:g} kohm"
    return f"{power_sense.series_kohm(volts):g} kohm"


def sensor_resistor(rig: Rig) -> str:
    """Resistor of the optocoupler behind a sensor, in words."""
    return f"{power_sense.series_kohm(rig.supply.switch_v):g} kohm"


def needs_shifting(rig: Rig) -> bool:
    """Whether the sensors' signals exceed the board's input voltage."""
    return rig.supply.switch_v > LOGIC_HIGH_V


def _servo_grounds(rig: Rig) -> tuple[str, ...]:
    supply = {"own": ("servo supply -",), "regulator": ("regulator -",), "usb": ()}[rig.supply.servo]
    return (*supply, "servo -")


def _coils(rig: Rig, name: str, motor: Motor) -> Iterator[WireRun]:
    current = rig.driver.current_a or motor.rated_current_a or 0.0
    for coil in (1, 2):
        yield WireRun(
            f"driver {name} coil {coil}",
            f"motor {name} coil {coil}",
            "coil",
            section_mm2(current),
            "two wires, a twisted pair",
        )


def _logic_note(rig: Rig) -> str:
    return "" if rig.driver.logic_v <= 3.4 else f"the rig file says {rig.driver.logic_v:g} V: see `rig check`"


def _cautions(rig: Rig, fuse_a: float | None, volts: int | None) -> Iterator[str]:
    """Cautions in the order of their numbers in the picture."""
    yield (
        "Wire with everything unplugged. Mains wiring, and other work reserved by your local code, is for licensed "
        "people; a closed, earthed supply with a plug avoids it."
    )
    rated = f"{fuse_a:g} A, slow-blow" if fuse_a is not None else "see `linewright rig check`"
    cuts = "the motors and the servo" if rig.supply.servo == "regulator" else "the motors only"
    yield f"Fuse close to the supply ({rated}), then a switch within reach, which cuts the power of {cuts}.{_used(rig)}"
    yield "Join all grounds at one bar before you connect any +: a board without ground conducts through its pins."
    rating = f"{volts} V" if volts is not None else "1.4 times the supply's voltage"
    yield (
        f"{CAPACITOR_UF} uF or more, rated {rating}, directly at each driver's supply pins, + to +; a reversed one "
        "bursts. "
        "Fit heat sinks to the drivers' chips; set the driver current before the first move."
    )
    yield (
        "Never pull a motor plug under power: the coil's current destroys the driver. Running drivers return this "
        "current to the supply; a relay or solenoid needs its own diode."
    )
    if rig.supply.servo == "usb":
        yield "The servo is powered from USB: stalled, it draws more than a port gives (500 mA). Power it separately."
    else:
        yield "The servo has its own 5 V supply; only its signal and its ground are connected to the board."
    most_ma = BOARDS[rig.board].output_3v3_ma
    feeds = "" if most_ma is None else f" The board's 3.3 V output supplies {most_ma} mA at most."
    ends = "Switches go between pin and ground"
    if needs_shifting(rig):
        ends = "Sensors (NPN, switching to ground) are connected only to their optocouplers, never to the board"
    yield (
        f"The board's pins tolerate 3.3 V, not 5 V or 24 V.{feeds} {ends}; "
        "normally closed ones also detect a broken wire."
    )
    a, b = rig.a.microsteps, rig.b.microsteps
    steps = f"{a} microsteps" if a == b else f"{a} microsteps (A) and {b} (B)"
    yield (
        f"Set each driver's microstep pins to {steps} by its data sheet's table; otherwise every length is wrong. "
        "Connect sleep and "
        "reset pins, if there are any, to 3.3 V; otherwise the driver stays off."
    )
    yield (
        f"{PULL_UP_KOHM} kohm from the enable line to 3.3 V, at the drivers: while the board starts, resets or is "
        "flashed, its pins float or are low, which would switch the drivers on."
    )


def _used(rig: Rig) -> str:
    return (
        "" if rig.senses_motor_power else " After use during a drawing the position is lost: home before you continue."
    )


def groups(lines: tuple[WireRun, ...]) -> dict[str, tuple[float, float]]:
    """Thinnest and thickest wire of each kind in use, in the order of `KINDS`, mm2."""
    found = {kind: [line.mm2 for line in lines if line.kind == kind] for kind in KINDS}
    return {kind: (min(mm2), max(mm2)) for kind, mm2 in found.items() if mm2}
