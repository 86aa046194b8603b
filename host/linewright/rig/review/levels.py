"""Logic levels: does the board's 3.3 V switch the drivers, and are its inputs safe?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from linewright.rig import power_sense
from linewright.rig.boards import BOARDS
from linewright.rig.review.findings import ReviewFinding

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

HIGH_SHARE: Final = 0.7
"""Share of its supply that a CMOS input needs as a high level (JEDEC JESD8-5 and -7 levels; figure from memory)."""

INPUT_SLACK_V: Final = 0.3
"""Allowed input voltage above the supply (RP2040 data sheet, 5.5.3.4, absolute: IOVDD + 0.5 V; less to be safe)."""


def findings(rig: Rig) -> Iterator[ReviewFinding]:
    """Levels of the drivers' inputs and of the switches."""
    board_v = BOARDS[rig.board].logic_v
    yield from _drivers(rig, board_v)
    yield _enable(rig)
    yield _motor_switch(rig, board_v)
    yield from _switches(rig, board_v)


def _drivers(rig: Rig, board_v: float) -> Iterator[ReviewFinding]:
    about = "levels"
    wanted = HIGH_SHARE * rig.driver.logic_v
    said = (
        f"the board's high level is {board_v:g} V; drivers supplied with {rig.driver.logic_v:g} V need {wanted:.3g} V"
    )
    if wanted > board_v:
        yield ReviewFinding(
            "doubtful",
            about,
            said,
            why="CMOS inputs need 0.7 of the supply for a high level; below it steps may be missed or counted twice",
            do=f"supply the drivers' logic side with {board_v:g} V, or add level shifters",
        )
    else:
        yield ReviewFinding("good", about, said)


def _enable(rig: Rig) -> ReviewFinding:
    about = "enable line"
    why = "a board's pins float or are low while it starts, resets or is flashed; active-low drivers are then on"
    if rig.driver.enable_pull_up == "yes":
        return ReviewFinding("good", about, "a resistor holds it off while the board's pin is not driven", why=why)
    return ReviewFinding(
        "doubtful",
        about,
        "no resistor holds it off (driver.enable_pull_up)",
        why=why,
        do='solder 10 kohm from the enable line to 3.3 V near the drivers, and set the key to "yes"',
    )


def _motor_switch(rig: Rig, board_v: float) -> ReviewFinding:
    about = "motor switch"
    why = (
        "without power, steps are counted but not made, so the position is lost; returning power must not start a "
        "motion (IEC 60204-1, 7.5; ISO 14118)"
    )
    supply = rig.supply
    if supply.power_sense == "none":
        return ReviewFinding(
            "doubtful",
            about,
            "the board cannot sense that the motor supply was switched off (supply.power_sense)",
            why=why,
            do="add an optocoupler and a resistor, as `linewright rig wiring` shows; until then, home the machine "
            "each time the motor supply was off",
        )
    if supply.motor_v is None:
        return ReviewFinding(
            "unknown", about, "sensed, but the supply voltage is not known", do="put supply.motor_v into the rig file"
        )
    if supply.power_sense == "optocoupler":
        kohm = power_sense.series_kohm(supply.motor_v)
        return ReviewFinding("good", about, f"sensed by an optocoupler behind {kohm:g} kohm", why=why)
    upper = power_sense.divider_upper_kohm(supply.motor_v)
    low_v, high_v = power_sense.divider_output_v(supply.motor_v, upper)
    said = f"sensed by a divider of {upper:g} and {power_sense.LOWER_KOHM:g} kohm: {low_v:.2f} to {high_v:.2f} V"
    if high_v > board_v + INPUT_SLACK_V or low_v < power_sense.HIGH_V:
        return ReviewFinding("wrong", about, said, why=why, do="use an optocoupler instead")
    return ReviewFinding("good", about, f"{said} at the board", why=why)


def _switches(rig: Rig, board_v: float) -> Iterator[ReviewFinding]:
    about = "endstops"
    if all(axis.endstop == "none" for axis in (rig.x, rig.y)):
        yield ReviewFinding(
            "doubtful",
            about,
            "the machine has none",
            why="without endstops the machine cannot find its zero, and lost steps are not detected",
            do="add two switches; until then set the zero by hand before every drawing",
        )
        return
    if rig.supply.switch_v > board_v + INPUT_SLACK_V and rig.supply.switch_shifted == "yes":
        said = f"fed with {rig.supply.switch_v:g} V; their signals are reduced to {board_v:g} V"
        yield ReviewFinding(
            "good", about, said, do="measure each signal against ground before you connect it to the board"
        )
    elif rig.supply.switch_v > board_v + INPUT_SLACK_V:
        yield ReviewFinding(
            "danger",
            about,
            f"the endstops are supplied with {rig.supply.switch_v:g} V; the board's inputs tolerate {board_v:g} V",
            why="a higher voltage destroys the input, at once or within weeks, and possibly the board",
            do=f"supply them with {board_v:g} V, or add optocouplers or level shifters and set supply.switch_shifted",
        )
    elif rig.supply.switch_v == 0:
        yield ReviewFinding("good", about, "plain contacts to ground, pulled up by the board: safe for its inputs")
    else:
        yield ReviewFinding("good", about, f"fed with {rig.supply.switch_v:g} V, which the board's inputs tolerate")
    yield from _contacts(rig)


def _contacts(rig: Rig) -> Iterator[ReviewFinding]:
    about = "endstops"
    why = "a broken wire or a loose plug then reads as pressed, and the machine stops"
    kinds: dict[str, list[str]] = {"normally-closed": [], "normally-open": []}
    for name, axis in (("x", rig.x), ("y", rig.y)):
        if axis.endstop != "none":
            kinds[axis.endstop_contact].append(name)
    if closed := kinds["normally-closed"]:
        yield ReviewFinding("good", about, f"{_switches_of(closed)} normally closed", why=why)
    if opened := kinds["normally-open"]:
        keys = " and ".join(f'axis.{name}.endstop_contact = "normally-closed"' for name in opened)
        yield ReviewFinding(
            "doubtful",
            about,
            f"{_switches_of(opened)} normally open: a broken wire reads as not pressed",
            why=f"normally closed is safer: {why}",
            do=f"connect the wire to the switch's NC contact, and set {keys}",
        )


def _switches_of(names: list[str]) -> str:
    return f"the {names[0]} switch is" if len(names) == 1 else f"the {' and '.join(names)} switches are"
