"""Traces thin pixel lines to polylines: chains between ends and junctions, continued straight through crossings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points

Chain = NDArray[np.float64]
"""(n, 2) pixel coordinates (x, y), integer at pixel centres; a closed one ends where it begins."""

STRAIGHT_COSINE: Final = 0.5
"""Two arms of a junction are one line if they turn by less than 60 degrees."""

ARM_PX: Final = 8
"""Pixels over which the direction of an arm is measured; thinning bends it next to the junction."""

TOUCHING_PX: Final = 2
"""Largest distance, along the line, of junction pixels of one fork."""

# Neighbours of a pixel: sides first, so that a chain prefers them to the corner behind them.
_STEPS: Final = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, -1), (-1, 1))


def chains(thin: NDArray[np.bool_], *, joint_px: float = 2.0, spur_px: float = 0.0) -> list[Chain]:
    """Trace lines of one pixel width.

    Parameters
    ----------
    thin : (h, w) a skeleton.
    joint_px : junctions closer than this along the line are merged: thick lines that cross at a slant leave
        two, with a short bridge between.
    spur_px : shorter side branches are dropped: they come from bumps of a thick line's edge.
    """
    pixels, links = _graph(thin)
    if not len(pixels):
        return []
    arms, ends = _arms(links)
    if spur_px > 0:
        arms, ends = _pruned(pixels, links, arms, ends, spur_px)
    hub, bridge = _hubs(arms, ends, links, joint_px)
    return _joined(pixels, arms, ends, hub, bridge)


def _graph(thin: NDArray[np.bool_]) -> tuple[NDArray[np.float64], list[list[int]]]:
    """Pixels as (n, 2) x, y, and the numbers of each one's neighbours.

    A corner neighbour is not linked if a side neighbour leads to it; otherwise every bend would be a junction.
    """
    rows, columns = np.nonzero(thin)
    number = np.full((thin.shape[0] + 2, thin.shape[1] + 2), -1, dtype=np.int64)
    number[rows + 1, columns + 1] = np.arange(len(rows))
    near = np.stack([number[rows + 1 + dy, columns + 1 + dx] for dy, dx in _STEPS], axis=1)
    for k in range(4, 8):
        dy, dx = _STEPS[k]
        by_side = (number[rows + 1 + dy, columns + 1] >= 0) | (number[rows + 1, columns + 1 + dx] >= 0)
        near[by_side, k] = -1
    links = [[one for one in row if one >= 0] for row in near.tolist()]
    return np.column_stack((columns, rows)).astype(np.float64), links


def _arms(links: list[list[int]]) -> tuple[list[list[int]], list[tuple[int, int]]]:
    """Runs of pixels between nodes (ends and junctions), nodes included, and the nodes at both ends; -1: a ring."""
    is_node = [len(near) != 2 for near in links]
    used: set[tuple[int, int]] = set()
    seen = [False] * len(links)
    arms: list[list[int]] = []
    ends: list[tuple[int, int]] = []
    for start, near in enumerate(links):
        if not is_node[start]:
            continue
        seen[start] = True
        if not near:
            arms.append([start])
            ends.append((start, start))
        for first in near:
            if (start, first) in used:
                continue
            arm, before, here = [start, first], start, first
            while not is_node[here]:
                seen[here] = True
                a, b = links[here]
                before, here = here, (b if a == before else a)
                arm.append(here)
            used.add((start, first))
            used.add((here, before))
            arms.append(arm)
            ends.append((start, here))
    for start in range(len(links)):
        if seen[start]:
            continue
        ring, before, here = [start], -1, start
        while not seen[here]:
            seen[here] = True
            a, b = links[here]
            before, here = here, (b if a == before else a)
            ring.append(here)
        arms.append(ring)
        ends.append((-1, -1))
    return arms, ends


def _pruned(
    pixels: NDArray[np.float64], links: list[list[int]], arms: list[list[int]], ends: list[tuple[int, int]], spur: float
) -> tuple[list[list[int]], list[tuple[int, int]]]:
    """Without arms shorter than ``spur`` pixels that have one free end and one end at a junction."""
    keep = []
    for arm, (a, b) in zip(arms, ends, strict=True):
        loose = a >= 0 and sorted((len(links[a]), len(links[b])))[0] == 1 and max(len(links[a]), len(links[b])) > 2
        keep.append(not (loose and _length(pixels[arm]) < spur))
    return [a for a, k in zip(arms, keep, strict=True) if k], [e for e, k in zip(ends, keep, strict=True) if k]


def _hubs(
    arms: list[list[int]], ends: list[tuple[int, int]], links: list[list[int]], joint: float
) -> tuple[dict[int, int], list[bool]]:
    """Groups of junction pixels by a common number, and which arms are only bridges within a group."""
    leader: dict[int, int] = {}

    def lead(node: int) -> int:
        while leader.setdefault(node, node) != node:
            node = leader[node]
        return node

    bridge = [False] * len(arms)
    crossed: set[int] = set()
    # Shortest first. Touching pixels are always one junction; farther apart, at most two forks are merged to a
    # crossing, otherwise a whole blot would become a star.
    for i in sorted(range(len(arms)), key=lambda i: len(arms[i])):
        a, b = ends[i]
        if a < 0 or a == b or len(links[a]) < 3 or len(links[b]) < 3 or len(arms[i]) - 1 > joint:
            continue
        one, other = lead(a), lead(b)
        if len(arms[i]) - 1 > TOUCHING_PX:
            if one in crossed or other in crossed:
                continue
            crossed |= {one, other}
        bridge[i] = True
        leader[one] = other
    return {node: lead(node) for a, b in ends if a >= 0 for node in (a, b)}, bridge


def _joined(
    pixels: NDArray[np.float64],
    arms: list[list[int]],
    ends: list[tuple[int, int]],
    hub: dict[int, int],
    bridge: list[bool],
) -> list[Chain]:
    """Arms joined through their junctions, the straightest pairs first."""
    lines = [pixels[arm] for arm in arms]
    at_hub: dict[int, list[tuple[int, int]]] = {}
    members: dict[int, set[int]] = {}
    for i, (a, b) in enumerate(ends):
        if a < 0 or bridge[i]:
            continue
        for side, node in ((0, a), (1, b)):
            at_hub.setdefault(hub[node], []).append((i, side))
            members.setdefault(hub[node], set()).add(node)
    goes_on: dict[tuple[int, int], tuple[int, int]] = {}
    middle: dict[int, NDArray[np.float64]] = {}
    for where, tips in at_hub.items():
        middle[where] = pixels[list(members[where])].mean(axis=0)
        if len(tips) < 2:
            continue
        out = [_direction(lines[i], side) for i, side in tips]
        pairs = [
            (float(out[p] @ out[q]), p, q)
            for p in range(len(tips))
            for q in range(p)
            if tips[p][0] != tips[q][0] or len(tips) == 2
        ]
        taken: set[int] = set()
        for cosine, p, q in sorted(pairs):
            if (cosine > -STRAIGHT_COSINE and len(tips) > 2) or p in taken or q in taken:
                continue
            taken |= {p, q}
            goes_on[tips[p]], goes_on[tips[q]] = tips[q], tips[p]
    found: list[Chain] = []
    done = [b or ends[i][0] < 0 for i, b in enumerate(bridge)]
    found += [lines[i] for i, (a, _) in enumerate(ends) if a < 0 and not bridge[i]]
    # Open lines start at free tips; the remaining ones are rings through junctions.
    tips_first = [(i, s) for i in range(len(arms)) if not done[i] for s in (0, 1) if (i, s) not in goes_on]
    for start in [*tips_first, *((i, 0) for i in range(len(arms)))]:
        if done[start[0]]:
            continue
        parts: list[Chain] = []
        i, side = start
        while not done[i]:
            done[i] = True
            parts.append(
                _centred(lines[i] if side == 0 else lines[i][::-1], ends[i][:: 1 if side == 0 else -1], hub, middle)
            )
            step = goes_on.get((i, 1 - side))
            if step is None:
                break
            i, side = step
        line = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
        found.append(line)
    return found


def _centred(line: Chain, nodes: tuple[int, ...], hub: dict[int, int], middle: dict[int, NDArray[np.float64]]) -> Chain:
    """The line extended to the centres of its junctions."""
    line = line.copy()
    line[0] = middle.get(hub[nodes[0]], line[0])
    line[-1] = middle.get(hub[nodes[1]], line[-1])
    return line


def _direction(line: Chain, side: int) -> NDArray[np.float64]:
    """Unit vector from an end of a line into it."""
    from_end = line if side == 0 else line[::-1]
    way = (
        from_end[min(ARM_PX, len(from_end) - 1)] - from_end[min(2, len(from_end) - 1) if len(from_end) > ARM_PX else 0]
    )
    length = float(np.hypot(*way))
    return np.asarray(way / length) if length > 0 else np.zeros(2)


def _length(line: Chain) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0


def smooth(line: Chain, sigma_px: float) -> Chain:
    """A traced line with pixel steps removed by a Gaussian along it; ends are kept, rings are periodic."""
    from scipy import ndimage

    if len(line) < 4 or sigma_px <= 0:
        return line
    if (line[0] == line[-1]).all():
        ring = ndimage.gaussian_filter1d(line[:-1], sigma_px, axis=0, mode="wrap")
        return np.concatenate((ring, ring[:1]))
    # Point reflection at its ends keeps them and the direction there.
    reach = min(len(line) - 1, int(4 * sigma_px) + 1)
    head, tail = 2 * line[0] - line[reach:0:-1], 2 * line[-1] - line[-2 : -reach - 2 : -1]
    whole = ndimage.gaussian_filter1d(np.concatenate((head, line, tail)), sigma_px, axis=0)
    return np.asarray(whole[len(head) : len(head) + len(line)])


def to_strokes(lines: list[Chain], pixel_mm: tuple[float, float], tolerance_mm: float, least_mm: float) -> list[Points]:
    """Chains in mm on the picture, simplified, without those shorter than ``least_mm``."""
    placed = [(line + 0.5) * pixel_mm for line in lines]
    long = [points for points in placed if len(points) > 1 and _length(points) >= max(least_mm, 1e-6)]
    return simplified(long, tolerance_mm, keeps_shape=True)


def simplified(lines: Sequence[Points], tolerance_mm: float, *, keeps_shape: bool = False) -> list[Points]:
    """Lines without the vertices that they pass within a tolerance anyway (Douglas and Peucker 1973).

    All at once, because one call per line would take longer than the simplification itself.

    Parameters
    ----------
    lines : each (m, 2), m >= 2.
    keeps_shape : no line is simplified until it crosses itself or is a point.
    """
    import shapely

    if not len(lines):
        return []
    of_line = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    whole = shapely.linestrings(np.concatenate(lines), indices=of_line)
    simple = shapely.simplify(whole, tolerance_mm, preserve_topology=keeps_shape)
    points, of_point = shapely.get_coordinates(simple, return_index=True)
    cuts = [0, *(np.flatnonzero(np.diff(of_point)) + 1).tolist(), len(points)]
    return [points[begin:end] for begin, end in pairwise(cuts)]
