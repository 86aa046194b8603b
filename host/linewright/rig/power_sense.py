"""Sensing the motor supply: resistor values for the supply voltage.

The supply is sensed after the motor switch, so that the board sees when it is used. An optocoupler isolates the two
circuits; a divider needs only two resistors. Both read "no power" if their wire breaks (the board pulls the input the
other way).
"""

from __future__ import annotations

from typing import Final

LOWER_KOHM: Final = 10.0
"""Resistor of the divider from the input to ground."""

PULL_KOHM: Final = 50.0
"""Smallest value of the board's own pull resistor (RP2040 data sheet, 5.5.3.4: 50 to 80 kohm)."""

HIGH_V: Final = 2.0
"""Lowest voltage that a 3.3 V input reads as high (RP2040 data sheet, 5.5.3.4)."""

MOST_V: Final = 3.3
"""Highest voltage at the input with nominal resistors: its own supply."""

LIMIT_V: Final = 3.6
"""Highest voltage at the input with worst-case resistors."""

RESISTORS: Final = 0.05
"""Tolerance of the resistors, as a share."""

RISE: Final = 1.1
"""Supply voltage while motors brake, relative to nominal, as in `review.power`."""

SAG: Final = 0.9
"""Lowest voltage of a loaded supply, relative to nominal (common practice)."""

LED_V: Final = 1.2
LED_MA: Final = 3.0
"""LED current of an optocoupler; at half its transfer ratio the output gives 1.5 mA, and the board's pull-up needs 0.07
mA."""

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
"""Standard resistor values (IEC 60063)."""


def _next_resistor(least: float) -> float:
    decade = 0.1
    while True:
        for value in E24:
            if value * decade >= least - 1e-9:
                return round(value * decade, 3)
        decade *= 10.0


def series_kohm(motor_v: float) -> float:
    """Series resistor of the optocoupler's LED, kohm.

    Examples
    --------
    >>> series_kohm(24.0)
    8.2
    """
    return _next_resistor((motor_v - LED_V) / LED_MA)


def divider_upper_kohm(motor_v: float) -> float:
    """Resistor from the motor switch to the input, kohm.

    Examples
    --------
    >>> divider_upper_kohm(24.0), divider_upper_kohm(12.0)
    (75.0, 30.0)
    """
    worst = LOWER_KOHM * (1.0 + RESISTORS) / (1.0 - RESISTORS) * (RISE * motor_v / LIMIT_V - 1.0)
    return _next_resistor(max(0.1, LOWER_KOHM * (RISE * motor_v / MOST_V - 1.0), worst))


def divider_output_v(motor_v: float, upper_kohm: float) -> tuple[float, float]:
    """Lowest and highest voltage at the input while the motors have power, V."""
    pulled = LOWER_KOHM * PULL_KOHM / (LOWER_KOHM + PULL_KOHM)
    return SAG * motor_v * pulled / (pulled + upper_kohm), RISE * motor_v * LOWER_KOHM / (LOWER_KOHM + upper_kohm)
