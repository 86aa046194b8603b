"""Drawing a photograph with as many lines as limits of time and ink allow, by the planner's own estimate."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeVar

from linewright import units, wording
from linewright.errors import InputError

J = TypeVar("J")
P = TypeVar("P")

CLOSE: Final = 0.05
"""A drawing is accepted if it is below its limit by at most this share."""

TRIES: Final = 9
"""Most plans; three or four usually suffice."""

LEAST: Final = 0.02
"""Share of ink below which a picture is no longer recognisable."""

_SECONDS: Final = {"h": 3600.0, "min": 60.0, "s": 1.0}


@dataclass(frozen=True)
class Budget:
    """Limits of a drawing.

    Parameters
    ----------
    time_s : drawing time; None: no limit.
    ink_mm : length of all lines; None: no limit.
    """

    time_s: float | None = None
    ink_mm: float | None = None

    def used(self, time_s: float, ink_mm: float) -> float:
        """The larger of the used shares of time and ink."""
        return max(
            0.0 if self.time_s is None else time_s / self.time_s, 0.0 if self.ink_mm is None else ink_mm / self.ink_mm
        )


def read_time_s(words: str) -> float:
    """Seconds of ``20min``, ``90s``, ``1h`` or ``1h30min``.

    Raises
    ------
    InputError
        The text is no time, or is not above 0.

    Examples
    --------
    >>> read_time_s("1h30min")
    5400.0
    """
    parts = re.findall(r"(\d+(?:\.\d+)?)\s*(h|min|s)", words)
    total = sum(float(number) * _SECONDS[unit] for number, unit in parts)
    if not re.fullmatch(r"(\s*\d+(\.\d+)?\s*(h|min|s))+\s*", words) or total <= 0:
        raise InputError(f"{words} is not a drawing time", hint="write it as 20min, 90s or 1h30min")
    return total


def read_ink_mm(words: str) -> float:
    """Millimetres of ``30m``, ``250cm`` or ``800mm``.

    Raises
    ------
    InputError
        The text is no length, or is not above 0.
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(m|cm|mm)\s*", words)
    if not match or float(match[1]) <= 0:
        raise InputError(f"{words} is not a length of line", hint="write it as 30m or 250cm")
    return float(match[1]) * units.MM_PER[match[2]]


def fitted(make: Callable[[float], P], plan: Callable[[P], tuple[J, float, float]], budget: Budget) -> tuple[J, str]:
    """The plan with the most lines within a budget, and a remark for the user.

    Parameters
    ----------
    make : makes the picture with a share of its full ink, above 0 and up to 1.
    plan : plans a picture; returns the plan, its time in s and the length of its lines in mm.

    Raises
    ------
    InputError
        Even the palest picture exceeds the budget.
    """
    low, high = 0.0, 1.0
    best: tuple[J, float] | None = None
    before: tuple[float, float] | None = None
    share = 1.0
    needs_s = 0.0
    for _ in range(TRIES):
        job, time_s, ink_mm = plan(make(share))
        needs_s = time_s
        used = budget.used(time_s, ink_mm)
        if used <= 1 and (best is None or share > best[1]):
            best = job, share
        if used <= 1 and (share == 1 or used >= 1 - CLOSE):
            break
        low, high = (share, high) if used <= 1 else (low, share)
        # Model the need as a power of the share, fitted to the last two plans, and aim at the middle of the accepted
        # range; bisect if that leaves the known bounds.
        power = math.log(used / before[1]) / math.log(share / before[0]) if before and before[1] > 0 else 1.0
        before = share, used
        aimed = share * ((1 - CLOSE / 2) / used) ** (1 / power) if used > 0 and power > 0.05 else 0.0
        share = aimed if low < aimed < high else (low + high) / 2
        if share < LEAST:
            break
    if best is None:
        raise InputError(
            f"its palest drawing takes {wording.duration(needs_s)}",
            hint="allow more, use a smaller sheet, or a method with fewer strokes",
        )
    if best[1] == 1:
        return best[0], "the full drawing is within the limit; a higher limit changes nothing"
    return best[0], f"drawn with {best[1]:.0%} of its ink, to stay within the limit"
