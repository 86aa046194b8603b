"""What tells the board whether the motors have power: its resistors, worked out from the supply's voltage.

Behind the motor switch, so that using the switch is seen. An optocoupler keeps the two sides apart; a divider costs two
resistors. Both read "no power" when their wire breaks (the board pulls the input the other way).
"""

from __future__ import annotations

from typing import Final

LOWER_KOHM: Final = 10.0
"""Resistor of the divider from the input to ground."""

PULL_KOHM: Final = 50.0
"""The board's own resistor at the input, at its smallest (RP2040 data sheet, 5.5.3.4: 50 to 80 kohm)."""

HIGH_V: Final = 2.0
"""What a 3.3 V input is sure to read as high (RP2040 data sheet, 5.5.3.4)."""

MOST_V: Final = 3.3
"""What the input may see by the resistors' names: its own supply."""

LIMIT_V: Final = 3.6
"""What the input may see at all, with each resistor as far off as it may be."""

RESISTORS: Final = 0.05
"""How far resistors may be off, as a share."""

RISE: Final = 1.1
"""Motors that brake lift their supply; a tenth is what `review.power` leaves, too."""

SAG: Final = 0.9
"""What a loaded supply may fall to (common practice)."""

LED_V: Final = 1.2
LED_MA: Final = 3.0
"""Current of an infrared optocoupler; at half its transfer ratio 1.5 mA come out, and the board's pull-up needs
0.07."""

E24: Final = (
    1.0,
    1.1,
    1.2,
    1.3,
    1.5,
    1.6,
    1.8,
    2.0,
    2.2,
    2.4,
    2.7,
    3.0,
    3.3,
    3.6,
    3.9,
    4.3,
    4.7,
    5.1,
    5.6,
    6.2,
    6.8,
    7.5,
    8.2,
    9.1,
)
"""Resistors that are sold (IEC 60063)."""


def _next_resistor(least: float) -> float:
    decade = 0.1
    while True:
        for value in E24:
            if value * decade >= least - 1e-9:
                return round(value * decade, 3)
        decade *= 10.0


def series_kohm(motor_v: float) -> float:
    """In front of the optocoupler's diode.

    Examples
    --------
    >>> series_kohm(24.0)
    8.2
    """
    return _next_resistor((motor_v - LED_V) / LED_MA)


def divider_upper_kohm(motor_v: float) -> float:
    """From the motor switch to the input.

    Examples
    --------
    >>> divider_upper_kohm(24.0), divider_upper_kohm(12.0)
    (75.0, 30.0)
    """
    worst = LOWER_KOHM * (1.0 + RESISTORS) / (1.0 - RESISTORS) * (RISE * motor_v / LIMIT_V - 1.0)
    return _next_resistor(max(0.1, LOWER_KOHM * (RISE * motor_v / MOST_V - 1.0), worst))


def divider_output_v(motor_v: float, upper_kohm: float) -> tuple[float, float]:
    """The least and the most that the input sees while the motors have power, V."""
    pulled = LOWER_KOHM * PULL_KOHM / (LOWER_KOHM + PULL_KOHM)
    return SAG * motor_v * pulled / (pulled + upper_kohm), RISE * motor_v * LOWER_KOHM / (LOWER_KOHM + upper_kohm)
