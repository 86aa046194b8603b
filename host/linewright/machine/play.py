"""Backlash between a motor and its carriage, and its compensation.

A carriage with backlash ``B`` follows its drive only after each reversal has moved the drive by ``B``. ISO 230-2 calls
this the reversal value: the difference between the positions reached from the two sides. With ``s`` the sign of the
last motion, the carriage is at ``drive - s B/2``, so the drive must be at ``place + s B/2`` and must move by ``B`` when
``s`` changes.

With the pen up, backlash is taken up before the pen is lowered: the last part of the move to a stroke runs in the
direction in which the stroke begins. With the pen down, it is spread over the first ``TAKE_UP_MM`` after a reversal.
The drive position is then a function of the place ``q``: with ``p`` the output of a play operator of width ``e =
TAKE_UP_MM`` for the input ``q``, it is ``q + (B/e) (q - p)``. This is the inverse of the backlash, made continuous (the
inverse of a Prandtl-Ishlinskii operator with one element: Kuhnen, "Modeling, identification and compensation of complex
hysteretic nonlinearities", European Journal of Control 9, 2003). The carriage stands still while backlash is taken up.
The pen is therefore never more than ``e`` off, a curve need not stop where an axis reverses, and oscillations smaller
than ``e`` are not amplified.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int64]

TAKE_UP_MM: Final = 0.02
"""Distance over which backlash is taken up within a stroke: two steps at 80 steps/mm, a fifth of what a ruler shows. On
a circle of 20 mm radius this is the first 0.9 mm of path after the axis reverses."""

APPROACH_SPARE_MM: Final = 0.1
"""Approach distance beyond the backlash before a stroke, in the stroke's direction: twice the uncertainty of a comb
measurement. It is small, because the carriage is picked up where the backlash ends and the drive should be slow by
then."""


def follow(drive: Floats, half: float, start: float, restart: tuple[Indices, Floats] | None = None) -> Floats:
    """Output of a play operator for drive positions: ``out = min(max(out, drive - half), drive + half)`` at each.

    Each position is a clamp, and clamps compose to clamps, so n positions take log2(n) vectorised passes (prefix
    doubling).

    Parameters
    ----------
    drive : (n,) float64.
    half : half of the backlash.
    start : output before the first position.
    restart : indices at which the output is reset, and its values there.

    Returns
    -------
    (n,) float64

    Examples
    --------
    >>> follow(np.array([0.0, 1.0, 0.5, 0.0, -1.0]), 0.25, 0.0)
    array([ 0.  ,  0.75,  0.75,  0.25, -0.75])
    """
    low, high = drive - half, drive + half
    if restart is not None:
        low[restart[0]] = high[restart[0]] = restart[1]
    stride = 1
    while stride < len(low):
        # Compose the clamp up to i - stride with the clamp up to i: its bounds are clamped by the later one.
        first_low, first_high = low[:-stride].copy(), high[:-stride].copy()
        low[stride:], high[stride:] = (
            np.minimum(np.maximum(first_low, low[stride:]), high[stride:]),
            np.minimum(np.maximum(first_high, low[stride:]), high[stride:]),
        )
        stride *= 2
    return np.asarray(np.minimum(np.maximum(start, low), high))


def first_sense(place: Floats, starts: Indices, otherwise: int) -> Floats:
    """Direction in which each stroke first moves one axis by more than `TAKE_UP_MM`.

    Parameters
    ----------
    place : (n,) float64, mm, of one axis.
    starts : (k + 1,) int64, as in `Drawing`.
    otherwise : value for strokes that never do.

    Returns
    -------
    (k,) float64: 1 or -1
    """
    way = place - np.repeat(place[starts[:-1]], np.diff(starts))
    far = np.abs(way) > TAKE_UP_MM
    n = len(place)
    first = np.minimum.reduceat(np.where(far, np.arange(n), n), starts[:-1])
    return np.where(first < n, np.sign(way[np.minimum(first, n - 1)]), float(otherwise))


def lag(place: Floats, starts: Indices, sense: Floats) -> Floats:
    """(n,) float64, -1..1: side on which the backlash is taken up at each position; values in between while it is being
    taken up.

    Parameters
    ----------
    place : (n,) float64, mm, of one axis.
    starts : (k + 1,) int64, as in `Drawing`; strokes begin engaged.
    sense : (k,) float64, of each stroke's beginning: see `first_sense`.
    """
    half = TAKE_UP_MM / 2.0
    begin = starts[:-1]
    behind = follow(place, half, float(place[0]), (begin, place[begin] - sense * half))
    return np.clip((place - behind) / half, -1.0, 1.0)


def engaged_at(place: Floats, starts: Indices, sense: Floats) -> tuple[Indices, Floats]:
    """Positions within segments at which backlash has been taken up: the drive's path has a corner there, which needs a
    vertex.

    Parameters
    ----------
    place, starts, sense : as for `lag`.

    Returns
    -------
    (m,) int64 index of the segment's first vertex, (m,) float64 share of the segment, strictly between 0 and 1
    """
    half = TAKE_UP_MM / 2.0
    behind = place - lag(place, starts, sense) * half
    within = np.ones(len(place) - 1, dtype=np.bool_)
    within[starts[1:-1] - 1] = False
    way = np.diff(place)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        share = (behind[:-1] + np.sign(way) * half - place[:-1]) / way
    # Closer than 1e-9 of a segment to a vertex is rounding; the vertex is there already.
    at = np.flatnonzero(within & (way != 0.0) & (share > 1e-9) & (share < 1.0 - 1e-9))
    return at, share[at]


@dataclass(frozen=True, eq=False)
class Arrivals:
    """Ends of pen-up moves, and the direction in which each axis must arrive there.

    Parameters
    ----------
    at : (m,) int64, vertex of the path; its move comes from the vertex before it.
    sense : (m, 2) float64, 1, -1, or 0 where the axis has no play.
    """

    at: Indices
    sense: Floats


def detours(
    points_mm: Floats, arrivals: Arrivals, play_mm: Floats, low_mm: Floats, high_mm: Floats
) -> tuple[Indices, Floats]:
    """Arrivals that need an intermediate position, so that the move takes up the backlash.

    Parameters
    ----------
    points_mm : (n, 2) float64, the drives' places along the path.
    arrivals : all of them.
    play_mm : (2,) float64, per axis.
    low_mm, high_mm : (2,) float64, where the drives may go.

    Returns
    -------
    (m,) int64 those vertices, ascending, and (m, 2) float64 the places to come from, mm
    """
    end = points_mm[arrivals.at]
    way = (end - points_mm[arrivals.at - 1]) * arrivals.sense
    short = (arrivals.sense != 0.0) & (way < play_mm)
    via = np.clip(np.where(short, end - arrivals.sense * (play_mm + APPROACH_SPARE_MM), end), low_mm, high_mm)
    needs = np.flatnonzero(short.any(axis=1))
    needs = needs[np.argsort(arrivals.at[needs])]
    return arrivals.at[needs], via[needs]
