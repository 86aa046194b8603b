"""Serpentines: lines that lie side by side, linked at their ends, so that the pen stays down from one to the next.

A lift of the pen takes as long as some centimetres of line. Lines of a hatching end beside each other on the edge of
what they fill, a few widths of the pen apart: there the pen turns round and draws along the edge to the next line.

A link lays ink of its own, so both lines draw back from the edge by half of what it adds. Nothing is dropped: every
line is in one of the strokes, drawn once, short of what its links took from its ends.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.trails import directions_inward

Flags = NDArray[np.bool_]
Inside = Callable[[Points], Flags]

LONGEST: Final = 3.0
"""In pen widths: longer links are seen as lines of their own between pale hatching (by eye)."""

SLANT: Final = 0.87
"""Largest cosine between a line and its link, 30 degrees: at a sharper one the pen doubles back on its own line."""

SAME_WAY: Final = 0.7
"""Least cosine between the ways in which two lines end, 45 degrees: they lie side by side, not one behind the other."""

SAMPLES_TO_A_PEN: Final = 4
"""Places along a link that have to lie inside."""

LEAST_LEFT: Final = 1.0
"""In pen widths: what a line keeps between its links."""

_AT_ONCE: Final = 20_000
"""Ends looked at together; bounds the memory of their neighbours."""


@dataclass(frozen=True, eq=False)
class _Links:
    """Links that may be drawn, shortest first.

    Parameters
    ----------
    ends : (n, 2) int64; end ``2 i`` is the first point of line ``i``, end ``2 i + 1`` its last.
    back_mm : (n,) how far both lines draw back.
    length_mm : (n,)
    """

    ends: Indices
    back_mm: NDArray[np.float64]
    length_mm: NDArray[np.float64]


def linked(lines: Sequence[Points], inside: Inside, pen_mm: float, longest: float = LONGEST) -> list[Points]:
    """Lines joined by links at their ends to as few strokes as a walk from neighbour to neighbour finds.

    Parameters
    ----------
    lines : each (m, 2) float64, mm, of two points or more; closed ones and dots stay as they are.
    inside : of points (k, 2), mm, whether a link may lead through them.
    longest : of a link, in pens.

    Returns
    -------
    list of (m, 2) float64
        Strokes in the order of their first lines. Ink is that of the lines to a few hundredths of a pen's square for
        each link.

    Examples
    --------
    >>> lines = [np.array([[0.0, y], [9.0, y]]) for y in (0.0, 1.0, 2.0)]
    >>> [line] = linked(lines, lambda points: np.ones(len(points), dtype=bool), pen_mm=1.0)
    >>> len(line)
    6
    """
    links = _possible(lines, inside, pen_mm, longest * pen_mm)
    return _walks(lines, links) if len(links.ends) else list(lines)


def _possible(lines: Sequence[Points], inside: Inside, pen_mm: float, longest_mm: float) -> _Links:
    """Links between lines that end side by side, each of them inside once both lines have drawn back."""
    none = _Links(np.zeros((0, 2), dtype=np.int64), np.zeros(0), np.zeros(0))
    if not len(lines):
        return none
    drawing = Drawing.from_strokes(lines)
    usable = np.flatnonzero((np.diff(drawing.starts) > 1) & ~drawing.closed())
    number = (2 * usable[:, None] + [0, 1]).ravel()
    at = drawing.points_mm[np.stack((drawing.starts[:-1], drawing.starts[1:] - 1), axis=1)].reshape(-1, 2)[number]
    # Closer to the end than half a pen, direction is noise of the coordinates.
    out = -directions_inward(drawing, pen_mm / 2.0)[number]
    lengths = np.repeat(drawing.stroke_lengths_mm()[usable], 2)
    if len(usable) < 2:
        return none
    one, other = _neighbours(at, longest_mm)
    one, other = one[one // 2 != other // 2], other[one // 2 != other // 2]
    way = at[other] - at[one]
    length = np.hypot(way[:, 0], way[:, 1])
    u = way / np.maximum(length, 1e-12)[:, None]
    cosines = np.stack(((out[one] * u).sum(axis=1), -(out[other] * u).sum(axis=1)))
    beside = (out[one] * out[other]).sum(axis=1) > SAME_WAY
    # Ends at one place are joined by whoever tidies the drawing, at no cost.
    beside &= (np.abs(cosines) < SLANT).all(axis=0) & (length > 1e-6)
    # A stroke as wide as the pen covers its length times its width, and at every turn by an angle t of its round joins
    # (t / 2 - tan(t / 2)) w^2 / 4 more: the outer sector less the inner overlap. Both caps, pi / 4 w^2, are gone.
    turns = np.arccos(np.clip(cosines, -SLANT, SLANT))
    more = length + pen_mm / 4.0 * ((turns / 2.0 - np.tan(turns / 2.0)).sum(axis=0) - np.pi)
    back = np.maximum(more / 2.0, 0.0)
    beside &= 2.0 * back + LEAST_LEFT * pen_mm <= np.minimum(lengths[one], lengths[other])
    one, other, back, length = one[beside], other[beside], back[beside], length[beside]
    if not len(one):
        return none
    begin, end = at[one] - back[:, None] * out[one], at[other] - back[:, None] * out[other]
    samples = np.ceil(length / pen_mm * SAMPLES_TO_A_PEN).astype(np.int64) + 1
    of = np.repeat(np.arange(len(one)), samples)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(samples) - samples, samples)) / (samples - 1)[of]
    good = np.ones(len(one), dtype=np.bool_)
    np.logical_and.at(good, of, inside(begin[of] + share[:, None] * (end - begin)[of]))
    order = np.flatnonzero(good)
    order = order[np.argsort(length[order], kind="stable")]
    return _Links(number[np.stack((one, other), axis=1)][order], back[order], length[order])


def _neighbours(at: Points, reach_mm: float) -> tuple[Indices, Indices]:
    """Pairs of points within reach, the lower index first."""
    tree = shapely.STRtree(shapely.points(at))
    hits = [
        np.array([[begin], [0]])
        + tree.query(shapely.points(at[begin : begin + _AT_ONCE]), predicate="dwithin", distance=reach_mm)
        for begin in range(0, len(at), _AT_ONCE)
    ]
    one, other = np.concatenate(hits, axis=1)
    by = np.lexsort((other, one))
    one, other = one[by], other[by]
    return one[one < other], other[one < other]


def _walks(lines: Sequence[Points], links: _Links) -> list[Points]:
    """Strokes along links, from line to line by the shortest link that is left.

    Among links of about equal length, the one to the line with the fewest other links is taken.
    """
    onward: dict[int, list[tuple[int, float, float]]] = {}
    for (one, other), back, length in zip(
        links.ends.tolist(), links.back_mm.tolist(), links.length_mm.tolist(), strict=True
    ):
        onward.setdefault(one, []).append((other, back, length))
        onward.setdefault(other, []).append((one, back, length))
    taken = [False] * len(lines)
    strokes: list[tuple[int, Points]] = []

    def choices(end: int) -> list[tuple[int, float, float]]:
        return [found for found in onward.get(end, ()) if not taken[found[0] // 2]]

    def walk(end: int) -> list[tuple[int, float]]:
        """From the end of a line: ends at which further lines are entered, and how far both draw back there."""
        entered = []
        while found := choices(end):
            nearest = found[0][2] * 1.1
            there, back, _ = min(
                (one for one in found if one[2] <= nearest), key=lambda one: (len(choices(one[0] ^ 1)), one[2])
            )
            taken[there // 2] = True
            entered.append((there, back))
            end = there ^ 1
        return entered

    # Lines with few neighbours first: from elsewhere, a walk passes them by.
    first = sorted(range(len(lines)), key=lambda i: (len(onward.get(2 * i, ())) + len(onward.get(2 * i + 1, ())), i))
    for i in first:
        if taken[i]:
            continue
        taken[i] = True
        after, before = walk(2 * i + 1), walk(2 * i)
        # The walk from the first point is drawn the other way round: each line begins where that walk left it.
        fronts, rears = [*(back for _, back in before), 0.0], [*(back for _, back in after), 0.0]
        chain = [(before[k][0] ^ 1, fronts[k + 1], fronts[k]) for k in reversed(range(len(before)))]
        chain.append((2 * i, fronts[0], rears[0]))
        chain += [(there, back, rears[k + 1]) for k, (there, back) in enumerate(after)]
        parts = [_shortened(lines[end // 2][:: 1 - 2 * (end & 1)], front, rear) for end, front, rear in chain]
        strokes.append((min(end // 2 for end, _, _ in chain), np.concatenate(parts)))
    return [stroke for _, stroke in sorted(strokes, key=lambda numbered: numbered[0])]


def _shortened(line: Points, front_mm: float, rear_mm: float) -> Points:
    """A line without so much of both its ends."""
    for cut_mm in (front_mm, rear_mm):
        if cut_mm > 0.0:
            k, before, along = -1, 0.0, 0.0
            while along <= cut_mm:  # only the few vertices at its end are looked at
                k += 1
                before = along
                along += math.hypot(line[k + 1, 0] - line[k, 0], line[k + 1, 1] - line[k, 1])
            share = (cut_mm - before) / (along - before)
            line = np.concatenate(((line[k] + share * (line[k + 1] - line[k]))[None], line[k + 1 :]))
        line = line[::-1]
    return line
