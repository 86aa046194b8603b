"""Drift: how far the machine's count of steps and the truth are apart, which only homing again can tell.

A motor that could not follow, or a carriage that was pushed, leaves no trace in the board's count. Homing again at
chosen moments of a drawing shows it: at the start, between pens, at the end. What the switches themselves do not repeat
is part of the figure; `linewright board home` shows how much that is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError, LinkError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

MOMENTS: Final = ("start", "pens", "end")


@dataclass(frozen=True)
class DriftCheck:
    """When to home again, and what is too much.

    Parameters
    ----------
    moments : of `MOMENTS`; none: no check.
    limit_mm : a drawing stops beyond this on either axis.
    """

    moments: frozenset[str] = frozenset()
    limit_mm: float = 0.0

    @classmethod
    def of(cls, rig: Rig, moments: str | None = None, limit_mm: float | None = None) -> DriftCheck:
        """The settings of the rig file, changed by those of the user.

        Parameters
        ----------
        moments : names of `MOMENTS` with commas between, or "none"; None: as the rig file has it.

        Raises
        ------
        InputError : a moment is unknown, the limit is no length, or the rig has no switch to home at.
        """
        chosen: set[str] = set(rig.drift.check)
        if moments is not None:
            chosen = {word.strip() for word in moments.split(",")} - {"none", ""}
        if unknown := sorted(chosen - set(MOMENTS)):
            raise InputError(
                f"a drift check at {unknown[0]!r} is not known", hint=f"write {', '.join(MOMENTS)} or none, with commas"
            )
        limit_mm = rig.drift.limit_mm if limit_mm is None else limit_mm
        if not 0 < limit_mm < float("inf"):
            raise InputError(f"a drift limit of {limit_mm:g} mm is no length", hint="a usual one is 0.1 to 0.5 mm")
        if chosen and rig.x.endstop == rig.y.endstop == "none":
            raise InputError(
                f"the rig '{rig.name}' has no endstops, so its drift cannot be checked",
                hint="leave the check out: --check-drift none",
            )
        return cls(frozenset(chosen), limit_mm)


@dataclass(frozen=True)
class Drift:
    """What homing again has found: count less truth, along each axis.

    Parameters
    ----------
    moment : one of `MOMENTS`.
    x_steps, y_steps : whole motor steps; 0 for an axis without a switch.
    x_mm, y_mm : the same in mm.
    """

    moment: str
    x_steps: int
    y_steps: int
    x_mm: float
    y_mm: float

    @classmethod
    def found(cls, moment: str, homed: Mapping[str, int], rig: Rig) -> Drift:
        """From the report of the board after homing."""
        x, y = homed["x_drift_steps"], homed["y_drift_steps"]
        x_per_mm, y_per_mm = rig.steps_per_mm
        return cls(moment, x, y, round(x / float(x_per_mm), 4), round(y / float(y_per_mm), 4))

    @property
    def words(self) -> str:
        """``x +0.113 mm (9 steps), y 0 mm``."""
        return ", ".join(_axis(name, steps, mm) for name, steps, mm in self._axes())

    def beyond(self, limit_mm: float) -> bool:
        """Whether it is too much."""
        return max(abs(self.x_mm), abs(self.y_mm)) > limit_mm

    def stop_beyond(self, limit_mm: float) -> None:
        """Stop a drawing that has lost its place.

        Raises
        ------
        Drifted
        """
        if self.beyond(limit_mm):
            raise Drifted(
                f"the machine had lost its place: {self.words}; the limit is {limit_mm:g} mm",
                drift=self,
                hint="it is homed again and in place. Look for what held it, or slow it down; what is drawn since the "
                "last check is off by that much. `linewright resume` carries on",
            )

    def _axes(self) -> tuple[tuple[str, int, float], ...]:
        return ("x", self.x_steps, self.x_mm), ("y", self.y_steps, self.y_mm)


class Drifted(LinkError):
    """The machine was further off than allowed. ``drift`` is what homing again has found."""

    def __init__(self, message: str, *, drift: Drift, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.drift = drift


def _axis(name: str, steps: int, mm: float) -> str:
    return f"{name} {mm:+.3f} mm ({steps:+d} steps)" if steps else f"{name} 0 mm"
