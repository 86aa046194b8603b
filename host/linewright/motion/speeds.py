"""The speed passes: highest squared speeds that keep all caps and acceleration budgets.

Over a segment the squared speed ``w = v^2`` grows by at most ``B = 2 a d``. With ``S`` the running sum of the budgets,
the forward pass ``w_i = min_{j <= i} (cap_j - S_j) + S_i`` is one cumulative minimum, and so is the backward pass.
Where the path turns, less acceleration is left at higher speed; then ``w' = (w + B) / (1 + bend)``, and with ``P_i``
the running product of ``1 + bend`` the scaled ``z_i = w_i P_i`` follows the same rule with budgets ``B_i P_i``, again
one cumulative minimum.

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
"""Vertices per running sum. A sum of n terms has a relative error of up to n eps, so a new sum every 2^15 vertices
keeps w accurate to 1e-11, however long the drawing is. Six arrays of 256 kB fit a processor's second-level cache."""

EXPONENT_ROOM: Final = 200.0
"""Largest natural logarithm of ``P`` before it is restarted: 1e87 times 1e15 is far below the 1e308 of float64. A full
circle takes about 4 pi."""


def plan_speeds(cap: Floats, budget: Floats, bend: Floats | None = None) -> Floats:
    """Highest squared speeds with ``w <= cap`` and ``w_i (1 + bend) <= w_j + budget`` between neighbours, both ways.

    Parameters
    ----------
    cap : (n,) float64, finite, >= 0; 0 where the pen stops. Any unit of squared speed.
    budget : (n - 1,) float64, > 0, ``2 a d`` of each segment in that unit.
    bend : (n - 1,) float64, >= 0, or None for no bends. The caller must keep ``bend <= budget / max(cap at both
        ends)``: then the result never changes faster than ``budget`` allows.

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
        part = w[first : last + 1]  # neighbouring parts share a vertex
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
        np.maximum(part, 0.0, out=part)  # rounding in a long sum may give -1e-6 at a rest


def lowest(first: Indices, last: Indices, value: Floats, count: int) -> Floats:
    """(count,) lowest value of the intervals ``first <= cell < last`` (n,) that cover each cell.

    A sparse table evaluated top down: an interval of ``d`` cells is split into two of length ``2^k <= d``, and each
    level passes its values to the next lower one.
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
        _lower(lowest, first[mine], value[mine])
        _lower(lowest, last[mine] - half, value[mine])
        if k:
            np.minimum(lowest[half // 2 :], lowest[: count - half // 2].copy(), out=lowest[half // 2 :])
    return lowest


def _lower(lowest: Floats, at: Indices, value: Floats) -> None:
    """Lower the cells ``at`` (n,) to these values where they are higher; a cell may be named several times."""
    if len(at) and (at[1:] >= at[:-1]).all():  # several times as fast
        begins = np.flatnonzero(np.append(True, at[1:] != at[:-1]))
        at, value = at[begins], np.minimum.reduceat(value, begins)
        lowest[at] = np.minimum(lowest[at], value)
    else:
        np.minimum.at(lowest, at, value)
