"""Review of a rig before anything is switched on: pins, power, driver current, levels, limits, sheet.

The rig file is valid at this point (`linewright.rig.checks`). The review checks whether the machine it describes is
safe and can do what is required. Each module below checks one part and yields findings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from linewright.rig.doubts import doubts
from linewright.rig.review import levels, limits, pins, power
from linewright.rig.review.findings import BLOCKING, WEIGHTS, ReviewFinding, Weight

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

__all__ = ["BLOCKING", "WEIGHTS", "ReviewFinding", "Weight", "review"]


RESTS_ON: Final[Mapping[str, tuple[str, ...]]] = {
    "sheet": ("axis.x.travel", "axis.y.travel", "sheet."),
    "pins": ("pins.", "board"),
    "endstops": ("axis.x.endstop", "axis.y.endstop", "supply.switch_v"),
    "levels": ("driver.logic_v",),
    "motor switch": ("supply.motor_v", "supply.power_sense"),
    "motor supply": ("supply.motor", "driver.", "motor."),
    "servo supply": ("supply.servo",),
    "driver current": ("driver.", "motor."),
    "driver voltage": ("driver.", "supply.motor"),
    "enable line": ("driver.",),
    "axis x": ("axis.x.", "motor.a.", "supply.motor", "driver."),
    "axis y": ("axis.y.", "motor.b.", "supply.motor", "driver."),
    "motor A on diagonals": ("axis.", "motor.a.", "supply.motor", "driver."),
    "motor B on diagonals": ("axis.", "motor.b.", "supply.motor", "driver."),
}
"""Keys that each part of the review depends on, by their prefixes."""


def _without(rig: Rig, keys: Sequence[str]) -> Rig:
    """The rig without its assumed figures, where they may be omitted."""
    from linewright.rig.checks import bounds_of

    return rig.changed({key: None for key in keys if bounds_of(type(rig), key).optional})


def _doubted(one: ReviewFinding, keys: Sequence[str]) -> ReviewFinding:
    """A good finding that depends on assumed figures becomes an unknown one."""
    if one.weight != "good":
        return one
    resting = [key for key in keys if key.startswith(RESTS_ON.get(one.about, ()))]
    if not resting:
        return one
    return replace(one, weight="unknown", said=f"{one.said}, based on assumed values: {_list_of(resting)}")


def _list_of(keys: Sequence[str]) -> str:
    return ", ".join(keys[:4]) + (f" and {len(keys) - 4} more" if len(keys) > 4 else "")


def review(rig: Rig) -> list[ReviewFinding]:
    """All findings about a rig, worst first.

    Parameters
    ----------
    rig : valid, as `Rig.load` gives it.
    """
    known = _without(rig, rig.assumed)
    found = [
        *pins.findings(known),
        *power.findings(known),
        *levels.findings(known),
        *limits.findings(known),
        *(ReviewFinding("doubtful", "rig file", said) for said in doubts(rig)),
    ]
    if rig.assumed:
        found = [_doubted(one, rig.assumed) for one in found]
        found.append(
            ReviewFinding(
                "unknown",
                "rig file",
                f"{len(rig.assumed)} values are assumed, those of common parts: {_list_of(rig.assumed)}",
                why="they were not measured on this machine, so no result that depends on them is called good",
                do="measure the values, write them into the rig file, and remove their keys from its list 'assumed'",
            )
        )
    return sorted(found, key=lambda one: WEIGHTS.index(one.weight))
