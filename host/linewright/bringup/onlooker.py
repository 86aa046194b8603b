"""`Onlooker`: a simulated user beside the virtual rig, who presses its switches and sees what happens.

On a real machine the user does this. On the virtual rig this object reports what is visible, so that a newcomer can
practise. It can also answer by itself, so that the dialogue is tested on miswired machines and shown in the
documentation.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from linewright.bringup.directions import way_of
from linewright.bringup.talk import Ask, Watch

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.virtual.bystander import Beside

LOOKS: Final = 20
"""Most polls of a pressed switch: the board reports within a tenth of a second."""

NEAR_MM: Final = 10.0
"""A carriage that has just homed is closer than this to its switches."""


class Onlooker:
    """Simulated user of a virtual rig.

    Parameters
    ----------
    beside : bystander of the rig.
    rig : the intended machine, for the ends of its travel.
    """

    def __init__(self, beside: Beside, rig: Rig) -> None:
        self._beside = beside
        self._rig = rig
        self._before_mm = beside.look().carriage_mm
        self._far_mm = 0.0  # distance of the carriage's last move that was asked about

    def sees(self, ask: Ask) -> str:
        """What is visible for a question; empty if nothing."""
        now = self._beside.look()
        about, _, _ = ask.key.partition(" ")
        if about == "way":
            dx, dy = (after - before for after, before in zip(now.carriage_mm, self._before_mm, strict=True))
            way = way_of(dx, dy)
            self._far_mm = math.hypot(dx, dy)
            return (
                "the carriage has not moved" if way == "nothing" else f"the carriage went {self._far_mm:.1f} mm {way}"
            )
        if about == "how":
            return f"it was {self._far_mm:.1f} mm"
        if about in ("held", "free"):
            return "the carriage resists" if now.powered else "the carriage slides freely"
        if about in ("raised", "lowered", "touch", "clear") and ask.key not in ("clear x", "clear y"):
            return "the pen is at the paper" if now.pen_down else "the pen is clear of the paper"
        if about in ("at", "clear", "travel", "standing"):
            x, y = now.carriage_mm
            return f"the carriage is {x:.1f} mm from the left end and {y:.1f} mm from the upper end of its rails"
        return ""

    def answers(self, ask: Ask) -> str:
        """The true answer; empty (the default) if any will do."""
        now = self._beside.look()
        about, _, which = ask.key.partition(" ")
        dx, dy = (after - before for after, before in zip(now.carriage_mm, self._before_mm, strict=True))
        self._before_mm = now.carriage_mm
        if about == "way":
            return way_of(dx, dy)
        if ask.key in ("touch", "clear"):
            return self._height(ask.key, now.pen_down)
        simple = {
            "held": _yes(now.powered),
            "free": _yes(not now.powered),
            "raised": "down" if now.pen_down else "up",
            "lowered": "down" if now.pen_down else "up",
            "at zero": _yes(self._at_zero(now.carriage_mm)),
            "clear x": _yes(now.carriage_mm[0] <= self._end_mm(0)),
            "clear y": _yes(now.carriage_mm[1] <= self._end_mm(1)),
            f"standing {which}": "no",
        }
        return simple.get(ask.key, "")

    def acts(self, watch: Watch) -> str | None:
        """Press or release a switch, and check whether the program has noticed."""
        what, _, axis = watch.key.partition(" ")
        if what == "power":
            self._beside.power(axis == "on")
            return None if any(watch.happened() for _ in range(LOOKS)) else "nothing"
        if what not in ("press", "release"):
            return "nothing"
        self._beside.press(axis, what == "press")
        if any(watch.happened() for _ in range(LOOKS)):
            return None
        self._beside.press(axis, False)
        return "nothing"

    def _height(self, which: str, pen_down: bool) -> str:
        if which == "touch":
            return "good" if pen_down else "lower"
        return "higher" if pen_down else "good"

    def _end_mm(self, axis: int) -> float:
        return (self._rig.x, self._rig.y)[axis].travel_mm + self._rig.homing.backoff_mm + 1.0

    def _at_zero(self, place_mm: tuple[float, float]) -> bool:
        """Whether each carriage is near its switch."""
        return all(
            axis.endstop == "none" or abs(at - (end if axis.endstop == "max" else 0.0)) <= NEAR_MM
            for axis, at, end in zip(
                (self._rig.x, self._rig.y), place_mm, (self._end_mm(0), self._end_mm(1)), strict=True
            )
        )


def _yes(true: bool) -> str:
    return "yes" if true else "no"
