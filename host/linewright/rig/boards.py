"""Table of boards: available pins, reserved pins, LED, and current of the 3.3 V output."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

CHIP_RP2040: Final = "rp2040"
CHIP_RP2350: Final = "rp2350"


RAMPS_HZ: Final = 2500
"""Most ramps per second that plans require of a board. An emulated RP2040 has played 2559 ramps/s over USB with 43 % of
its time and 5015 with 74 %, without waits for flash (`bench/board_dense.py`); 2500 leave a margin for those. No
other kind of board has been measured, so all have the same limit."""


@dataclass(frozen=True)
class BoardPins:
    """Properties of one kind of board.

    Parameters
    ----------
    chip : name that the board sends in its greeting.
    pins : GPIO with a solder point or header pin; None if that depends on the board at hand.
    in_a_row : step_a, step_b, direction_a and direction_b must be neighbours, in this order.
    highest_step_a : highest GPIO at which such a row may begin.
    own : pins that the board uses itself, with their use.
    light : GPIO of its LED; None if it has none or the radio chip drives it.
    logic_v : logic level of its pins.
    output_3v3_ma : most current of its 3.3 V output; None: see its data sheet.
    machine : MicroPython's name for it, before " with " and the chip's name; empty for a whole family.
    seen : how Linewright has been tested on it.
    ramps_hz : most ramps per second of a plan, averaged over its queue.
    """

    chip: str
    pins: frozenset[int] | None
    in_a_row: bool
    highest_step_a: int
    own: Mapping[int, str] = field(default_factory=dict)
    light: int | None = None
    logic_v: float = 3.3
    output_3v3_ma: int | None = None
    machine: str = ""
    seen: str = "not run"
    ramps_hz: int = RAMPS_HZ


_NOT_RUN: Final = "not run; the same code as on the other boards with its chip"
_COMPILED: Final = "not run; the code compiles for its processor"
_EMULATED: Final = "emulated with its MicroPython image, not run on a board"

_LIGHT: Final = "it drives the board's LED"
_BUS: Final = "it connects the board's own sensor and key"
_SUPPLY: Final = {
    23: "it selects the mode of the board's voltage regulator",
    24: "it senses USB power",
    25: _LIGHT,
    29: "it measures the board's supply voltage",
}
_RADIO: Final = dict.fromkeys((23, 24, 25, 29), "it connects the board's radio")
"""Raspberry Pi Pico data sheet, section 2.1 (pinout), and the same of Pico 2; from memory for those with a radio."""

_SHAPE_OF_PICO: Final = frozenset((*range(23), 26, 27, 28))

ROW: Final = ("step_a", "step_b", "direction_a", "direction_b")
"""One PIO state machine sets directions and steps together, so the four pins must be consecutive."""


def _model(
    chip: str,
    pins: frozenset[int],
    machine: str,
    seen: str,
    *,
    own: Mapping[int, str],
    light: int | None,
    ma: int | None = None,
) -> BoardPins:
    # The player counts its 32 pins from GPIO 0 (`lineboard.ports.rp2`).
    highest = 26 if chip == CHIP_RP2040 else 28
    return BoardPins(chip, pins, True, highest, own, light, output_3v3_ma=ma, machine=machine, seen=seen)


BOARDS: Final[dict[str, BoardPins]] = {
    # RP2040 data sheet, 1.4: GPIO 0 to 29.
    "rp2040": _model(CHIP_RP2040, frozenset(range(30)), "", _NOT_RUN, own=_SUPPLY, light=25),
    # RP2350 data sheet, 1.2: GPIO 0 to 29 in the small package, 0 to 47 in the large one.
    "rp2350": _model(CHIP_RP2350, frozenset(range(48)), "", _COMPILED, own=_SUPPLY, light=25),
    # Pins, lights and names: MicroPython 1.28, ports/rp2/boards/*/pins.csv and mpconfigboard.h.
    # 3.3 V output: data sheets of Pico and Pico W, pinout ("below 300 mA"), from memory.
    "pico": _model(CHIP_RP2040, _SHAPE_OF_PICO, "Raspberry Pi Pico", _EMULATED, own=_SUPPLY, light=25, ma=300),
    "pico-w": _model(CHIP_RP2040, _SHAPE_OF_PICO, "Raspberry Pi Pico W", _EMULATED, own=_RADIO, light=None, ma=300),
    "pico-2": _model(CHIP_RP2350, _SHAPE_OF_PICO, "Raspberry Pi Pico2", _COMPILED, own=_SUPPLY, light=25, ma=300),
    "pico-2-w": _model(CHIP_RP2350, _SHAPE_OF_PICO, "Raspberry Pi Pico 2 W", _COMPILED, own=_RADIO, light=None, ma=300),
    "nano-rp2040-connect": _model(
        CHIP_RP2040,
        frozenset((0, 1, 4, 5, 6, 7, *range(15, 22), 25, *range(26, 30))),
        "Arduino Nano RP2040 Connect",
        _NOT_RUN,
        own={
            6: _LIGHT,
            12: _BUS,
            13: _BUS,
        },
        light=6,
    ),
    "tiny-2040": _model(
        CHIP_RP2040,
        frozenset((*range(8), *range(26, 30))),
        "Pimoroni Tiny 2040",
        _NOT_RUN,
        own=dict.fromkeys((18, 19, 20), _LIGHT),
        light=19,
    ),
    "xiao-rp2040": _model(
        CHIP_RP2040,
        frozenset((*range(5), 6, 7, *range(26, 30))),
        "Seeed Studio XIAO RP2040",
        _NOT_RUN,
        own=dict.fromkeys((16, 17, 25), _LIGHT),
        light=25,
    ),
    "xiao-rp2350": _model(
        CHIP_RP2350,
        frozenset((*range(8), 9, 10, 11, 12, 16, 17, 20, 21, 26, 27, 28)),
        "Seeed XIAO RP2350",
        _COMPILED,
        own={25: _LIGHT, 29: "it measures the battery"},
        light=25,
    ),
    "portable": BoardPins("portable", None, False, 47),
    "virtual": BoardPins("virtual", None, False, 47),
}
"""Values of `board` in a rig file. A chip's name stands for any other board with it."""


def called(machine: str) -> str:
    """Row of the table for MicroPython's name of a board; the chip's name if no row fits, "" if the chip is unknown.

    Parameters
    ----------
    machine : `sys.implementation._machine`, such as "Raspberry Pi Pico with RP2040".
    """
    name, _, processor = machine.rpartition(" with ")
    chip = processor.lower().partition("-")[0]  # "RP2350-RISCV" has the same pins
    # One name may be the start of another, and makers append the flash size, so take the longest match.
    fits = [
        key
        for key, board in BOARDS.items()
        if board.machine and board.chip == chip and f"{name} ".startswith(f"{board.machine} ")
    ]
    fits.sort(key=lambda key: len(BOARDS[key].machine))
    return fits[-1] if fits else chip if chip in (CHIP_RP2040, CHIP_RP2350) else ""
