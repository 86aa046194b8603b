"""Least squares for a few unknowns, with uncertainties.

Gauss and Newton's iteration on weighted residuals. The standard uncertainty of an unknown is the square root of the
diagonal element of ``(J^T W J)^-1`` (JCGM 100:2008, "Guide to the expression of uncertainty in measurement", and any
text on least squares), with the larger of two scatters: the resolution of the ruler, and the residuals if there are
more measurements than unknowns. The stated uncertainty is three times that and covers 99.7 % of normally distributed
errors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COVERAGE: Final = 3.0
"""Stated uncertainty, in standard uncertainties."""

ROUNDS: Final = 25
"""Most iterations: the models are nearly linear and converge in three."""

READING_SHARE: Final = 0.6
"""Standard uncertainty of a length, in units of the reading of both its ends. Rounding has 1 / sqrt(12) = 0.29 (JCGM
100:2008, 4.3.7) at each end, placing the ruler as much again: sqrt(4) x 0.29."""


@dataclass(frozen=True, eq=False)
class Solution:
    """Result of a fit.

    Parameters
    ----------
    values : (p,) float64.
    stated : (p,) float64, stated uncertainties.
    residuals : (m,) float64, measured minus fitted, in the unit of the measurements.
    scatter : standard uncertainty of one measurement, as used.
    """

    values: Floats
    stated: Floats
    residuals: Floats
    scatter: float


def solve(
    model: Callable[[Floats], Floats],
    measured: Floats,
    start: Floats,
    scatter: float,
    *,
    scale: Floats | float = 1.0,
) -> Solution:
    """Find the unknowns of a model that fit measurements best.

    Parameters
    ----------
    model : unknowns (p,) to predictions (m,), m >= p.
    measured : (m,) float64.
    start : (p,) float64, initial values.
    scatter : standard uncertainty of each measurement, > 0.
    scale : (p,) float64 or one number, magnitude of the unknowns; derivatives use steps of a millionth of it.
    """
    values = np.array(start, dtype=np.float64)
    for _ in range(ROUNDS):
        here = model(values)
        slopes = _slopes(model, values, scale)
        step = np.linalg.lstsq(slopes, measured - here, rcond=None)[0]
        values = values + step
        if (np.abs(step) < 1e-10 * np.asarray(scale)).all():
            break
    residuals = measured - model(values)
    free = len(measured) - len(values)
    seen = float(np.sqrt(np.sum(residuals**2) / free)) if free > 0 else 0.0
    used = max(scatter, seen)
    inverse = np.linalg.pinv(slopes.T @ slopes)
    return Solution(values, COVERAGE * used * np.sqrt(np.diag(inverse)), residuals, used)


def _slopes(model: Callable[[Floats], Floats], at: Floats, scale: Floats | float) -> Floats:
    """(m, p) derivatives by central differences."""
    steps = 1e-6 * np.broadcast_to(np.asarray(scale, dtype=np.float64), at.shape)
    columns = []
    for i, step in enumerate(steps):
        shift = np.zeros(len(at))
        shift[i] = step
        columns.append((model(at + shift) - model(at - shift)) / (2.0 * step))
    return np.column_stack(columns)
