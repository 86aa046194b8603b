"""Power: supplies against the current of motors and servo, fuses, and the drivers' current setting."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from linewright.rig.motor_torque import reference_v
from linewright.rig.review.findings import ReviewFinding

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

USB_A: Final = 0.5
"""Five unit loads of 100 mA: what a configured device may draw from a USB 2.0 port (USB 2.0 specification, 7.2.1)."""

BOARD_A: Final = 0.1
"""Current of a microcontroller board with its LED on (common practice; RP2040 boards stay below 100 mA)."""

EXTRA_LOW_V: Final = 60.0
"""Highest direct voltage of extra-low voltage in dry surroundings (IEC 61140; local codes differ)."""

FUSE_RATINGS_A: Final = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0)
"""Fuse ratings: the R10 series of preferred numbers (ISO 3), used for fuse-links (IEC 60127)."""

MOST_SUPPLY_A: Final = FUSE_RATINGS_A[-1]
"""Supply current above which a short circuit may exceed a small fuse's breaking capacity. A glass fuse of 5 x 20 mm
breaks 35 A or ten times its rating (IEC 60127-2, sheet 3; from memory), and a supply briefly gives more than its rating
(common practice: up to half more)."""

FUSE_MARGIN: Final = 1.25
"""Rating of a fuse relative to its continuous current, so that it does not age (common practice)."""

BLOWS_AT: Final = 2.1
"""Current, relative to its rating, at which a time-lag fuse-link opens within two minutes (IEC 60127-2, sheet 3; from
memory). A supply that gives less may never blow it."""

BRAKING_SHARE: Final = 0.1
"""Rise of the supply voltage while motors brake, as a share (common practice)."""

RUN_COOL: Final = 0.7
"""Share of the rated current that halves a motor's heat (0.7^2) and keeps seven tenths of its torque."""

WEAK: Final = 0.3
"""Share of the rated current below which a motor is weak: torque is proportional to current (Acarnley, Stepping Motors,
from memory)."""

METER_V: Final = 0.003
"""Error of a hand-held meter on its 2 V range, in addition to half a percent: three digits of 1 mV (common
practice)."""

OFFSET_V: Final = 0.005
"""Offset error of a driver's comparator, referred to its sense resistor (data sheets, from memory)."""

SENSE_MOST_V: Final = 0.5
"""Voltage at a sense resistor above which drivers exceed their data sheets (from memory)."""

SURE: Final = 0.2
"""Largest error of the set current that counts as good: the heat is then within half of what was intended."""


def motors_a(rig: Rig) -> float | None:
    """Current that the motor supply must give: both motors at their set current (common practice).

    A chopping driver at standstill draws less, ``I^2 R / V``; the difference covers acceleration and losses.
    """
    currents = []
    for motor in (rig.a, rig.b):
        current = rig.driver.current_a or motor.rated_current_a
        if current is None:
            return None
        currents.append(current)
    return sum(currents)


def fuse_a(needed_a: float, margin: float = FUSE_MARGIN) -> float | None:
    """The next fuse above a current with its margin; None above the largest one listed.

    Examples
    --------
    >>> fuse_a(2.2), fuse_a(0.7, margin=1.0), fuse_a(100.0)
    (3.15, 0.8, None)
    """
    wanted = needed_a * margin
    return next((rating for rating in FUSE_RATINGS_A if rating >= wanted - 1e-9), None)


def motor_fuse_a(rig: Rig) -> float | None:
    """The fuse of the motor supply; None if figures are missing or none is large enough."""
    needed = motors_a(rig)
    return None if needed is None else fuse_a(needed)


def servo_fuse_a(rig: Rig) -> float | None:
    """The fuse of the servo supply. It carries the stall current, which lasts only seconds, so it has no margin."""
    stall = rig.supply.servo_stall_a
    return None if stall is None else fuse_a(stall, margin=1.0)


def blows(fuse: float, supply_a: float | None) -> bool:
    """Whether a supply certainly blows a fuse; None if the supply's current is unknown."""
    return supply_a is not None and supply_a >= BLOWS_AT * fuse


def wire_a(fuse: float | None, supply_a: float | None, load_a: float) -> float:
    """Continuous current for which wires are sized: the fuse's rating, or the supply's current if it cannot blow the
    fuse.
    """
    behind = [load_a, *(value for value in (fuse,) if value is not None)]
    if supply_a is not None and (fuse is None or not blows(fuse, supply_a)):
        behind.append(supply_a)
    return max(behind)


def findings(rig: Rig) -> Iterator[ReviewFinding]:
    """Findings about power."""
    yield from _motor_supply(rig)
    yield from _driver_current(rig)
    yield from _reference(rig)
    yield from _servo(rig)


def _motor_supply(rig: Rig) -> Iterator[ReviewFinding]:
    about = "motor supply"
    supply = rig.supply
    if supply.motor_v is None:
        yield ReviewFinding(
            "unknown",
            about,
            "supply.motor_v is not known",
            why="fuse, speed and acceleration depend on it",
            do="see the supply's plate",
        )
    elif supply.motor_v > EXTRA_LOW_V:
        yield ReviewFinding(
            "danger",
            about,
            f"supply.motor_v = {supply.motor_v:g} V is above {EXTRA_LOW_V:g} V",
            why="direct current above that is no longer extra-low voltage: touching it can kill",
            do="use a supply of 12 to 48 V, or have the machine wired by a licensed person",
        )
    yield from _driver_voltage(rig)
    needed = motors_a(rig)
    if needed is None or supply.motor_a is None:
        missing = "supply.motor_a" if needed is not None else "the motors' current"
        yield ReviewFinding("unknown", about, f"{missing} is not known", do="add it from the supply's plate")
        return
    said = f"both motors at their set current draw up to {needed:.2g} A, the supply gives {supply.motor_a:g} A"
    if needed > supply.motor_a:
        yield ReviewFinding(
            "wrong",
            about,
            said,
            why="an overloaded supply drops its voltage during moves, so steps are lost, or it overheats",
            do=f"use a supply of {needed:.2g} A or more, or set driver.current_a to {supply.motor_a / 2:.2g} A",
        )
        return
    fused = _fused(about, said, motor_fuse_a(rig), supply.motor_a)
    # A fuse counts as good only for a known voltage within the range of this check.
    if fused.weight != "good" or (supply.motor_v is not None and supply.motor_v <= EXTRA_LOW_V):
        yield fused


def _fused(about: str, said: str, fuse: float | None, supply_a: float) -> ReviewFinding:
    """Whether a supply can blow the fuse that its load needs."""
    if fuse is None:
        return ReviewFinding(
            "wrong",
            about,
            f"{said}; the largest fuse listed here is {FUSE_RATINGS_A[-1]:g} A",
            why="this check does not size wires and fuses for such currents",
            do="check the values; if they are right, have a licensed person size the wiring",
        )
    if not blows(fuse, supply_a):
        return ReviewFinding(
            "doubtful",
            about,
            f"{said}; a fuse of {fuse:g} A may never blow: it needs {BLOWS_AT * fuse:.3g} A for up to two minutes",
            why="a fuse protects wires only if the supply can blow it (IEC 60127-2, sheet 3, from memory)",
            do=f"size the wires for {supply_a:g} A, as `linewright rig wiring` then does, and use a supply that shuts "
            "down by itself at a short circuit; the fuse still protects against larger currents",
        )
    if supply_a > MOST_SUPPLY_A:
        return ReviewFinding(
            "doubtful",
            about,
            f"{said}; in a short circuit this exceeds what a glass fuse of {fuse:g} A can break",
            why="a small glass fuse breaks 35 A or ten times its rating (IEC 60127-2, sheet 3, from memory); above "
            "that it may burst and burn on",
            do=f"use a supply of {MOST_SUPPLY_A:g} A or less, or have a licensed person choose a fuse by its breaking "
            "capacity for direct current",
        )
    return ReviewFinding("good", about, f"{said}; fuse it with {fuse:g} A, slow-blow")


def _driver_voltage(rig: Rig) -> Iterator[ReviewFinding]:
    about = "driver voltage"
    volts, most = rig.supply.motor_v, rig.driver.motor_v_max
    if volts is None:
        return
    if most is None:
        yield ReviewFinding(
            "unknown",
            about,
            "driver.motor_v_max is not known",
            why="a driver is destroyed at once above its highest motor voltage",
            do="see the driver's data sheet",
        )
    elif volts > most:
        yield ReviewFinding(
            "danger",
            about,
            f"the supply gives {volts:g} V; the drivers' limit is {most:g} V",
            why="the drivers are destroyed at once, and possibly the board",
            do=f"use a supply of {most / (1 + BRAKING_SHARE):.3g} V or less, or other drivers",
        )
    elif volts * (1 + BRAKING_SHARE) > most:
        yield ReviewFinding(
            "doubtful",
            about,
            f"the supply gives {volts:g} V; the drivers' limit is {most:g} V",
            why="braking motors raise the supply voltage by about a tenth (common practice)",
            do=f"stay at {most / (1 + BRAKING_SHARE):.3g} V or less",
        )
    else:
        yield ReviewFinding("good", about, f"the supply gives {volts:g} V; the drivers' limit is {most:g} V")


def _driver_current(rig: Rig) -> Iterator[ReviewFinding]:
    about = "driver current"
    set_a = rig.driver.current_a
    if set_a is None:
        yield ReviewFinding(
            "unknown",
            about,
            "driver.current_a is not known",
            why="a driver that is not set may overheat the motor or itself",
            do="set both drivers before the first move, and write the current into the rig file",
        )
    for name, motor in (("a", rig.a), ("b", rig.b)):
        rated = motor.rated_current_a
        if rated is None:
            yield ReviewFinding(
                "unknown", about, f"motor.{name}.rated_current_a is not known", do="see the motor's plate"
            )
            continue
        if set_a is None:
            continue
        if set_a > rated:
            yield ReviewFinding(
                "danger",
                about,
                f"drivers are set to {set_a:g} A, motor {name.upper()} is rated {rated:g} A",
                why=f"heat grows with the square of the current: {(set_a / rated) ** 2:.1f} times the motor's rating",
                do=f"set them to {rated:g} A at most; {RUN_COOL * rated:.2g} A runs cool",
            )
        elif set_a < WEAK * rated:
            yield ReviewFinding(
                "doubtful",
                about,
                f"drivers are set to {set_a:g} A, motor {name.upper()} is rated {rated:g} A: it has "
                f"{set_a / rated * 100:.0f} % of its torque",
                why="torque is proportional to current; with so little, the motor may lose steps or not move",
                do=f"check driver.current_a; {RUN_COOL * rated:.2g} A runs cool and keeps 70 % of the torque",
            )
        elif motor.resistance_ohm is not None and rig.supply.motor_v is not None:
            drop_v = set_a * motor.resistance_ohm
            if drop_v >= rig.supply.motor_v:
                yield ReviewFinding(
                    "wrong",
                    about,
                    f"{set_a:g} A through motor {name.upper()}'s {motor.resistance_ohm:g} ohm needs {drop_v:.3g} V, "
                    f"the supply has {rig.supply.motor_v:g} V",
                    why="by Ohm's law the current is not reached, so the driver cannot regulate it",
                    do="use a higher voltage, or motors of lower resistance",
                )
            else:
                heat_w = set_a**2 * motor.resistance_ohm
                yield ReviewFinding(
                    "good",
                    about,
                    f"motor {name.upper()}: {set_a:g} A of {rated:g} A, {heat_w:.2g} W of heat at standstill",
                    why="I^2 R: the two windings share the current like sine and cosine",
                )


def _reference(rig: Rig) -> Iterator[ReviewFinding]:
    about = "driver current"
    driver = rig.driver
    if driver.current_a is None:
        return
    if driver.sense_ohm is None or driver.reference_factor is None:
        yield ReviewFinding(
            "unknown",
            about,
            "driver.sense_ohm or driver.reference_factor is not known",
            why="V = I x k x R gives the trimmer voltage; k is in the driver's data sheet",
            do="add both, or set the current as your driver's data sheet describes",
        )
        return
    volts = reference_v(driver.current_a, driver.reference_factor, driver.sense_ohm)
    sense_v = driver.current_a * driver.sense_ohm
    formula = f"{driver.current_a:g} A x {driver.reference_factor:g} x {driver.sense_ohm:g} ohm = {volts:.3g} V"
    again = "check k and the resistor: R100 (0.1 ohm) and R050 are often misread"
    off = METER_V / volts + OFFSET_V / sense_v
    if volts > driver.logic_v:
        yield ReviewFinding(
            "wrong",
            about,
            f"V = I x k x R = {formula}, more than the {driver.logic_v:g} V of the driver's logic supply",
            why="a trimmer cannot give more than its supply",
            do=again,
        )
    elif off > SURE:
        yield ReviewFinding(
            "wrong" if off > 1.0 else "doubtful",
            about,
            f"V = I x k x R = {formula}, and {sense_v * 1000:.3g} mV at the sense resistor: the current may be "
            f"{min(off, 9.99) * 100:.0f} % off",
            why=f"a hand-held meter may be {METER_V * 1000:g} mV off, a driver's comparator {OFFSET_V * 1000:g} mV at "
            "the resistor (common practice; data sheets)",
            do=f"{again}; if they are right, use drivers for small currents",
        )
    elif sense_v > SENSE_MOST_V:
        yield ReviewFinding(
            "doubtful",
            about,
            f"{driver.current_a:g} A through the sense resistor's {driver.sense_ohm:g} ohm drop {sense_v:.3g} V",
            why=f"drivers take about {SENSE_MOST_V:g} V there (data sheets, from memory), and it makes "
            f"{driver.current_a * sense_v:.2g} W of heat",
            do=again,
        )
    else:
        yield ReviewFinding(
            "good",
            about,
            f"set each trimmer to V = I x k x R = {formula}",
            why="compare the formula, k and R with your driver's data sheet, because drivers differ",
            do="adjust with motors unplugged and power on, using a plastic or ceramic screwdriver; switch off before "
            "you plug the motors in",
        )


def _servo(rig: Rig) -> Iterator[ReviewFinding]:
    about = "servo supply"
    supply = rig.supply
    stall = supply.servo_stall_a
    if supply.servo == "usb":
        draws = f"{stall:g} A when stalled" if stall is not None else "more than 0.5 A when stalled"
        over = stall is None or stall + BOARD_A > USB_A
        yield ReviewFinding(
            "danger" if over else "doubtful",
            about,
            f"the servo is powered from USB and draws {draws}; a USB 2.0 port supplies {USB_A * 1000:g} mA in total",
            why="the port's voltage drops and the board restarts during a drawing; some ports are damaged",
            do='give the servo its own 5 V supply, or a regulator from the motor supply (supply.servo = "regulator")',
        )
        return
    if stall is None or supply.servo_a is None:
        missing = "supply.servo_stall_a" if stall is None else "supply.servo_a"
        yield ReviewFinding(
            "unknown", about, f"{missing} is not known", why="0.7 A is common for micro servos, 2.5 A for large"
        )
        return
    said = f"the servo takes {stall:g} A when stalled; its supply gives {supply.servo_a:g} A"
    if stall > supply.servo_a:
        yield ReviewFinding(
            "wrong",
            about,
            said,
            why="the voltage drops when the servo is blocked, and the pen drops or jitters",
            do=f"use a supply of {stall:g} A or more",
        )
        return
    yield _fused(about, said, servo_fuse_a(rig), supply.servo_a)
