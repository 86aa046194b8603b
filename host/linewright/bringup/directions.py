"""Conclusions from the direction of the carriage when one motor turns forwards.

Directions are seen from in front of the sheet: x points right, y points down.
"""

from __future__ import annotations

import math
from typing import Final, Literal

Verdict = Literal["right", "reversed", "exchanged", "exchanged and reversed", "other kinematics", "still"]

WAYS: Final[dict[str, tuple[int, int]]] = {
    "right": (1, 0),
    "left": (-1, 0),
    "down": (0, 1),
    "up": (0, -1),
    "right-down": (1, 1),
    "left-up": (-1, -1),
    "right-up": (1, -1),
    "left-down": (-1, 1),
    "nothing": (0, 0),
}
"""Possible answers, as signs of x and y."""

FORWARDS: Final[dict[str, tuple[tuple[int, int], tuple[int, int]]]] = {
    "cartesian": ((1, 0), (0, 1)),
    # Steps are A = x + y and B = x - y, so A alone moves x and y in the same direction, B in opposite directions.
    "crossed-belt": ((1, 1), (1, -1)),
}
"""Directions in which motors A and B move the carriage when they turn forwards, by kind of kinematics."""


def judge(kinematics: str, motor: int, way: str) -> Verdict:
    """Conclusion from the move of one motor.

    Parameters
    ----------
    kinematics : as in the rig file.
    motor : the motor that was turned, 0 or 1.
    way : one of `WAYS`.

    Examples
    --------
    >>> judge("cartesian", 0, "left")
    'reversed'
    >>> judge("crossed-belt", 0, "right-up")
    'exchanged'
    >>> judge("cartesian", 1, "left-up")
    'other kinematics'
    """
    x, y = WAYS[way]
    if (x, y) == (0, 0):
        return "still"
    own, other = FORWARDS[kinematics][motor], FORWARDS[kinematics][1 - motor]
    if (x, y) == own:
        return "right"
    if (-x, -y) == own:
        return "reversed"
    if (x, y) == other:
        return "exchanged"
    if (-x, -y) == other:
        return "exchanged and reversed"
    return "other kinematics"


def way_of(dx_mm: float, dy_mm: float, *, least_mm: float = 0.2) -> str:
    """The word for a move: the nearest of the eight directions, or ``nothing`` below ``least_mm``.

    Examples
    --------
    >>> way_of(-2.0, 0.1)
    'left'
    >>> way_of(1.0, -1.0)
    'right-up'
    >>> way_of(0.0, 0.0)
    'nothing'
    """
    if math.hypot(dx_mm, dy_mm) < least_mm:
        return "nothing"
    turn = round(math.atan2(dy_mm, dx_mm) / (math.pi / 4)) % 8
    return ("right", "right-down", "down", "left-down", "left", "left-up", "up", "right-up")[turn]
