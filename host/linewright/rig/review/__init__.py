"""A look at the whole rig before anything is switched on: pins, power, driver current, levels, limits, sheet.

The rig file is valid by then (`linewright.rig.checks`); the question now is whether the machine it describes is safe
and can do what it is asked. Each module below looks at one part and yields findings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from linewright.rig.doubts import doubts
from linewright.rig.review import levels, limits, pins, power
from linewright.rig.review.findings import BLOCKING, WEIGHTS, ReviewFinding, Weight

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

__all__ = ["BLOCKING", "WEIGHTS", "ReviewFinding", "Weight", "review"]


def review(rig: Rig) -> list[ReviewFinding]:
    """Everything that can be said about a rig from its file, the worst first.

    Parameters
    ----------
    rig : valid, as `Rig.load` gives it.
    """
    found = [
        *pins.findings(rig),
        *power.findings(rig),
        *levels.findings(rig),
        *limits.findings(rig),
        *(ReviewFinding("doubtful", "rig file", said) for said in doubts(rig)),
    ]
    return sorted(found, key=lambda one: WEIGHTS.index(one.weight))
