"""The speed passes: the fastest squared speeds that respect every cap and every acceleration budget.

In ``w = v^2`` a segment lets the squared speed grow by at most ``B = 2 a d``. With ``S`` the running sum of the
budgets, the forward pass ``w_i = min_{j <= i} (cap_j - S_j) + S_i`` is one cumulative minimum, and so is the backward
pass. Where the path bends, less is left for speeding up the faster the pen goes; then
``w' = (w + B) / (1 + bend)``, and with ``P_i`` the running product of ``1 + bend`` the scaled ``z_i = w_i P_i`` obeys
the same rule with the budgets ``B_i P_i``: still one cumulative minimum.

The problem is time-optimal path parameterisation in its reachable-set form: Pham and Pham, "A new approach to
time-optimal path parameterization based on reachability analysis", IEEE T-RO 34 (2018).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.motion.kinematics import Floats

Indices = NDArray[np.int64]

CHUNK: Final = 32_768
"""Vertices whose running sums start together. A sum of n terms errs by up to n eps of its value, so a fresh start
every 2^15 vertices keeps w within 1e-11 of the sum's last stretch however long the drawing is; and six arrays of 256 kB
stay in a processor's second cache."""

EXPONENT_ROOM: Final = 200.0
"""Natural logarithm by which ``P`` may grow before it is started afresh: 1e87 times 1e15 is far below the 1e308 of
float64. A full circle takes about 4 pi of it."""


def plan_speeds(cap: Floats, budget: Floats, bend: Floats | None = None) -> Floats:
    """Largest squared speeds with ``w <= cap`` and ``w_i (1 + bend) <= w_j + budget`` between neighbours, both ways.

    Parameters
    ----------
    cap : (n,) float64, finite, >= 0; 0 where the pen stops. Any unit of squared speed.
    budget : (n - 1,) float64, > 0, ``2 a d`` of each segment in that unit.
    bend : (n - 1,) float64, >= 0, or None for no bends. With ``bend <= budget / max(cap at both ends)`` the result
        never changes faster than ``budget`` itself allows; the caller sees to that.

    Returns
    -------
    (n,) float64.

    Examples
    --------
    >>> plan_speeds(np.array([0.0, 9.0, 100.0, 0.0]), np.array([4.0, 4.0, 4.0]))
    array([0., 4., 4., 0.])
    >>> plan_speeds(np.array([5.0]), np.empty(0))
    array([5.])
    """
    w = np.array(cap, dtype=np.float64)
    if len(w) < 2:
        return w
    stretch = None
    if bend is not None and bend.any():
        stretch = np.log1p(bend)
    _forward(w[::-1], budget[::-1], None if stretch is None else stretch[::-1])
    _forward(w, budget, stretch)
    return w


def _forward(w: Floats, budget: Floats, stretch: Floats | None) -> None:
    """One pass in place: ``w_{i+1} = min(w_{i+1}, (w_i + budget_i) exp(-stretch_i))``."""
    edges = np.arange(0, len(budget), CHUNK)
    if stretch is not None:
        total = np.cumsum(stretch)
        if total[-1] > EXPONENT_ROOM:
            marks = np.arange(EXPONENT_ROOM, total[-1], EXPONENT_ROOM)
            edges = np.union1d(edges, np.searchsorted(total, marks))
    for first, last in zip(edges, [*edges[1:], len(budget)], strict=True):
        part = w[first : last + 1]  # the vertex where parts meet is the last of one and the first of the next
        running = np.empty(len(part))
        running[0] = 0.0
        if stretch is None:
            np.cumsum(budget[first:last], out=running[1:])
            part -= running
            np.minimum.accumulate(part, out=part)
            part += running
        else:
            scale = np.empty(len(part))
            scale[0] = 0.0
            np.cumsum(stretch[first:last], out=scale[1:])
            np.exp(scale, out=scale)
            np.cumsum(budget[first:last] * scale[:-1], out=running[1:])
            part *= scale
            part -= running
            np.minimum.accumulate(part, out=part)
            part += running
            part /= scale
        np.maximum(part, 0.0, out=part)  # a rest deep in a long sum may come out at -1e-6


def lowest(first: Indices, last: Indices, value: Floats, count: int) -> Floats:
    """(count,) the lowest value of all intervals ``first <= cell < last`` (n,) that cover each cell.

    A sparse table read backwards: an interval of ``d`` cells is two of ``2^k <= d``, and from the longest on every
    level hands its values down to the next.
    """
    length = last - first
    some = length > 0
    if not some.any():
        return np.full(count, np.inf)
    first, last, length, value = first[some], last[some], length[some], value[some]
    level = np.frexp(length.astype(np.float64))[1] - 1
    lowest = np.full(count, np.inf)
    for k in range(int(level.max()), -1, -1):
        half = 1 << k
        mine = level == k
        np.minimum.at(lowest, first[mine], value[mine])
        np.minimum.at(lowest, last[mine] - half, value[mine])
        if k:
            np.minimum(lowest[half // 2 :], lowest[: count - half // 2].copy(), out=lowest[half // 2 :])
    return lowest
