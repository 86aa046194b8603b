"""Drift: the difference between counted and true position, which only homing again reveals.

Lost steps and a pushed carriage do not show in the board's count. Homing again shows them, at chosen moments of a
drawing: at the start, between pens, at the end. The figure includes the scatter of the switches, which `linewright
board home` shows.
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
    """When to home again, and the largest allowed drift.

    Parameters
    ----------
    moments : of `MOMENTS`; none: no check.
    limit_mm : a drawing stops beyond this on either axis.
    """

    moments: frozenset[str] = frozenset()
    limit_mm: float = 0.0

    @classmethod
    def of(cls, rig: Rig, moments: str | None = None, limit_mm: float | None = None) -> DriftCheck:
        """The rig file's settings, replaced by those of the user where given.

        Parameters
        ----------
        moments : names of `MOMENTS` separated by commas, or "none"; None: the rig file's.

        Raises
        ------
        InputError : a moment is unknown, the limit is no length, or the rig has no switch to home at.
        """
        chosen: set[str] = set(rig.drift.check)
        if moments is not None:
            chosen = {word.strip() for word in moments.split(",")} - {"none", ""}
        if unknown := sorted(chosen - set(MOMENTS)):
            raise InputError(
                f"--check-drift {unknown[0]!r} is not a moment of a drawing",
                hint=f"write none, or some of {', '.join(MOMENTS)} separated by commas",
            )
        limit_mm = rig.drift.limit_mm if limit_mm is None else limit_mm
        if not 0 < limit_mm < float("inf"):
            raise InputError(f"a drift limit of {limit_mm:g} mm is not above 0", hint="usual limits are 0.1 to 0.5 mm")
        if chosen and rig.x.endstop == rig.y.endstop == "none":
            raise InputError(
                f"the rig '{rig.name}' has no endstops, so its drift cannot be checked",
                hint="switch the check off with --check-drift none",
            )
        return cls(frozenset(chosen), limit_mm)


@dataclass(frozen=True)
class Drift:
    """Drift found by homing again: counted minus true position, along each axis.

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
        """Drift from the board's report after homing."""
        x, y = homed["x_drift_steps"], homed["y_drift_steps"]
        x_per_mm, y_per_mm = rig.steps_per_mm
        return cls(moment, x, y, round(x / float(x_per_mm), 4), round(y / float(y_per_mm), 4))

    @property
    def words(self) -> str:
        """``x +0.113 mm (9 steps), y 0 mm``."""
        return ", ".join(_axis(name, steps, mm) for name, steps, mm in self._axes())

    def beyond(self, limit_mm: float) -> bool:
        """Whether either axis exceeds the limit."""
        return max(abs(self.x_mm), abs(self.y_mm)) > limit_mm

    def stop_beyond(self, limit_mm: float) -> None:
        """Raise if the drift exceeds the limit.

        Raises
        ------
        Drifted
        """
        if self.beyond(limit_mm):
            raise Drifted(
                f"the machine had lost its position: {self.words}; the limit is {limit_mm:g} mm",
                drift=self,
                hint="it is homed again and in place. Look for what blocked it, or reduce the speed; lines drawn "
                "since the last check may be off by this much. `linewright resume` continues",
            )

    def _axes(self) -> tuple[tuple[str, int, float], ...]:
        return ("x", self.x_steps, self.x_mm), ("y", self.y_steps, self.y_mm)


class Drifted(LinkError):
    """The drift exceeds its limit. ``drift`` is the result of homing again."""

    def __init__(self, message: str, *, drift: Drift, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.drift = drift


def _axis(name: str, steps: int, mm: float) -> str:
    return f"{name} {mm:+.3f} mm ({steps:+d} steps)" if steps else f"{name} 0 mm"
