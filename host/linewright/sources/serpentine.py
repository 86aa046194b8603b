"""Serpentines: neighbouring lines linked at their ends, so that the pen stays down.

A pen lift takes as long as some centimetres of line. Lines of a hatching end next to each other at the edge of the
filled area, a few pen widths apart; there the pen turns and follows the edge to the next line.

A link adds ink, so both lines are shortened by half of that. All lines are drawn once, less what their links took from
their ends.
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
"""In pen widths: longer links are visible as separate lines in pale hatching (by eye)."""

SLANT: Final = 0.87
"""Largest cosine between a line and its link, 30 degrees: at a sharper angle the pen doubles back on its line."""

SAME_WAY: Final = 0.7
"""Smallest cosine between the directions of two line ends, 45 degrees: they are side by side, not one behind the
other."""

SAMPLES_TO_A_PEN: Final = 4
"""Samples along a link, per pen width, that must be inside."""

LEAST_LEFT: Final = 1.0
"""In pen widths: remaining length of a line between its links."""

_AT_ONCE: Final = 20_000
"""Ends processed at a time; bounds the memory."""


@dataclass(frozen=True, eq=False)
class _Links:
    """Possible links, shortest first.

    Parameters
    ----------
    ends : (n, 2) int64; end ``2 i`` is the first point of line ``i``, end ``2 i + 1`` its last.
    back_mm : (n,) shortening of both lines.
    length_mm : (n,) length of each link.
    """

    ends: Indices
    back_mm: NDArray[np.float64]
    length_mm: NDArray[np.float64]


def linked(lines: Sequence[Points], inside: Inside, pen_mm: float, longest: float = LONGEST) -> list[Points]:
    """Lines joined by links to few strokes, by a walk from neighbour to neighbour.

    Parameters
    ----------
    lines : each (m, 2) float64, mm, of at least two points; closed ones and dots are unchanged.
    inside : tells for points (k, 2), mm, whether a link may pass there.
    longest : longest link, in pen widths.

    Returns
    -------
    list of (m, 2) float64
        Strokes in the order of their first lines. The ink differs from that of the lines by a few hundredths of a
        squared pen width per link.

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
    """Links between neighbouring line ends, inside the area after shortening both lines."""
    none = _Links(np.zeros((0, 2), dtype=np.int64), np.zeros(0), np.zeros(0))
    if not len(lines):
        return none
    drawing = Drawing.from_strokes(lines)
    usable = np.flatnonzero((np.diff(drawing.starts) > 1) & ~drawing.closed())
    number = (2 * usable[:, None] + [0, 1]).ravel()
    at = drawing.points_mm[np.stack((drawing.starts[:-1], drawing.starts[1:] - 1), axis=1)].reshape(-1, 2)[number]
    # Closer to the end than half a pen, the direction is rounding noise.
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
    # Coinciding ends are joined later by tidying, at no cost.
    beside &= (np.abs(cosines) < SLANT).all(axis=0) & (length > 1e-6)
    # A stroke as wide as the pen covers its length times its width; at every turn by an angle t, its round joins add (t
    # / 2 - tan(t / 2)) w^2 / 4: the outer sector less the inner overlap. Both caps, pi / 4 w^2, are gone.
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
    """Strokes along links, from line to line by the shortest remaining link.

    Among links of similar length, the one to the line with the fewest other links is taken.
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
        """From the end of a line: the ends at which further lines are entered, and the shortening at each link."""
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

    # Lines with few neighbours first, because walks from elsewhere miss them.
    first = sorted(range(len(lines)), key=lambda i: (len(onward.get(2 * i, ())) + len(onward.get(2 * i + 1, ())), i))
    for i in first:
        if taken[i]:
            continue
        taken[i] = True
        after, before = walk(2 * i + 1), walk(2 * i)
        # The walk from the first point is drawn in reverse: each line starts where that walk left it.
        fronts, rears = [*(back for _, back in before), 0.0], [*(back for _, back in after), 0.0]
        chain = [(before[k][0] ^ 1, fronts[k + 1], fronts[k]) for k in reversed(range(len(before)))]
        chain.append((2 * i, fronts[0], rears[0]))
        chain += [(there, back, rears[k + 1]) for k, (there, back) in enumerate(after)]
        parts = [_shortened(lines[end // 2][:: 1 - 2 * (end & 1)], front, rear) for end, front, rear in chain]
        strokes.append((min(end // 2 for end, _, _ in chain), np.concatenate(parts)))
    return [stroke for _, stroke in sorted(strokes, key=lambda numbered: numbered[0])]


def _shortened(line: Points, front_mm: float, rear_mm: float) -> Points:
    """A line shortened at both ends."""
    for cut_mm in (front_mm, rear_mm):
        if cut_mm > 0.0:
            k, before, along = -1, 0.0, 0.0
            while along <= cut_mm:  # only a few vertices at the end are visited
                k += 1
                before = along
                along += math.hypot(line[k + 1, 0] - line[k, 0], line[k + 1, 1] - line[k, 1])
            share = (cut_mm - before) / (along - before)
            line = np.concatenate(((line[k] + share * (line[k + 1] - line[k]))[None], line[k + 1 :]))
        line = line[::-1]
    return line
