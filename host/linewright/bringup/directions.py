"""What it means which way the carriage went when one motor turned forwards.

Directions are as seen from in front of the sheet: x grows to the right, y grows down the sheet.
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
"""What may be answered, as signs of x and y."""

FORWARDS: Final[dict[str, tuple[tuple[int, int], tuple[int, int]]]] = {
    "cartesian": ((1, 0), (0, 1)),
    # Steps are A = x + y and B = x - y, so A alone moves x and y alike, B moves them against each other.
    "crossed-belt": ((1, 1), (1, -1)),
}
"""Where motors A and B take the carriage when they turn forwards, by kind of kinematics."""


def judge(kinematics: str, motor: int, way: str) -> Verdict:
    """What follows from one motor's move.

    Parameters
    ----------
    kinematics : as the rig file has it.
    motor : which one was told to turn, 0 or 1.
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
    """The word for a move: the nearest of the eight ways, or ``nothing`` below ``least_mm``.

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
