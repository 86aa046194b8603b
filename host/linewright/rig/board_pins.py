"""Which pins a board has, which of them it keeps for itself, and in what order it wants the motors' lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True)
class BoardPins:
    """What one kind of board offers.

    Parameters
    ----------
    count : GPIO 0 to count - 1; None where that depends on the board at hand.
    in_a_row : step_a, step_b, direction_a and direction_b must be neighbours, in this order.
    highest_step_a : the last pin such a row may begin at.
    own : pins that common boards with this chip use themselves, and for what.
    logic_v : what its pins put out and take.
    """

    count: int | None
    in_a_row: bool
    highest_step_a: int
    own: Mapping[int, str] = field(default_factory=dict)
    logic_v: float = 3.3


_PICO_OWN: Final = {
    23: "it switches the mode of the board's own supply",
    24: "it senses whether USB power is there",
    25: "the board's light hangs on it",
    29: "it measures the board's supply",
}
"""Raspberry Pi Pico data sheet, section 2.1 (pinout), and the same of Pico 2; wireless ones use them for the radio."""

ROW: Final = ("step_a", "step_b", "direction_a", "direction_b")
"""One state machine of the PIO sets directions and steps together, so it sees them as one run of pins."""

BOARDS: Final[dict[str, BoardPins]] = {
    # RP2040 data sheet, 1.4: GPIO 0 to 29. The player counts its 32 pins from GPIO 0 (`lineboard.ports.rp2`).
    "rp2040": BoardPins(30, in_a_row=True, highest_step_a=26, own=_PICO_OWN),
    # RP2350 data sheet, 1.2: GPIO 0 to 29 in the small package, 0 to 47 in the large one.
    "rp2350": BoardPins(48, in_a_row=True, highest_step_a=28, own=_PICO_OWN),
    "portable": BoardPins(None, in_a_row=False, highest_step_a=47),
    "virtual": BoardPins(None, in_a_row=False, highest_step_a=47),
}
