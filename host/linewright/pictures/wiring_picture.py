"""Wiring diagram: every part in its place, every line at right angles, no crossings.

The layout is fixed and filled in from the rig file. It has no crossings because the motor supply runs around the
outside, reaching driver A from above and driver B from below; the two lines shared by the drivers leave the board
between the drivers' own lines; and grounds are symbols that all mean the ground bar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from linewright.pictures.letters import width_mm, wrapped
from linewright.pictures.scene import Ink, Label, Patch, Scene
from linewright.rig.wiring import (
    PULL_UP_KOHM,
    SENSOR_FUSE_A,
    Wiring,
    groups,
    needs_shifting,
    sense_resistors,
    sensor_resistor,
)

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.rig.sections import Axis

Item = Ink | Patch | Label
Anchor = Literal["start", "middle", "end"]

WIDTH_MM: Final = 300.0
HEIGHT_MM: Final = 227.0

PAPER: Final = "#fbfaf6"
INK: Final = "#2b333b"
QUIET: Final = "#6f7780"
PART: Final = "#ffffff"
EDGE: Final = "#39434d"
BADGE: Final = "#e0a326"
COLOURS: Final[dict[str, str]] = {
    "motor supply": "#b5442c",
    "ground": "#22282e",
    "5 V": "#d08a12",
    "3.3 V": "#7657a8",
    "sensor supply": "#c46a9a",
    "step": "#12808f",
    "direction": "#3d9a62",
    "enable": "#7d858d",
    "endstop": "#2f6bb0",
    "servo signal": "#97426f",
    "power sense": "#7d7f1f",
    "coil": "#8a6a4b",
}

TOP_MM: Final = 27.0
BOTTOM_MM: Final = 154.0
"""Height of the motor supply's line around the outside."""

NODE_X_MM: Final = 86.0
BOARD: Final = (150.0, 36.0, 40.0, 108.0)
DRIVER_X_MM: Final = 216.0
DRIVER_W_MM: Final = 36.0
DRIVER_H_MM: Final = 36.0
DRIVER_Y_MM: Final = {"A": 41.0, "B": 104.0}
MOTOR_X_MM: Final = 279.0
ROW_MM: Final = 6.4


def wiring_scene(rig: Rig, wiring: Wiring) -> Scene:
    """The picture of one rig's wiring."""
    items: list[Item] = [Patch(0, 0, WIDTH_MM, HEIGHT_MM, PAPER)]
    items += _heading(rig)
    items += _motor_power(rig, wiring)
    items += _board(rig)
    for name in "AB":
        items += _driver(rig, wiring, name)
    items += _shared_lines(rig)
    items += _power_sense(rig)
    items += _endstop("x", rig.x, rig.pins.endstop_x, 38.0, rig)
    items += _endstop("y", rig.y, rig.pins.endstop_y, 66.0, rig)
    items += _servo(rig, wiring)
    items += _cautions(wiring)
    items += _legend(wiring)
    written = (replace(item, as_strokes=True) if isinstance(item, Label) else item for item in items)
    return Scene(WIDTH_MM, HEIGHT_MM, tuple(written), f"Wiring of {rig.name}")


def _heading(rig: Rig) -> Iterator[Item]:
    title = f"Wiring of {rig.name}"
    yield Label(title, 10, 13, min(6.0, (WIDTH_MM - 20) / width_mm(title, 1.0)), INK)
    kind = "a virtual rig, wired as a real one would be" if rig.board == "virtual" else f"board: {rig.board}"
    moves = {"cartesian": "motor A moves x, motor B moves y", "crossed-belt": "A turns with x + y, B with x - y"}
    yield Label(f"{kind}; {rig.kinematics.type}: {moves[rig.kinematics.type]}", 10, 19.5, 3.1, QUIET)


def _motor_power(rig: Rig, wiring: Wiring) -> Iterator[Item]:
    """Supply, fuse, switch, ground bar."""
    supply = rig.supply
    volts = "? V" if supply.motor_v is None else f"{supply.motor_v:g} V"
    amperes = "" if supply.motor_a is None else f", {supply.motor_a:g} A"
    yield from _part(10, 70, 30, 26, "Motor supply", f"{volts}{amperes}")
    yield from _line("motor supply", (40, 78), (NODE_X_MM, 78))
    yield Label("+", 36.5, 79.4, 4.2, COLOURS["motor supply"], "middle")
    # Fuse: a long box with the wire through it. Switch: two contacts and a blade.
    yield Patch(46, 75.4, 11, 5.2, PART, EDGE, 0.4)
    yield from _line("motor supply", (46, 78), (57, 78))
    fuse = "fuse" if wiring.motor_fuse_a is None else f"fuse {wiring.motor_fuse_a:g} A"
    yield Label(fuse, 51.5, 73.0, 2.9, INK, "middle")
    yield Patch(63.5, 70.5, 15, 12, PAPER)
    yield from _stroke(COLOURS["motor supply"], 0.9, (64.5, 78), (76, 72.6))
    yield from _dots(COLOURS["motor supply"], 2.2, (64.5, 78), (78, 78))
    yield Label("motor switch", 71.2, 86.0, 2.9, INK, "middle")
    yield from _line("motor supply", (NODE_X_MM, TOP_MM), (NODE_X_MM, BOTTOM_MM))
    yield from _dots(COLOURS["motor supply"], 2.0, (NODE_X_MM, 78))
    # The supply's minus, and the ground bar.
    yield from _line("ground", (25, 96), (25, 112))
    yield Label("-", 25, 94.5, 4.2, COLOURS["ground"], "middle")
    yield Patch(11, 112, 62, 3.4, COLOURS["ground"])
    for x in range(15, 72, 7):
        yield from _dots(PAPER, 1.5, (x, 113.7))
    for x in (39, 46, 53, 60):
        yield from _line("ground", (x, 115), (x, 119))
        yield from _ground(x, 119)
    yield Label("Ground bar: all ground marks", 11, 131.5, 2.9, INK)
    yield Label("in this picture connect here.", 11, 135.5, 2.9, INK)
    yield from _badge(1, 14, 66.5)
    yield from _badge(2, 64.5, 68.0)
    yield from _badge(3, 14, 107.5)


def _board(rig: Rig) -> Iterator[Item]:
    x, y, width, height = BOARD
    yield Patch(x, y, width, height, "#e9f1ee", EDGE, 0.5)
    yield Label("Board", x + width / 2, y + height / 2 - 1, 4.4, INK, "middle")
    yield Label(rig.board, x + width / 2, y + height / 2 + 4, 3.0, QUIET, "middle")
    # USB: a short cable to the laptop, inside the line of the motor supply.
    yield from _stroke(QUIET, 1.2, (x + 9, y), (x + 9, y - 4))
    yield Label("USB, to the laptop", x + 11.5, y - 2.2, 2.7, QUIET)
    yield from _line("ground", (x + 9, y + height), (x + 9, y + height + 2.5))
    yield from _ground(x + 9, y + height + 2.5)
    yield Label("GND", x + 9, y + height - 1.5, 2.5, QUIET, "middle")
    yield from _badge(7, x + width - 5, y + height - 5)


def _driver(rig: Rig, wiring: Wiring, name: str) -> Iterator[Item]:
    """A driver with its motor. A is supplied from above; B is its mirror image, supplied from below."""
    upper = name == "A"
    top = DRIVER_Y_MM[name]
    board_right = BOARD[0] + BOARD[2]
    yield from _part(DRIVER_X_MM, top, DRIVER_W_MM, DRIVER_H_MM, "", "")
    yield Label(f"Driver {name}", DRIVER_X_MM + 26, top + DRIVER_H_MM / 2 + 1.4, 3.6, INK, "middle")
    microsteps = (rig.a if upper else rig.b).microsteps
    yield Label(f"set {microsteps} microsteps", DRIVER_X_MM + 34, top + DRIVER_H_MM / 2 + 5.4, 2.1, QUIET, "end")
    yield from _badge(8, DRIVER_X_MM + 32, top + DRIVER_H_MM / 2 - 5.0)
    step, direction = (rig.pins.step_a, rig.pins.direction_a) if upper else (rig.pins.step_b, rig.pins.direction_b)
    rows = _rows(name)
    own = [
        ("3.3 V", "logic +", "3.3 V", rows["logic"]),
        ("step", "step", f"GPIO {step}", rows["step"]),
        ("direction", "direction", f"GPIO {direction}", rows["direction"]),
    ]
    if rig.pins.rest_current is not None:
        own.append(("enable", "rest", f"GPIO {rig.pins.rest_current}", rows["rest"]))
    for kind, word, pin, y in own:
        yield from _line(kind, (board_right, y), (DRIVER_X_MM, y))
        yield from _pin(board_right, y, pin, "end", COLOURS[kind])
        yield from _pin(DRIVER_X_MM, y, word, "start", COLOURS[kind])
    yield from _pin(DRIVER_X_MM, rows["enable"], "enable", "start", COLOURS["enable"])
    # Motor supply with its capacitor, at the far end of the driver.
    feed_x, edge = DRIVER_X_MM + 28, top if upper else top + DRIVER_H_MM
    around = TOP_MM if upper else BOTTOM_MM
    yield from _line("motor supply", (NODE_X_MM, around), (feed_x, around), (feed_x, edge))
    yield Label("motor +", feed_x, edge + (3.6 if upper else -1.6), 2.5, QUIET, "middle")
    middle = (around + edge) / 2
    yield from _dots(COLOURS["motor supply"], 1.8, (feed_x, middle))
    yield from _line("motor supply", (feed_x, middle), (feed_x + 8.2, middle))
    yield from _stroke(INK, 0.8, (feed_x + 8.6, middle - 2.6), (feed_x + 8.6, middle + 2.6))
    yield from _stroke(INK, 0.8, (feed_x + 10.2, middle - 2.6), (feed_x + 10.2, middle + 2.6))
    yield Label("+", feed_x + 6.4, middle - 1.0, 3.4, COLOURS["motor supply"], "middle")
    yield from _line("ground", (feed_x + 10.6, middle), (feed_x + 15, middle), (feed_x + 15, middle + 1))
    yield from _ground(feed_x + 15, middle + 1)
    rated = "" if wiring.capacitor_v is None else f" {wiring.capacitor_v} V"
    yield Label(f"100 uF{rated}", feed_x + 18.5, middle + 1.0, 2.6, INK)
    yield from _badge(4, feed_x + 21.5, middle - 4.2)
    # The grounds leave on the free side.
    ground_y = top + DRIVER_H_MM if upper else top
    for x, word in ((DRIVER_X_MM + 17, "logic -"), (DRIVER_X_MM + 29, "motor -")):
        yield Label(word, x, ground_y + (-1.6 if upper else 3.6), 2.5, QUIET, "middle")
        yield from _line("ground", (x, ground_y), (x, ground_y + (2.5 if upper else -2.5)))
        yield from _ground(x, ground_y + (2.5 if upper else -2.5), upwards=not upper)
    yield from _motor(rig, name, top)


def _motor(rig: Rig, name: str, top: float) -> Iterator[Item]:
    right = DRIVER_X_MM + DRIVER_W_MM
    centre = top + DRIVER_H_MM / 2
    for coil, rows in ((1, (-10.0, -5.0)), (2, (5.0, 10.0))):
        for dy in rows:
            yield from _line("coil", (right, centre + dy), (MOTOR_X_MM - 10, centre + dy))
        yield Label(f"coil {coil}", right + 8.5, centre + rows[0] + 3.4, 2.5, QUIET, "middle")
    yield Patch(MOTOR_X_MM - 10, centre - 14, 24, 28, PART, EDGE, 0.5)
    yield from _dots(EDGE, 15.0, (MOTOR_X_MM + 2, centre))
    yield from _dots(PART, 14.0, (MOTOR_X_MM + 2, centre))
    yield Label(f"Motor {name}", MOTOR_X_MM + 2, centre + 1.2, 3.2, INK, "middle")
    motor = rig.a if name == "A" else rig.b
    current = rig.driver.current_a or motor.rated_current_a
    if current is not None:
        yield Label(f"set {current:g} A", MOTOR_X_MM + 2, centre + 12, 2.6, QUIET, "middle")
    yield from _badge(5, right + 8.5, centre)


def _shared_lines(rig: Rig) -> Iterator[Item]:
    """Enable leaves the board between the lines of the two drivers and branches to both."""
    board_right = BOARD[0] + BOARD[2]
    y = (_rows("A")["enable"] + _rows("B")["enable"]) / 2
    branch = board_right + 14
    yield from _line("enable", (board_right, y), (branch, y))
    for name in "AB":
        yield from _line("enable", (branch, y), (branch, _rows(name)["enable"]), (DRIVER_X_MM, _rows(name)["enable"]))
    yield from _dots(COLOURS["enable"], 1.6, (branch, y))
    # The pull-up resistor: a box on a short line to 3.3 V.
    yield from _line("enable", (branch, y), (branch + 3.5, y))
    yield Patch(branch + 3.5, y - 1.3, 7.0, 2.6, PART, EDGE, 0.4)
    yield from _line("3.3 V", (branch + 10.5, y), (branch + 14, y))
    yield Label(f"{PULL_UP_KOHM} kohm", branch + 7.0, y - 2.4, 2.3, INK, "middle")
    yield Label("to 3.3 V", branch + 15, y + 0.9, 2.4, COLOURS["3.3 V"])
    yield from _badge(9, branch + 7.0, y + 4.4)
    yield from _pin(board_right, y, f"GPIO {rig.pins.enable}", "end", COLOURS["enable"])


def _rows(name: str) -> dict[str, float]:
    """Heights of a driver's lines, from outside to inside; "rest" is the input for reduced current, if used."""
    names = ("logic", "step", "direction", "rest", "enable")
    if name == "A":
        return {one: DRIVER_Y_MM["A"] + 5 + ROW_MM * i for i, one in enumerate(names)}
    last = DRIVER_Y_MM["B"] + DRIVER_H_MM - 5
    return {one: last - ROW_MM * i for i, one in enumerate(names)}


def _endstop(name: str, axis: Axis, pin: int | None, top: float, rig: Rig) -> Iterator[Item]:
    left, width, height = 100.0, 28.0, 20.0
    y = top + 8
    if axis.endstop == "none" or pin is None:
        yield Label(f"no endstop {name}", left + width / 2, y, 3.0, QUIET, "middle")
        return
    yield from _part(left, top, width, height, "", "")
    yield Label(f"Endstop {name}", left + 2, top + height - 2.2, 3.2, INK)
    closed = axis.endstop_contact == "normally-closed"
    yield Label("NC" if closed else "NO", left + width - 2, top + height - 2.2, 2.6, QUIET, "end")
    # Two contacts, and a blade that touches or not.
    yield from _stroke(INK, 0.6, (left, y), (left + 8, y))
    yield from _stroke(INK, 0.6, (left + 20, y), (left + width, y))
    yield from _dots(INK, 1.6, (left + 8, y), (left + 20, y))
    yield from _stroke(INK, 0.8, (left + 8, y), (left + 20, y - (0.9 if closed else 4.2)))
    if needs_shifting(rig):
        yield from _line("endstop", (left + width, y), (left + width + 5, y))
        yield from _line("endstop", (left + width + 17, y), (BOARD[0], y))
    else:
        yield from _line("endstop", (left + width, y), (BOARD[0], y))
    yield from _pin(BOARD[0], y, f"GPIO {pin}", "start", COLOURS["endstop"])
    yield from _line("ground", (left, y), (left - 5, y), (left - 5, y + 1.5))
    yield from _ground(left - 5, y + 1.5)
    if rig.supply.switch_v:
        colour = COLOURS["sensor supply" if needs_shifting(rig) else "3.3 V"]
        fed = f"{rig.supply.switch_v:g} V"
        words = f"{fed}, fuse {SENSOR_FUSE_A:g} A" if needs_shifting(rig) else f"fed with {fed}"
        yield Label(words, left + 2, top + 13.2, 2.6, colour)
    if needs_shifting(rig):
        middle = left + width + 11
        yield Patch(middle - 6, y - 3, 12, 6, PART, EDGE, 0.4)
        yield Label("opto-", middle, y - 0.3, 2.2, INK, "middle")
        yield Label("coupler", middle, y + 2.2, 2.2, INK, "middle")
        # The sensor and the optocoupler's light are fed by the sensors' supply; what it switches is the board's.
        yield from _line("sensor supply", (left, top + 15.6), (left - 4, top + 15.6))
        yield from _dots(COLOURS["sensor supply"], 1.6, (left - 4, top + 15.6), (middle, y - 5))
        yield from _line("sensor supply", (middle, y - 5), (middle, y - 3))
        resistor = f"{rig.supply.switch_v:g} V, {sensor_resistor(rig)}"
        yield Label(resistor, middle, y - 6.6, 2.2, COLOURS["sensor supply"], "middle")
        yield from _line("ground", (middle, y + 3), (middle, y + 4.4))
        yield from _ground(middle, y + 4.4)


def _power_sense(rig: Rig) -> Iterator[Item]:
    """Power sensing, between the two endstops: from the motor switch to the board."""
    if not rig.senses_motor_power:
        return
    y, left, right = 61.0, 92.0, 134.0
    yield from _line("motor supply", (NODE_X_MM, y), (left, y))
    yield from _dots(COLOURS["motor supply"], 1.8, (NODE_X_MM, y))
    yield Patch(left, y - 2.2, right - left, 4.4, PART, EDGE, 0.4)
    yield Label(f"{rig.supply.power_sense}, {sense_resistors(rig)}", (left + right) / 2, y + 0.9, 2.5, INK, "middle")
    yield from _line("power sense", (right, y), (BOARD[0], y))
    yield from _pin(BOARD[0], y, f"GPIO {rig.pins.motor_power}", "start", COLOURS["power sense"])
    yield from _line("ground", (left + 2.4, y + 2.2), (left + 2.4, y + 3.6))
    yield from _ground(left + 2.4, y + 3.6)


def _servo(rig: Rig, wiring: Wiring) -> Iterator[Item]:
    left, top, width, height = 100.0, 95.0, 28.0, 18.0
    y = top + 6
    yield from _part(left, top, width, height, "", "")
    yield Label("Servo", left + 2, top + height - 2.4, 3.4, INK)
    yield Label("pen", left + width - 2, top + height - 2.4, 2.6, QUIET, "end")
    yield from _line("servo signal", (left + width, y), (BOARD[0], y))
    yield from _pin(BOARD[0], y, f"GPIO {rig.pins.servo}", "start", COLOURS["servo signal"])
    yield Label("signal", left + width - 2, y + 0.9, 2.5, QUIET, "end")
    yield from _line("ground", (left, y), (left - 5, y), (left - 5, y + 1.5))
    yield from _ground(left - 5, y + 1.5)
    if rig.supply.servo == "usb":
        at = top + 11
        yield from _line("5 V", (left + width, at), (BOARD[0], at))
        yield from _pin(BOARD[0], at, "5 V of USB", "start", COLOURS["5 V"])
        yield from _badge(6, left + width + 11, at + 4)
        return
    feed = left + 14
    yield from _line("5 V", (feed, top + height), (feed, 128))
    yield Patch(feed - 2.4, 116, 4.8, 8.5, PART, EDGE, 0.4)
    yield from _line("5 V", (feed, 116), (feed, 124.5))
    fuse = "fuse" if wiring.servo_fuse_a is None else f"fuse {wiring.servo_fuse_a:g} A"
    yield Label(fuse, feed + 4.5, 121.4, 2.8, INK)
    yield from _badge(6, left + width + 11, 120.4)
    own = rig.supply.servo == "own"
    amperes = "" if rig.supply.servo_a is None else f", {rig.supply.servo_a:g} A"
    yield from _part(left, 128, width, 16, "Servo supply" if own else "Regulator", f"5 V{amperes}")
    yield from _line("ground", (left, 134), (left - 5, 134), (left - 5, 135.5))
    yield from _ground(left - 5, 135.5)
    if not own:
        yield from _line("motor supply", (feed, BOTTOM_MM), (feed, 144))
        yield from _dots(COLOURS["motor supply"], 1.8, (feed, BOTTOM_MM))


def _cautions(wiring: Wiring) -> Iterator[Item]:
    top = BOTTOM_MM + 12
    yield Label("Cautions", 10, top - 3.2, 4.0, INK)
    y = top + 1.5
    column = 10.0
    for i, text in enumerate(wiring.cautions):
        if i == 5:  # the second column
            column, y = 118.0, top + 1.5
        lines = wrapped(text, 2.75, 96.0)
        yield from _badge(i + 1, column + 2.2, y - 0.9)
        for line in lines:
            yield Label(line, column + 6.5, y, 2.75, INK)
            y += 3.7
        y += 1.6


def _legend(wiring: Wiring) -> Iterator[Item]:
    left, top = 224.0, BOTTOM_MM + 12
    yield Label("Lines", left, top - 3.2, 4.0, INK)
    yield Label("mm2 or more", left + 66, top - 3.2, 2.75, QUIET, "end")
    y = top + 1.0
    for kind, (thin, thick) in groups(wiring.lines).items():
        yield from _stroke(COLOURS[kind], _thickness(kind), (left, y - 0.8), (left + 9, y - 0.8))
        yield Label(kind, left + 12, y, 2.75, INK)
        # Thin wires of a kind carry signals, such as the grounds of logic and endstops.
        mm2 = f"{thick:g}, signals {thin:g}" if kind == "ground" and thin < thick else f"{thick:g}"
        yield Label(mm2, left + 66, y, 2.75, QUIET, "end")
        y += 4.3


def _part(x: float, y: float, width: float, height: float, title: str, note: str) -> Iterator[Item]:
    yield Patch(x, y, width, height, PART, EDGE, 0.5)
    if title:
        yield Label(title, x + width / 2, y + height / 2 + 0.2, 3.4, INK, "middle")
    if note:
        yield Label(note, x + width / 2, y + height / 2 + 4.4, 2.7, QUIET, "middle")


def _pin(x: float, y: float, text: str, anchor: Anchor, colour: str) -> Iterator[Item]:
    """A line's end at the edge of a part, with its name inside the part."""
    yield from _dots(colour, 1.9, (x, y))
    yield Label(text, x + (2.2 if anchor == "start" else -2.2), y + 0.95, 2.6, INK, anchor)


def _ground(x: float, y: float, *, upwards: bool = False) -> Iterator[Item]:
    """The ground symbol: three strokes of decreasing length (IEC 60617, 02-15-01, the general symbol for earth)."""
    sign = -1.0 if upwards else 1.0
    for i, half in enumerate((2.4, 1.5, 0.7)):
        yield from _stroke(COLOURS["ground"], 0.6, (x - half, y + sign * 1.1 * i), (x + half, y + sign * 1.1 * i))


def _badge(number: int, x: float, y: float) -> Iterator[Item]:
    yield from _dots(BADGE, 4.4, (x, y))
    yield Label(str(number), x, y + 1.05, 3.0, INK, "middle")


def _thickness(kind: str) -> float:
    return {"motor supply": 1.1, "ground": 0.9, "5 V": 0.9}.get(kind, 0.7)


def _line(kind: str, *points: tuple[float, float]) -> Iterator[Item]:
    yield _ink(kind, COLOURS[kind], _thickness(kind), [points])


def _stroke(colour: str, width: float, *points: tuple[float, float]) -> Iterator[Item]:
    yield _ink("mark", colour, width, [points])


def _dots(colour: str, width: float, *points: tuple[float, float]) -> Iterator[Item]:
    yield _ink("dot", colour, width, [(point,) for point in points])


def _ink(name: str, colour: str, width: float, strokes: Sequence[Sequence[tuple[float, float]]]) -> Ink:
    starts = np.concatenate(([0], np.cumsum([len(stroke) for stroke in strokes]))).astype(np.int64)
    flat = [point for stroke in strokes for point in stroke]
    return Ink(name, colour, width, np.array(flat, dtype=np.float64), starts)
