"""Repeatability of approaches to one position: the figures of ISO 230-2, for one axis and one direction.

ISO 230-2:2014 (Test code for machine tools, positioning of numerically controlled axes), clause 3: over n approaches
from the same direction the deviations have a mean, an estimator s of the standard uncertainty, and the unidirectional
repeatability R = 4 s (coverage factor 2 on both sides). The uncertainty of the mean is s / sqrt(n) (JCGM 100:2008,
"GUM", 4.2.3).

A machine that counts steps cannot resolve less than a step: a resolution of d leaves a standard uncertainty of 0.29 d
(GUM, F.2.2.1), so R is never stated better than that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Final

COVERAGE: Final = 4.0
"""R = 4 s: two standard uncertainties on either side (ISO 230-2)."""

LEAST: Final = 5
"""Approaches that ISO 230-2 requires at each position."""


@dataclass(frozen=True)
class Repeatability:
    """Figures of one axis, mm.

    Parameters
    ----------
    count : approaches.
    mean_mm : mean deviation from the first approach.
    s_mm : estimator of the standard uncertainty of one approach.
    mean_uncertainty_mm : standard uncertainty of the mean.
    repeatability_mm : R.
    range_mm : largest minus smallest deviation.
    """

    count: int
    mean_mm: float
    s_mm: float
    mean_uncertainty_mm: float
    repeatability_mm: float
    range_mm: float

    @classmethod
    def of(cls, deviations_mm: Sequence[float], *, step_mm: float = 0.0) -> Repeatability:
        """Figures from the deviations of repeated approaches.

        Parameters
        ----------
        deviations_mm : two or more.
        step_mm : resolution of the machine.

        Raises
        ------
        ValueError
            There are fewer than two deviations, or one is not finite.
        """
        if len(deviations_mm) < 2 or not all(map(math.isfinite, deviations_mm)):
            raise ValueError(f"{len(deviations_mm)} deviations are not two or more finite numbers")
        s = stdev(deviations_mm)
        least = step_mm / math.sqrt(12.0)
        return cls(
            count=len(deviations_mm),
            mean_mm=fmean(deviations_mm),
            s_mm=s,
            mean_uncertainty_mm=s / math.sqrt(len(deviations_mm)),
            repeatability_mm=COVERAGE * max(s, least),
            range_mm=max(deviations_mm) - min(deviations_mm),
        )
