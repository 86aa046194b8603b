"""Inner loops of the tour search, in the subset of Python that numba compiles.

Without numba the same functions run on lists instead of arrays and give bit-identical results: they use only IEEE
additions, multiplications, divisions, square roots, and 32-bit integer random numbers.

A tour is a ring of strokes. Stroke ``s`` has the ends (nodes) ``2 s`` and ``2 s + 1``; ``tour`` lists nodes with the
two ends of a stroke next to each other, the first at an even place, and ``pos`` is its inverse. The *link* of a node is
the pen-up move at its end: from an odd place to the next, from an even one to the previous. So every node has one link
and one stroke, and every change of the tour is a sequence of reversals of arcs of whole strokes.

All kernels are in one module, because numba's cache checks the age of the file with the function, but not of files with
functions that it calls.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Final, NamedTuple

from linewright.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import MutableSequence, Sequence

    Numbers = Sequence[float]
    Whole = Sequence[int]
    Places = MutableSequence[int]

LEAF: Final = 8
"""Points per leaf of the box tree: fewer make the tree larger, more make the scans longer; 4 to 16 were equally
fast."""

LOG: Final = 4096
"""Reversals that can be undone; a search that needs more after one kick stops."""

_LEAST: Final = 1e-12
"""Smaller gains are rounding errors in sums of a few hundred mm or s."""

_DEPTH: Final = 64
"""Stack size of a tree search: two entries per level, at most 31 levels."""


class TourState(NamedTuple):
    """A tour and the tables of its search.

    Parameters
    ----------
    tour, pos : nodes in their order, and the place of each node.
    xs, ys : of each node, mm.
    c : as in `cost.Cost.figures`.
    free : the node to and from which moves cost nothing, if the pen may end anywhere; -1: none.
    near, near_cost : ``near_count`` near neighbours of each node, cheapest first, and their costs.
    """

    tour: Places
    pos: Places
    xs: MutableSequence[float]
    ys: MutableSequence[float]
    c: Numbers
    free: int
    near: Places
    near_cost: MutableSequence[float]
    near_count: int


class Workspace(NamedTuple):
    """Working memory of a search.

    Parameters
    ----------
    breadth : neighbours tried for the third link.
    queue, queued : ring buffer of nodes to be improved, and whether a node is in it.
    log : number of entries, then the reversals that can be undone.
    ends : number of entries, then the nodes that the last change touched.
    """

    breadth: int
    queue: Places
    queued: Places
    log: Places
    ends: Places


class ClosedStrokes(NamedTuple):
    """Vertices at which closed strokes may be entered.

    Parameters
    ----------
    starts : the vertices of stroke s are ``starts[s]`` to ``starts[s + 1]`` of ``x``, ``y``; none for open strokes.
    x, y : of each vertex, mm.
    entry : (strokes,) vertex at which each is entered.
    """

    starts: Whole
    x: Numbers
    y: Numbers
    entry: Places


@compiled
def cost(dx: float, dy: float, c: Numbers) -> float:
    """Cost of a pen-up move by (dx, dy) mm; ``c`` as in `cost.Cost.figures`."""
    if c[8] != 0.0:
        return sqrt(dx * dx + dy * dy)
    x, y = abs(dx), abs(dy)
    p = max(x * c[0], y * c[1], abs(dx * c[2] + dy * c[3]), abs(dx * c[4] + dy * c[5]))
    q = max(x * c[6], y * c[7])
    if q >= p * p:
        return 2.0 * sqrt(q)
    return p + q / p


@compiled
def _least_cost(x: float, y: float, c: Numbers) -> float:
    """Lower bound of the cost of a move by at least x and y, both >= 0; ignores step rates, which depend on signs."""
    if c[8] != 0.0:
        return sqrt(x * x + y * y)
    p = max(x * c[0], y * c[1])
    q = max(x * c[6], y * c[7])
    if q >= p * p:
        return 2.0 * sqrt(q)
    return p + q / p


@compiled
def _between(i: int, j: int, xs: Numbers, ys: Numbers, c: Numbers, free: int) -> float:
    """Cost of the move between two nodes; 0 to or from the node ``free``, used if the pen may end anywhere."""
    if free in (i, j):
        return 0.0
    return cost(xs[i] - xs[j], ys[i] - ys[j], c)


@compiled
def nearest(points: Whole, other: Whole, boxes: Numbers, leaves: int, state: TourState) -> None:
    """Find the cheapest neighbours of each of ``points``; fills its row of ``state.near`` and ``state.near_cost``.

    ``boxes`` holds x0, y0, x1, y1 of each node of a heap-shaped tree over the points in the given order, `LEAF` per
    leaf (see `boxes.box_tree`). A node itself and its ``other`` are left out; rows end with -1.
    """
    xs, ys, c = state.xs, state.ys, state.c
    near, near_cost, count = state.near, state.near_cost, state.near_count
    n = len(points)
    stack = [0] * _DEPTH
    bound = [0.0] * _DEPTH
    for row in range(n):
        i = points[row]
        x, y, not_this = xs[i], ys[i], other[i]
        begin = i * count
        found = 0
        stack[0], bound[0], top = 1, 0.0, 1
        while top > 0:
            top -= 1
            node = stack[top]
            if found == count and bound[top] >= near_cost[begin + count - 1]:
                continue
            if node >= leaves:
                first = (node - leaves) * LEAF
                for at in range(first, min(first + LEAF, n)):
                    j = points[at]
                    if j in (i, not_this):
                        continue
                    d = cost(xs[j] - x, ys[j] - y, c)
                    if found < count:
                        k = begin + found
                        found += 1
                    elif d < near_cost[begin + count - 1]:
                        k = begin + count - 1
                    else:
                        continue
                    while k > begin and near_cost[k - 1] > d:
                        near[k], near_cost[k] = near[k - 1], near_cost[k - 1]
                        k -= 1
                    near[k], near_cost[k] = j, d
                continue
            for child in (2 * node, 2 * node + 1):
                b = 4 * child
                if boxes[b] > boxes[b + 2]:  # empty
                    continue
                dx = max(boxes[b] - x, x - boxes[b + 2], 0.0)
                dy = max(boxes[b + 1] - y, y - boxes[b + 3], 0.0)
                d = _least_cost(dx, dy, c)
                if found < count or d < near_cost[begin + count - 1]:
                    stack[top], bound[top] = child, d
                    top += 1
            # Push the nearer child last, so that it is searched first.
            if top > 1 and stack[top - 2] == 2 * node and bound[top - 2] < bound[top - 1]:
                stack[top - 2], stack[top - 1] = stack[top - 1], stack[top - 2]
                bound[top - 2], bound[top - 1] = bound[top - 1], bound[top - 2]
        for k in range(begin + found, begin + count):
            near[k], near_cost[k] = -1, 0.0


@compiled
def link_cheapest(ones: Whole, others: Whole, links: Places, far: Places) -> int:
    """Take links in the given order, each if both its ends are free and it closes no ring. Returns the number taken.

    ``far`` holds for each end of a chain the end at its other side.
    """
    taken = 0
    for k in range(len(ones)):
        i, j = ones[k], others[k]
        if links[i] >= 0 or links[j] >= 0 or far[i] == j:
            continue
        links[i], links[j] = j, i
        a, b = far[i], far[j]
        far[a], far[b] = b, a
        taken += 1
    return taken


@compiled
def walk(links: Whole, tour: Places, pos: Places) -> None:
    """Write the nodes of the ring in the order in which strokes and links connect them."""
    node = 0
    for at in range(0, len(tour), 2):
        tour[at], pos[node] = node, at
        tour[at + 1], pos[node ^ 1] = node ^ 1, at + 1
        node = links[node ^ 1]


@compiled
def _flip(a: int, b: int, tour: Places, pos: Places) -> None:
    """Reverse the arc with outer ends ``a`` and ``b``, or the rest of the ring, whichever is shorter.

    A second call undoes the first, in whichever directions both were found.
    """
    n = len(tour)
    i, j = pos[a], pos[b]
    if i & 1:
        i, j = j, i
    length = j - i + 1
    if length < 0:
        length += n
    if 2 * length > n:
        i, j = j + 1, i - 1
        if i == n:
            i = 0
        if j < 0:
            j = n - 1
        length = n - length
    for _ in range(length // 2):
        u, v = tour[i], tour[j]
        tour[i], tour[j] = v, u
        pos[v], pos[u] = i, j
        i += 1
        if i == n:
            i = 0
        j -= 1
        if j < 0:
            j = n - 1


@compiled
def _link(node: int, tour: Whole, pos: Whole) -> int:
    at = pos[node]
    if at & 1:
        at += 1
        return tour[0] if at == len(tour) else tour[at]
    return tour[at - 1]  # index -1 is the last place


@compiled
def _improve(t1: int, state: TourState, work: Workspace) -> float:
    """Make the best change by two or three links that begins with the link of ``t1``; returns the gain, 0 if there is
    none.

    Links (t1, t2), (t3, t4) and perhaps (t5, t6) are removed; (t2, t3), (t4, t5) and (t6, t1), or (t4, t1), are added.
    Each partial gain must be positive (Lin and Kernighan 1973), so only near neighbours are tried. Reversals are
    appended to ``work.log``, touched ends to ``work.ends``; both start with their number of entries.
    """
    tour, pos, xs, ys, c, free = state.tour, state.pos, state.xs, state.ys, state.c, state.free
    near, near_cost, count = state.near, state.near_cost, state.near_count
    breadth, log, ends = work.breadth, work.log, work.ends
    n = len(tour)
    t2 = _link(t1, tour, pos)
    d12 = _between(t1, t2, xs, ys, c, free)
    p2 = pos[t2]
    forward = pos[t1] & 1
    best = _LEAST
    kind = 0
    b3 = b4 = b5 = b6 = -1
    for k in range(t2 * count, (t2 + 1) * count):
        t3 = near[k]
        g1 = d12 - near_cost[k]
        if t3 < 0 or g1 <= _LEAST:
            break
        if t3 == t1:
            continue
        t4 = _link(t3, tour, pos)
        g2 = g1 + _between(t3, t4, xs, ys, c, free)
        p3 = pos[t3]
        rejoins = ((p3 ^ p2) & 1) == 0
        if rejoins:
            g = g2 - _between(t4, t1, xs, ys, c, free)
            if g > best:
                best, kind, b3, b4 = g, 1, t3, t4
        # The arc from t2 on that is reversed (up to t4), or that the new link would close to a separate ring (up to
        # t3).
        last = pos[t4] if rejoins else p3
        span = last - p2 if forward else p2 - last
        if span < 0:
            span += n
        for m in range(t4 * count, t4 * count + breadth):
            t5 = near[m]
            g3 = g2 - near_cost[m]
            if t5 < 0 or g3 <= _LEAST:
                break
            if t5 in (t1, t2, t3):
                continue
            p5 = pos[t5]
            along = p5 - p2 if forward else p2 - p5
            if along < 0:
                along += n
            inside = along <= span
            if rejoins:
                if (((p5 ^ p2) & 1) == 0) == inside:
                    continue
            elif not inside:
                continue
            t6 = _link(t5, tour, pos)
            g = g3 + _between(t5, t6, xs, ys, c, free) - _between(t6, t1, xs, ys, c, free)
            if g > best:
                best, b3, b4, b5, b6 = g, t3, t4, t5, t6
                kind = 2 if rejoins else 3
    if kind == 0:
        return 0.0
    at = log[0]
    if kind < 3:
        _flip(t2, b4, tour, pos)
        log[at + 1], log[at + 2] = t2, b4
        at += 2
        if kind == 2:
            _flip(b4, b6, tour, pos)
            log[at + 1], log[at + 2] = b4, b6
            at += 2
    else:
        turned = ((pos[b6] ^ pos[t1]) & 1) == 0
        f, z = (t2, b3) if forward else (b3, t2)
        x, y = (b5, b6) if pos[b5] & 1 else (b6, b5)
        if not turned:
            _flip(f, z, tour, pos)
            log[at + 1], log[at + 2] = f, z
            at += 2
        _flip(f, x, tour, pos)
        _flip(y, z, tour, pos)
        log[at + 1], log[at + 2] = f, x
        log[at + 3], log[at + 4] = y, z
        at += 4
    log[0] = at
    ends[0] = 4 if kind == 1 else 6
    ends[1], ends[2], ends[3], ends[4] = t1, t2, b3, b4
    ends[5], ends[6] = b5, b6
    return best


@compiled
def _settle(first: int, waiting: int, state: TourState, work: Workspace, keep_log: bool) -> float:
    """Improve at all nodes in the queue and at nodes whose links change, until none is left; returns the gain."""
    queue, queued, log, ends = work.queue, work.queued, work.log, work.ends
    size = len(queue)
    gained = 0.0
    while waiting > 0:
        t1 = queue[first]
        first += 1
        if first == size:
            first = 0
        waiting -= 1
        queued[t1] = 0
        while log[0] < LOG - 8:
            gain = _improve(t1, state, work)
            if gain == 0.0:
                break
            gained += gain
            if not keep_log:
                log[0] = 0
            for e in range(1, ends[0] + 1):
                node = ends[e]
                if queued[node] == 0:
                    queued[node] = 1
                    at = first + waiting
                    queue[at - size if at >= size else at] = node
                    waiting += 1
    return gained


@compiled
def settle_all(state: TourState, work: Workspace) -> float:
    """Improve everywhere until no change by two or three near links gains anything; returns the gain."""
    tour, queue, queued = state.tour, work.queue, work.queued
    n = len(tour)
    for at in range(n):
        queue[at] = tour[at]
        queued[at] = 1
    work.log[0] = 0
    return _settle(0, n, state, work, False)


@compiled
def kick_and_settle(kicks: int, longest: int, chance: Places, state: TourState, work: Workspace) -> float:
    """Swap two neighbouring arcs of the tour at random, improve around, undo it if nothing is gained; returns the gain.

    The swap is the double bridge of Martin, Otto and Felten, "Large-step Markov chains for the traveling salesman
    problem", Complex Systems 5, 1991, kept short (up to ``longest`` strokes an arc), so that a kick costs the same at
    any size. ``chance`` holds the random number, xorshift of 32 bits (G. Marsaglia, "Xorshift RNGs", 2003), and the
    place of the last kick.
    """
    tour, pos, xs, ys, c, free = state.tour, state.pos, state.xs, state.ys, state.c, state.free
    queue, queued, log = work.queue, work.queued, work.log
    n = len(tour)
    total = 0.0
    r, a = chance[0], chance[1]
    for _ in range(kicks):
        r ^= (r << 13) & 0xFFFFFFFF
        r ^= r >> 17
        r ^= (r << 5) & 0xFFFFFFFF
        a = (a + 2 * (r % 100)) % n
        r ^= (r << 13) & 0xFFFFFFFF
        r ^= r >> 17
        r ^= (r << 5) & 0xFFFFFFFF
        one = 1 + (r & 0xFFFF) % longest
        other = 1 + (r >> 16) % longest
        f, x = tour[a], tour[(a + 2 * one - 1) % n]
        y, z = tour[(a + 2 * one) % n], tour[(a + 2 * (one + other) - 1) % n]
        before, after = _link(f, tour, pos), _link(z, tour, pos)
        net = _between(before, f, xs, ys, c, free) + _between(x, y, xs, ys, c, free)
        net += _between(z, after, xs, ys, c, free) - _between(before, y, xs, ys, c, free)
        net -= _between(z, f, xs, ys, c, free) + _between(x, after, xs, ys, c, free)
        _flip(f, z, tour, pos)
        _flip(f, x, tour, pos)
        _flip(y, z, tour, pos)
        log[1], log[2], log[3], log[4], log[5], log[6] = f, z, f, x, y, z
        log[0] = 6
        waiting = 0
        for node in (before, f, x, y, z, after):
            if queued[node] == 0:
                queued[node] = 1
                queue[waiting] = node
                waiting += 1
        net += _settle(0, waiting, state, work, True)
        if net < 0.0:
            for at in range(log[0], 0, -2):
                _flip(log[at - 1], log[at], tour, pos)
        else:
            total += net
    chance[0], chance[1] = r, a
    return total


@compiled
def reenter(closed: ClosedStrokes, state: TourState) -> float:
    """Enter every closed stroke at its best vertex, given the moves to and from it; returns the gain.

    The vertex is stored in ``closed.entry``, its position in ``state.xs`` and ``state.ys``.
    """
    tour, xs, ys, c, free = state.tour, state.xs, state.ys, state.c, state.free
    ring_starts, ring_x, ring_y, entry = closed.starts, closed.x, closed.y, closed.entry
    n = len(tour)
    gained = 0.0
    for at in range(0, n, 2):
        s = tour[at] >> 1
        first, end = ring_starts[s], ring_starts[s + 1]
        if first == end:
            continue
        before, after = tour[at - 1], tour[0] if at + 2 == n else tour[at + 2]
        old = _between(before, tour[at], xs, ys, c, free) + _between(tour[at], after, xs, ys, c, free)
        best, chosen = old - _LEAST, -1
        for v in range(first, end):
            d = 0.0 if before == free else cost(xs[before] - ring_x[v], ys[before] - ring_y[v], c)
            if d < best and after != free:
                d += cost(xs[after] - ring_x[v], ys[after] - ring_y[v], c)
            if d < best:
                best, chosen = d, v
        if chosen >= 0:
            gained += old - best
            entry[s] = chosen - first
            xs[2 * s] = xs[2 * s + 1] = ring_x[chosen]
            ys[2 * s] = ys[2 * s + 1] = ring_y[chosen]
    return gained
