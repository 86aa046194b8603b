"""Play between a motor and its carriage, and how it is taken up.

A carriage with play ``B`` follows its drive only after each reversal has cost ``B``. In ISO 230-2 that is the reversal
value: the difference between the places reached from one side and from the other. With the sign of the last motion
``s`` the carriage is at ``drive - s B/2``, so the drive has to be at ``place + s B/2``, and to move by ``B`` where
``s`` turns over.

Pen up, that is done before the pen comes down: the last piece of way to a stroke runs in the sense in which the stroke
begins. Pen down, it is spread over the first ``TAKE_UP_MM`` of the axis's way back. The drive is then a known function
of the place: with ``p`` what a play of width ``e = TAKE_UP_MM`` makes of the place ``q``, it is
``q + (B/e) (q - p)``. This is the inverse of the play, made continuous (the inverse of a Prandtl-Ishlinskii operator
with one element: Kuhnen, "Modeling, identification and compensation of complex hysteretic nonlinearities", European
Journal of Control 9, 2003). While it is taken up, the carriage stands; so the pen is never more than ``e`` off, a curve
need not stop where an axis turns round, and trembling by less than ``e`` costs no more than itself.
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
"""Way of an axis over which its play is taken up in mid-stroke: two steps of a common machine (80 steps/mm), a fifth of
what a ruler shows. On a circle of 20 mm radius that is the 0.9 mm of path after the axis turns round."""

APPROACH_SPARE_MM: Final = 0.1
"""How much farther than its play an axis comes from, before a stroke, in the stroke's own sense: twice what combs leave
uncertain. No more, because the carriage is caught where the play ends, and by then the drive should be slow again."""


def follow(drive: Floats, half: float, start: float, restart: tuple[Indices, Floats] | None = None) -> Floats:
    """What a play makes of the places of its drive: ``out = min(max(out, drive - half), drive + half)`` at each.

    Every place is a clamp, and clamps compose into clamps, so a run of n places is done in log2(n) passes over the
    array (prefix doubling) and not in a loop.

    Parameters
    ----------
    drive : (n,) float64.
    half : half of the play.
    start : where the driven part is before the first place.
    restart : indices, and where the driven part is set to there, whatever came before.

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
        # The clamp up to i after the clamp up to i - stride: its bounds are clamped by the later one.
        first_low, first_high = low[:-stride].copy(), high[:-stride].copy()
        low[stride:], high[stride:] = (
            np.minimum(np.maximum(first_low, low[stride:]), high[stride:]),
            np.minimum(np.maximum(first_high, low[stride:]), high[stride:]),
        )
        stride *= 2
    return np.asarray(np.minimum(np.maximum(start, low), high))


def first_sense(place: Floats, starts: Indices, otherwise: int) -> Floats:
    """In which sense each stroke first moves one axis by more than `TAKE_UP_MM`.

    Parameters
    ----------
    place : (n,) float64, mm, of one axis.
    starts : (k + 1,) int64, as in `Drawing`.
    otherwise : for strokes that never do.

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
    """(n,) float64, -1..1: the sense in which an axis is engaged at each place; between those, the play is taken up.

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
    """Where, within segments, a play has been taken up: there the drive's way has a corner that needs a vertex.

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
    # 1e-9 of a segment is rounding: what is that near to a vertex has one.
    at = np.flatnonzero(within & (way != 0.0) & (share > 1e-9) & (share < 1.0 - 1e-9))
    return at, share[at]


@dataclass(frozen=True, eq=False)
class Arrivals:
    """Where pen-up moves end, and in which sense each axis must get there.

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
    """Which arrivals need a place to come from, so that the play is taken up on the way.

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
